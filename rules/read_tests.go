package rules

import (
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"
)

// modeNeeds lists the modes and the fields of `measure` that each needs.
var modeNeeds = []struct {
	mode Mode
	need []string
}{
	{VoltsDC, []string{"red", "black"}},
	{Ohms, []string{"red", "black"}},
	{AmpsDC, []string{"at", "how"}},
	{MinMax, []string{"red", "black", "during"}},
	{TestLamp, []string{"red", "black"}},
	{Bridge, []string{"from", "to"}},
	{Watch, nil}, {Listen, nil}, {Reseat, nil}, {Swap, nil},
	{Look, []string{"at"}},
	{PullIn, nil}, {DropOut, nil},
	{Ask, nil},
}

var modeAnswers = map[Mode][]string{
	TestLamp: {"bright", "dim", "dark"},
	Bridge:   {"runs", "weak", "off", "trips"},
	Watch:    {"runs", "weak", "off", "trips", "comes_and_goes"},
	Listen:   {"click", "silent", "buzz"},
	Reseat:   {"runs", "weak", "off", "trips"},
	Swap:     {"runs", "weak", "off", "trips"},
	Look:     {"sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part"},
}

var modeUnits = map[Mode]string{
	VoltsDC: "volt", Ohms: "ohm", AmpsDC: "ampere", MinMax: "volt", PullIn: "volt", DropOut: "volt",
}

// Answers gives the words a mode may answer with; nil for numbers and for ask,
// whose answers are the test's own. The slice is fresh.
func (m Mode) Answers() []string { return slices.Clone(modeAnswers[m]) }

// Unit gives the unit of a mode that answers with a number, else "".
func (m Mode) Unit() string { return modeUnits[m] }

// Answers gives the words this test may be answered with; nil for a number.
func (t *Test) Answers() []string {
	if t.Measure.Mode == Ask {
		return slices.Clone(t.Of)
	}
	return t.Measure.Mode.Answers()
}

func modeNames() []string {
	names := make([]string, len(modeNeeds))
	for i, m := range modeNeeds {
		names[i] = string(m.mode)
	}
	return names
}

func (r *reader) test(n *yaml.Node) *Test {
	o := r.object(n, "test", "id", "measure", "setup", "sets", "when", "say", "why", "words", "minutes", "tool", "of", "reads", "expect", "cautions", "proof")
	o.need("measure", "say")
	t := &Test{
		ID: o.id(), Sets: o.text("sets"), When: r.formula(o.at("when")), Say: o.text("say"), Why: o.text("why"),
		Words: o.text("words"), Tool: o.text("tool"), Of: o.texts("of"), Cautions: o.texts("cautions"),
		Reads: r.spread(o.at("reads")), Minutes: o.minutes(), Proof: o.flag("proof"), Pos: o.pos(), at: o.spots(),
	}
	if t.Sets == "" {
		t.Sets = t.ID
	}
	t.Measure = r.measure(o.at("measure"))
	t.Setup = r.setup(o.at("setup"))
	switch {
	case t.Measure.Mode == Ask && len(t.Of) < 2:
		r.fail(o.node, CodeMissing, "of: [yes, no]", "a question needs its answers in \"of\", at least two")
	case t.Measure.Mode != Ask && o.has("of"):
		r.fail(o.key("of"), CodeField, "leave it out", "the answers of %q are fixed; \"of\" belongs to a question", t.Measure.Mode)
	}
	r.distinct(o.at("of"), t.Of)
	r.reads(o, t)
	for _, item := range o.items("expect") {
		t.Expect = append(t.Expect, r.expect(item))
	}
	return t
}

// reads sees to it that a question about a number of the circuit is answered by numbers.
func (r *reader) reads(o *object, t *Test) {
	switch {
	case t.Reads == nil:
	case t.Measure.Mode != Ask:
		r.fail(o.key("reads"), CodeField, "leave it out", "what %q reads follows from the circuit; \"reads\" belongs to a question", t.Measure.Mode)
	case t.Reads.About == nil || t.Reads.Spread == nil:
		r.fail(o.at("reads"), CodeMissing, "reads: {about: 1.5 * load_amps, spread: 0.15}", "\"reads\" needs \"about\" and \"spread\"")
	default:
		for i, n := range o.items("of") {
			if v, err := strconv.ParseFloat(t.Of[i], 64); err != nil || v <= 0 {
				r.fail(n, CodeType, "", "the answer %q is no number above 0, but the test reads one of the circuit", t.Of[i])
			}
		}
	}
}

// minutes reads one number, or three: under the bonnet, under the dash, behind trim.
func (o *object) minutes() [3]float64 {
	n := o.at("minutes")
	switch {
	case n == nil:
		return [3]float64{1, 1, 1}
	case n.Kind == yaml.ScalarNode:
		m := o.number("minutes", 1, 0.01, 10_000)
		return [3]float64{m, m, m}
	}
	var out [3]float64
	items := o.items("minutes")
	if len(items) != 3 {
		o.r.fail(n, CodeType, "minutes: [under the bonnet, under the dash, behind trim]", "\"minutes\" is one number or three, but this has %d", len(items))
		return [3]float64{1, 1, 1}
	}
	for i, item := range items {
		out[i] = o.r.number(item, "each of \"minutes\"", 0.01, 10_000)
	}
	return out
}

func (r *reader) measure(n *yaml.Node) Measure {
	o := r.object(n, "measure", "mode", "red", "black", "at", "how", "during", "from", "to", "question")
	o.need("mode")
	m := Measure{
		Mode: Mode(o.choice("mode", modeNames()...)), Red: o.text("red"), Black: o.text("black"), At: o.text("at"),
		How: o.choice("how", "clamp", "fuse_drop", "series"), During: o.choice("during", "wiggle", "command", "crank"),
		From: o.text("from"), To: o.text("to"), Question: o.text("question"),
	}
	for _, known := range modeNeeds {
		if known.mode == m.Mode {
			o.need(known.need...)
		}
	}
	return m
}

func (r *reader) setup(n *yaml.Node) Setup {
	o := r.object(n, "setup", "relay", "key", "command", "coil", "unplugged", "heat", "engine", "neighbours")
	s := Setup{
		Relay: o.choice("relay", "in", "out", "bench"), Key: o.onOff("key"), Command: o.onOff("command"),
		Coil: o.choice("coil", "rest", "energised"), Unplugged: o.textsOf("unplugged", "load", "control", "tap"),
		Heat: o.choice("heat", "soaked"), Engine: o.choice("engine", "running", "off"), Neighbours: o.onOff("neighbours"),
	}
	return s.Usual()
}

// onOff reads on and off, which YAML may have taken for true and false.
func (o *object) onOff(key string) string {
	n := o.at(key)
	if n == nil {
		return ""
	}
	return o.choice(key, "on", "off")
}

func (r *reader) expect(n *yaml.Node) Expect {
	o := r.object(n, "expect", "suspects", "answers", "number")
	e := Expect{Suspects: o.texts("suspects"), Number: r.spread(o.at("number")), Pos: o.pos(), at: o.spots()}
	sum := 0.0
	for _, s := range o.shares("answers", 1) {
		if e.Answers == nil {
			e.Answers = map[string]float64{}
		}
		e.Answers[s.key] = s.number
		e.words = append(e.words, r.spot(s.at))
		sum += s.number
	}
	if sum > 1+1e-9 {
		r.fail(o.at("answers"), CodeValue, "", "the chances of the answers add up to %.3g, more than 1", sum)
	}
	if o != nil && o.has("answers") == o.has("number") {
		r.fail(o.node, CodeMissing, "", "an expectation has either \"answers\" or \"number\"")
	}
	return e
}
