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

func choiceTest(m rules.Measure, s rules.Setup, of ...string) *Expected {
	return &Expected{ID: "t", Measure: m, Setup: s, Kind: "choice", Of: of}
}

// corpusContexts are the situations of the corpus, by the name its files use.
func corpusContexts() map[string]Context {
	out := rules.Setup{Relay: "out", Key: "on", Command: "off"}
	in := rules.Setup{Relay: "in", Key: "on", Command: "on"}
	bench := rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "rest"}
	base := Context{Labels: "din", SystemVolts: 12, CoilPositive: "86", Complaint: "dead",
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
	last := func(f Finding) func(*Context) {
		return func(c *Context) { f.Entry = 7; c.Last = []Finding{f} }
	}
	n := 12.6
	last86 := last(Finding{Kind: KindAnswer, Test: "t", Measure: volts("socket.86", out).Measure, Setup: out, Answer: Answer{Number: &n}})
	run := []string{"runs", "weak", "off", "trips"}
	return map[string]Context{
		"none":         with(nil),
		"none_24":      with(nil, v24),
		"standing":     with(nil, standing),
		"numbers":      with(nil, standing, numbers),
		"en":           with(nil, standing, en),
		"unmarked":     with(nil, standing, func(c *Context) { c.Labels = "unknown" }),
		"no_87a":       with(nil, standing, func(c *Context) { c.Terminals = []string{"30", "85", "86", "87"} }),
		"opening":      with(nil, func(c *Context) { c.Opening, c.Complaint = true, "" }),
		"volts_86_out": with(volts("socket.86", out)),
		"volts_30_out": with(volts("socket.30", out)),
		"volts_86_24":  with(volts("socket.86", out), v24),
		"volts_85_in":  with(volts("back.85", in)),
		"volts_86_num": with(volts("socket.86", out), numbers),
		"volts_86_en":  with(volts("socket.86", out), en),
		"drop_30_87": with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.VoltsDC, Red: "back.30", Black: "back.87"},
			Setup: in, Kind: "number"}),
		"ohms_coil":  with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}, Setup: bench, Kind: "number"}),
		"amps":       with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.AmpsDC, At: "load.in", How: "clamp"}, Setup: in, Kind: "number"}),
		"pull_in":    with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.PullIn}, Setup: rules.Setup{Relay: "bench", Key: "off", Command: "off", Coil: "energised"}, Kind: "number"}),
		"min_max":    with(&Expected{ID: "t", Measure: rules.Measure{Mode: rules.MinMax, Red: "back.86", Black: "battery.negative", During: "wiggle"}, Setup: in, Kind: "min_max"}),
		"fuse_volts": with(volts("feed_fuse.out", out)),
		"lamp_30":    with(choiceTest(rules.Measure{Mode: rules.TestLamp, Red: "socket.30", Black: "battery.negative"}, out, "bright", "dim", "dark")),
		"bridge":     with(choiceTest(rules.Measure{Mode: rules.Bridge, From: "socket.30", To: "socket.87"}, out, run...)),
		"watch":      with(choiceTest(rules.Measure{Mode: rules.Watch}, in, append(run, "comes_and_goes")...)),
		"watch_off":  with(choiceTest(rules.Measure{Mode: rules.Watch}, rules.Setup{Relay: "in", Key: "on", Command: "off"}, append(run, "comes_and_goes")...)),
		"listen":     with(choiceTest(rules.Measure{Mode: rules.Listen}, in, "click", "silent", "buzz")),
		"swap":       with(choiceTest(rules.Measure{Mode: rules.Swap}, in, run...)),
		"reseat":     with(choiceTest(rules.Measure{Mode: rules.Reseat}, in, run...)),
		"look_fuse":  with(choiceTest(rules.Measure{Mode: rules.Look, At: "feed_fuse"}, out, "sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part")),
		"look_86":    with(choiceTest(rules.Measure{Mode: rules.Look, At: "terminal_86"}, out, "sound", "blown", "corroded", "burnt", "loose", "wet", "wrong_part")),
		"ask_mount": with(&Expected{ID: "ask_mounting", Sets: "mounting", Measure: rules.Measure{Mode: rules.Ask, Question: "Where is the relay?"}, Setup: out,
			Kind: "choice", Of: []string{"cab", "dash", "engine_bay", "outside", "underbody"}}),
		"ask_yes": with(&Expected{ID: "others_work", Measure: rules.Measure{Mode: rules.Ask, Question: "Do other things on that fuse work?"}, Setup: out,
			Kind: "choice", Of: []string{"yes", "no"}}),
		"after_86":      with(volts("socket.85", out), last86),
		"after_86_none": with(nil, last86, standing),
		"repairing":     with(nil, func(c *Context) { c.Repairing = "feed_fuse.open" }),
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
		case CmdWhy:
			s += " " + strings.Join(c.Suspects, ",")
		case CmdSetup:
			s += " " + c.Setup.Relay + "/" + c.Setup.Key + "/" + c.Setup.Command
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
	setup := s.Relay + "/" + s.Key + "/" + s.Command
	if s.Relay == "bench" {
		setup = "bench/" + s.Coil
	}
	if m.During != "" {
		setup += "/" + m.During
	}
	return strings.Join(strings.Fields(fmt.Sprintf("%s %s %s = %s", m.Mode, at, setup, answerText(f.Answer))), " ") + flags
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

// numbersOf are the numbers in a summary or in a result, for finding a wrong
// number that was stored.
func numbersOf(r Result) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Answer.Number != nil || f.Answer.MinMax != nil {
			out = append(out, answerText(f.Answer))
		}
	}
	return out
}

// TestCorpus reads every utterance of testdata/words in its context. Each file
// is one kind of saying; each maps a context to utterances and what they mean.
// All utterances are invented.
func TestCorpus(t *testing.T) {
	files, err := filepath.Glob("../../testdata/words/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	r, contexts := shipped(t), corpusContexts()
	all, right := 0, 0
	for _, file := range files {
		raw, err := os.ReadFile(file)
		require.NoError(t, err)
		var groups map[string]map[string]string
		require.NoError(t, yaml.Unmarshal(raw, &groups), file)
		n, ok := 0, 0
		for _, name := range slices.Sorted(maps.Keys(groups)) {
			ctx, known := contexts[name]
			require.True(t, known, "%s: no context %q", file, name)
			for _, said := range slices.Sorted(maps.Keys(groups[name])) {
				want := groups[name][said]
				res := r.Read(said, ctx)
				got := summary(res)
				n++
				if got == want {
					ok++
				} else {
					t.Logf("%s: %s: %q\n  want %s\n  got  %s", filepath.Base(file), name, said, want, got)
				}
				for _, v := range numbersOf(res) {
					if !slices.Contains(strings.FieldsFunc(want, func(r rune) bool { return r == ' ' || r == ';' }), v) {
						t.Errorf("%s: %s: %q: the number %s was stored", filepath.Base(file), name, said, v)
					}
				}
			}
		}
		t.Logf("%-20s %3d of %3d", strings.TrimSuffix(filepath.Base(file), ".yaml"), ok, n)
		all, right = all+n, right+ok
	}
	share := float64(right) / float64(all)
	t.Logf("%-20s %3d of %3d, %.1f %%", "all", right, all, 100*share)
	require.GreaterOrEqual(t, all, 200)
	require.GreaterOrEqual(t, share, 0.97)
}
