package words

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/rules"
)

// shipped is a Reader with the sayings of the relay ruleset.
func shipped(t testing.TB) *Reader {
	t.Helper()
	raw, err := os.ReadFile("../../rulesets/relay/words.yaml")
	require.NoError(t, err)
	var file struct {
		Words []struct {
			Means string
			Said  []string
		}
	}
	require.NoError(t, yaml.Unmarshal(raw, &file))
	var syn []*rules.Synonym
	for _, w := range file.Words {
		syn = append(syn, &rules.Synonym{Means: w.Means, Said: w.Said})
	}
	r, err := New(syn)
	require.NoError(t, err)
	return r
}

func volts(red string, s rules.Setup) *Expected {
	return &Expected{ID: "t", Measure: rules.Measure{Mode: rules.VoltsDC, Red: red, Black: "battery.negative"}, Setup: s, Kind: "number"}
}

func across(red, black string, s rules.Setup) *Expected {
	return &Expected{ID: "t", Measure: rules.Measure{Mode: rules.VoltsDC, Red: red, Black: black}, Setup: s, Kind: "number"}
}

func choiceTest(m rules.Measure, s rules.Setup, of ...string) *Expected {
	return &Expected{ID: "t", Measure: m, Setup: s, Kind: "choice", Of: of}
}

// corpusContexts are the situations of the corpus, by the name its files use.
func corpusContexts() map[string]Context {
	out := rules.Setup{Relay: "out", Key: "on", Command: "off"}
	in := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	bench := rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"}
	base := Context{Labels: "din", SystemVolts: 12, CoilPositive: "86", Complaint: "dead", LoadKind: "motor",
		Asks: []Ask{
			{Fact: "mounting", Kind: rules.Choice, Of: []string{"cab", "dash", "engine_bay", "outside", "underbody"}, Words: "mounting of the relay"},
			{Fact: "relay_sealed", Kind: rules.Bool, Words: "the relay is sealed"},
			{Fact: "control_side", Kind: rules.Choice, Of: []string{"ground", "positive"}, Words: "side of the control"},
			{Fact: "suppression", Kind: rules.Choice, Of: []string{"none", "resistor", "diode"}, Words: "part across the coil"},
			{Fact: "load_amps", Kind: rules.Number, Unit: "ampere", Words: "rated current of the load"},
			{Fact: "system_volts", Kind: rules.Choice, Unit: "volt", Of: []string{"12", "24"}, Words: "system voltage"},
			{Fact: "driver", Kind: rules.Choice, Of: []string{"switch", "module"}, Words: "what commands the coil"},
		},
		Suspects: []Named{
			{"coil.open", "the relay's coil is open"}, {"feed_fuse.open", "the load's fuse is blown"}, {"coil_fuse.open", "the coil's fuse is blown"},
			{"load.open", "the load itself is open"}, {"coil.shorted_turns", "the relay's coil has shorted turns"}, {"load_ground.open", "the ground of the load is open"},
			{"contact.welded", "the working contact is welded shut"}, {"relay.wrong_part", "the relay fitted is not the right part"}, {"terminal_86.loose", "terminal 86 is loose in the socket"},
		}}
	with := func(e *Expected, change ...func(*Context)) Context {
		c := base
		c.Expected = e
		for _, f := range change {
			f(&c)
		}
		return c
	}
	standing := func(c *Context) { c.Now = &rules.Setup{Relay: "out", Key: "on", Command: "off"} }
	numbers := func(c *Context) { c.Labels = "numbers" }
	en := func(c *Context) { c.Labels = "en" }
	v24 := func(c *Context) { c.SystemVolts = 24 }
	load := func(kind string) func(*Context) { return func(c *Context) { c.LoadKind = kind } }
	solenoid, lamps, heater := load("solenoid"), load("lamp"), load("heater")
	last := func(f Finding) func(*Context) {
		return func(c *Context) { f.Entry = 7; c.Last = []Finding{f} }
	}
	wires := func(c *Context) {
		c.Suspects = append(slices.Clone(c.Suspects), Named{"load_wire.open", "the wire from the relay to the load is open"})
	}
	n := 12.6
	last86 := last(Finding{Kind: KindAnswer, Test: "t", Measure: volts("socket.86", out).Measure, Setup: out, Answer: Answer{Number: &n}})
	partOhms := &Expected{ID: "t", Measure: rules.Measure{Mode: rules.Ohms, Red: "load_part.in", Black: "load_part.out"},
		Setup: rules.Setup{Relay: "in", Key: "off", Command: "off", Unplugged: []string{"load"}}, Kind: "number"}
	run := []string{"runs", "weak", "off", "trips"}
	return map[string]Context{
		"none":            with(nil),
		"none_24":         with(nil, v24),
		"standing":        with(nil, standing),
		"wires":           with(nil, standing, wires),
		"numbers":         with(nil, standing, numbers),
		"en":              with(nil, standing, en),
		"unmarked":        with(nil, standing, func(c *Context) { c.Labels = "unknown" }),
		"no_87a":          with(nil, standing, func(c *Context) { c.Terminals = []string{"30", "85", "86", "87"} }),
		"opening":         with(nil, func(c *Context) { c.Opening, c.Complaint = true, "" }),
		"volts_86_out":    with(volts("socket.86", out)),
		"volts_30_out":    with(volts("socket.30", out)),
		"cautioned":       with(volts("socket.86", out), func(c *Context) { c.Cautioned = true }),
		"watch_cautioned": with(choiceTest(rules.Measure{Mode: rules.Watch}, rules.Setup{Relay: "out", Key: "on", Command: "on"}, run...), func(c *Context) { c.Cautioned = true }),
		"volts_86_24":     with(volts("socket.86", out), v24),
		"volts_85_in":     with(volts("back.85", in)),
		"volts_86_num":    with(volts("socket.86", out), numbers),
		"volts_86_en":     with(volts("socket.86", out), en),
		"drop_30_87":      with(across("back.30", "back.87", in)),
		"ohms_coil":       with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}, Setup: bench, Kind: "number"}),
		"amps":            with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.AmpsDC, At: "load.in", How: "clamp"}, Setup: in, Kind: "number"}),
		"pull_in":         with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.PullIn}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "energised"}, Kind: "number"}),
		"drop_out":        with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.DropOut}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "energised"}, Kind: "number"}),
		"min_max":         with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.MinMax, Red: "back.86", Black: "battery.negative", During: "wiggle"}, Setup: in, Kind: "min_max"}),
		"fuse_volts":      with(volts("feed_fuse.out", out)),
		"lamp_30":         with(choiceTest(rules.Measure{Mode: rules.TestLamp, Red: "socket.30", Black: "battery.negative"}, out, "bright", "dim", "dark")),
		"bridge":          with(choiceTest(rules.Measure{Mode: rules.Bridge, From: "socket.30", To: "socket.87"}, out, run...)),
		"watch":           with(choiceTest(rules.Measure{Mode: rules.Watch}, in, append(run, "comes_and_goes")...)),
		"watch_off":       with(choiceTest(rules.Measure{Mode: rules.Watch}, rules.Setup{Relay: "in", Key: "on", Command: "off"}, append(run, "comes_and_goes")...)),
		"listen":          with(choiceTest(rules.Measure{Mode: rules.Listen}, in, "click", "silent", "buzz")),
		"swap":            with(choiceTest(rules.Measure{Mode: rules.Swap}, in, run...)),
		"reseat":          with(choiceTest(rules.Measure{Mode: rules.Reseat}, in, run...)),
		"look_fuse":       with(choiceTest(rules.Measure{Mode: rules.Look, At: "feed_fuse"}, out, "sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part")),
		"look_86":         with(choiceTest(rules.Measure{Mode: rules.Look, At: "terminal_86"}, out, "sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part")),
		"ask_mount": with(&Expected{ID: "ask_mounting", Sets: "mounting", Measure: rules.Measure{Mode: rules.Ask, Question: "Where is the relay?"}, Setup: out,
			Kind: "choice", Of: []string{"cab", "dash", "engine_bay", "outside", "underbody"}}),
		"ask_rating": with(&Expected{ID: "ask_fuse_amps", Measure: rules.Measure{Mode: rules.Ask, Question: "Which rating?"}, Setup: out,
			Kind: "choice", Of: []string{"3", "5", "7.5", "10", "15", "20", "25", "30", "40"}}),
		"ask_yes": with(&Expected{ID: "others_work", Measure: rules.Measure{Mode: rules.Ask, Question: "Do other things on that fuse work?"}, Setup: out,
			Kind: "choice", Of: []string{"yes", "no"}}),
		"ask_others": with(&Expected{ID: "ask_neighbours_suffer", Sets: "neighbours_suffer", Measure: rules.Measure{Mode: rules.Ask, Question: "Do other loads on that fuse act up too?"}, Setup: out,
			Kind: "choice", Of: []string{"yes", "no"}}),
		"after_86":      with(volts("socket.85", out), last86),
		"after_fuse":    with(volts("socket.30", out), last(Finding{Kind: KindReading, Measure: volts("feed_fuse.out", in).Measure, Setup: in, Answer: Answer{Number: &n}})),
		"after_86_none": with(nil, last86, standing),
		"after_86_look": with(choiceTest(rules.Measure{Mode: rules.Look, At: "feed_fuse"}, out, "sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part"), last86),
		"ground_drop":   with(volts("load.out", in)),
		"charging":      with(volts("battery.positive", rules.Setup{Relay: "in", Key: "on", Command: "off", Engine: "running"})),
		"watch_hot":     with(choiceTest(rules.Measure{Mode: rules.Watch}, rules.Setup{Relay: "in", Key: "on", Command: "on", Heat: "soaked"}, append(run, "comes_and_goes")...)),
		"repairing":     with(nil, func(c *Context) { c.Repairing = "feed_fuse.open" }),

		"clamp_fuse":   with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.AmpsDC, At: "feed_fuse", How: "clamp"}, Setup: in, Kind: "number"}),
		"fuse_drop":    with(across("feed_fuse.in", "feed_fuse.out", in)),
		"coil_pair_in": with(across("back.86", "back.85", in)),
		"ohms_ground_87": with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.Ohms, Red: "socket.87", Black: "battery.negative"},
			Setup: rules.Setup{Relay: "out", Key: "off", Command: "off"}, Kind: "number"}),

		"boat_30":         with(volts("socket.30", out)),
		"boat_amps":       with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.AmpsDC, At: "feed_fuse", How: "clamp"}, Setup: in, Kind: "number"}),
		"boat_watch":      with(choiceTest(rules.Measure{Mode: rules.Watch}, in, append(run, "comes_and_goes")...)),
		"forklift_load":   with(volts("load.in", in), v24, solenoid),
		"forklift_listen": with(choiceTest(rules.Measure{Mode: rules.Listen}, in, "click", "silent", "buzz"), v24, solenoid),
		"forklift_bridge": with(choiceTest(rules.Measure{Mode: rules.Bridge, From: "socket.30", To: "socket.87"}, out, run...), v24, solenoid),
		"tractor_lamp":    with(choiceTest(rules.Measure{Mode: rules.Watch}, in, append(run, "comes_and_goes")...), lamps),
		"tractor_look": with(choiceTest(rules.Measure{Mode: rules.Look, At: "load_ground"}, rules.Setup{Relay: "in", Key: "off", Command: "off"},
			"sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part"), lamps),
		"camper_drop":    with(across("socket.87", "load.in", in), heater),
		"camper_ohms":    with(partOhms, heater),
		"tractor_clutch": with(partOhms, solenoid),
	}
}

// summary writes a result in the short form of the corpus.
func summary(r Result) string {
	var out []string
	for _, c := range r.Commands {
		if c.Kind == CmdCorrect {
			out = append(out, fmt.Sprint("correct ", c.Entry))
		}
	}
	for _, f := range r.Findings {
		out = append(out, summaryOf(f))
	}
	for _, c := range r.Commands {
		s := c.Kind
		switch c.Kind {
		case CmdCorrect:
			continue
		case CmdRepair:
			s += " " + strings.Join(c.Suspects, ",") + " " + c.Result
			if c.Now != "" {
				s += " to " + c.Now
			}
		case CmdWhy:
			s += " " + strings.Join(c.Suspects, ",")
		case CmdSetup:
			s += " " + setupText(c.Setup)
		}
		out = append(out, strings.TrimSpace(s))
	}
	for _, q := range r.Questions {
		s := "ask"
		if len(q.Choices) > 0 {
			s += fmt.Sprint("/", len(q.Choices))
		}
		out = append(out, s)
	}
	if len(r.Unread) > 0 {
		out = append(out, "unread")
	}
	return strings.Join(out, "; ")
}

func summaryOf(f Finding) string {
	flags := ""
	if f.Hedge != "" {
		flags += " ~"
	}
	if f.Warning != "" {
		flags += " !"
	}
	if len(f.Notes) > 0 {
		flags += " +"
	}
	switch f.Kind {
	case KindFact:
		return strings.TrimSpace(fmt.Sprintf("fact %s=%s", f.Fact, valueText(f.Value)))
	case KindComplaint:
		return "complaint " + f.Complaint
	case KindAnswer:
		return "answer " + answerText(f.Answer) + flags
	}
	m, s := f.Measure, f.Setup
	at := m.Red
	if m.Black != "" && m.Black != "battery.negative" {
		at += "-" + m.Black
	}
	at += m.At
	if m.From != "" {
		at = m.From + ">" + m.To
	}
	setup := setupText(s)
	if m.During != "" {
		setup += "/" + m.During
	}
	return strings.Join(strings.Fields(fmt.Sprintf("%s %s %s = %s", m.Mode, at, setup, answerText(f.Answer))), " ") + flags
}

// setupText writes a setup in the short form of the corpus: relay/key/command, then
// what is seldom said: what is unplugged, heat, the engine, neighbours.
func setupText(s rules.Setup) string {
	text := s.Relay + "/" + s.Key + "/" + s.Command
	if s.Relay == "bench" {
		text = "bench/" + s.Coil
	}
	for _, u := range s.Unplugged {
		text += "/-" + u
	}
	for _, x := range []struct{ name, value string }{{"heat", s.Heat}, {"engine", s.Engine}, {"neighbours", s.Neighbours}} {
		if x.value != "" {
			text += "/" + x.name + "=" + x.value
		}
	}
	return text
}

func valueText(v rules.Value) string {
	switch v.Kind {
	case rules.Bool:
		return fmt.Sprint(v.Bool)
	case rules.Number:
		return fmt.Sprint(v.Number)
	}
	return v.Text
}

func answerText(a Answer) string {
	switch {
	case a.Over:
		return "OL"
	case a.MinMax != nil:
		return plainNumber(a.MinMax[0]) + ".." + plainNumber(a.MinMax[1])
	case a.Number != nil:
		return plainNumber(*a.Number)
	}
	return a.Choice
}

func plainNumber(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// utterance is one line of the corpus with what it means.
type utterance struct {
	file, kind, context, said, want string
}

// corpus reads testdata/words. Each file there is one kind of saying and maps a context to
// utterances and what they mean. The files under batches were written blind, one batch
// each, and scored before they were kept: they are parted by kind first. All utterances
// are invented.
func corpus(t testing.TB) []utterance {
	t.Helper()
	var out []utterance
	add := func(file, kind string, groups map[string]map[string]string) {
		for _, context := range slices.Sorted(maps.Keys(groups)) {
			for _, said := range slices.Sorted(maps.Keys(groups[context])) {
				out = append(out, utterance{file, kind, context, said, groups[context][said]})
			}
		}
	}
	for _, path := range yamlFiles(t, "../../testdata/words") {
		var groups map[string]map[string]string
		readYAML(t, path, &groups)
		kind := strings.TrimSuffix(filepath.Base(path), ".yaml")
		add(kind, kind, groups)
	}
	for _, path := range yamlFiles(t, "../../testdata/words/batches") {
		var kinds map[string]map[string]map[string]string
		readYAML(t, path, &kinds)
		for _, kind := range slices.Sorted(maps.Keys(kinds)) {
			add("batch "+strings.TrimSuffix(filepath.Base(path), ".yaml"), kind, kinds[kind])
		}
	}
	return out
}

func yamlFiles(t testing.TB, dir string) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, files, dir)
	return files
}

func readYAML(t testing.TB, path string, into any) {
	t.Helper()
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, yaml.Unmarshal(raw, into), path)
}

// tally counts what was read right.
type tally map[string]*[2]int

func (y tally) add(name string, right bool) {
	if y[name] == nil {
		y[name] = &[2]int{}
	}
	y[name][1]++
	if right {
		y[name][0]++
	}
}

func (y tally) log(t *testing.T) {
	for _, name := range slices.Sorted(maps.Keys(y)) {
		t.Logf("%-20s %3d of %3d", name, y[name][0], y[name][1])
	}
}

// TestCorpus reads every utterance of the corpus in its context and prints how many were
// read right, by file and by kind. A reading stored that is not meant is an error by itself.
func TestCorpus(t *testing.T) {
	r, contexts := shipped(t), corpusContexts()
	files, kinds, all := tally{}, tally{}, tally{}
	for _, u := range corpus(t) {
		ctx, known := contexts[u.context]
		require.True(t, known, "%s: no context %q", u.file, u.context)
		res := converse(r, u.said, ctx)
		got, right := summary(res), meant(res, u.want)
		for _, count := range []struct {
			in   tally
			name string
		}{{files, u.file}, {kinds, u.kind}, {all, "all"}} {
			count.in.add(count.name, right)
		}
		if !right {
			t.Logf("%s: %s: %q\n  want %s\n  got  %s", u.file, u.context, u.said, u.want, got)
		}
		for _, stored := range notMeant(res, u.want) {
			t.Errorf("%s: %s: %q: stored %s", u.file, u.context, u.said, stored)
		}
	}
	files.log(t)
	t.Log("by kind:")
	kinds.log(t)
	share := float64(all["all"][0]) / float64(all["all"][1])
	t.Logf("%-20s %3d of %3d, %.1f %%", "all", all["all"][0], all["all"][1], 100*share)
	require.GreaterOrEqual(t, all["all"][1], 1300)
	require.GreaterOrEqual(t, share, 0.97)
}

// meant tells whether a result is one of those wanted, which are parted by " | ". "doubt"
// stands for any in which nothing is kept and the technician is told so.
func meant(res Result, want string) bool {
	for w := range strings.SplitSeq(want, " | ") {
		if w == "doubt" && len(res.Findings) == 0 && len(kept(res)) == 0 && summary(res) != "" || sameParts(w, summary(res)) {
			return true
		}
	}
	return false
}

// sameParts compares two summaries whose parts may stand in any order.
func sameParts(a, b string) bool {
	return slices.Equal(slices.Sorted(strings.SplitSeq(a, "; ")), slices.Sorted(strings.SplitSeq(b, "; ")))
}

// notMeant is what a result stores and none of the readings wanted holds.
func notMeant(res Result, want string) []string {
	var wanted, out []string
	for w := range strings.SplitSeq(want, " | ") {
		wanted = append(wanted, strings.Split(w, "; ")...)
	}
	for _, stored := range kept(res) {
		if !slices.Contains(wanted, stored) {
			out = append(out, stored)
		}
	}
	return out
}

// kept is what a result stores: numbers, and setups that later readings are taken in.
func kept(res Result) []string {
	var out []string
	for _, f := range res.Findings {
		if f.Kind != KindFact && f.numeric() {
			out = append(out, summaryOf(f))
		}
	}
	for _, c := range res.Commands {
		if c.Kind == CmdSetup {
			out = append(out, strings.TrimSpace(CmdSetup+" "+setupText(c.Setup)))
		}
	}
	return out
}

// converse reads the lines of a conversation, parted by " // ", each with what came of
// those before it, and gives the result of the last.
func converse(r *Reader, said string, ctx Context) Result {
	lines := strings.Split(said, " // ")
	entry := 6
	for _, line := range lines[:len(lines)-1] {
		res := r.Read(line, ctx)
		ctx.Asked = nil
		if len(res.Questions) > 0 {
			ctx.Asked = &res.Questions[0]
		}
		if len(res.Findings) == 0 {
			continue
		}
		ctx.Earlier = append(slices.Clone(ctx.Earlier), ctx.Last...)
		ctx.Last = slices.Clone(res.Findings)
		for i := range ctx.Last {
			entry++
			ctx.Last[i].Entry = entry
		}
	}
	return r.Read(lines[len(lines)-1], ctx)
}
