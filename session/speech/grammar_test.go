package speech

import (
	"bufio"
	"encoding/xml"
	"io"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var moments = map[string]Moment{
	"volts":   {Kind: "volts", Most: 18, Terminals: []string{"30", "85", "86", "87", "87a"}, Commands: []string{"skip it", "not sure", "why"}},
	"ohms":    {Kind: "ohms", Answers: []string{"over range"}, Commands: []string{"skip it"}},
	"amps":    {Kind: "amps", Commands: []string{"skip it"}},
	"min_max": {Kind: "min_max", Most: 18},
	"choice":  {Answers: []string{"it runs", "it stays off", "can't tell"}, Commands: []string{"why", "say again"}},
	"back":    {Kind: "volts", Most: 36, ReadBack: true, Answers: []string{"yes"}, Commands: []string{"no"}},
}

// The three forms, read by readers of their own, hear the same sentences.
func TestAllFormsHearTheSame(t *testing.T) {
	for name, m := range moments {
		t.Run(name, func(t *testing.T) {
			g, err := New(m)
			require.NoError(t, err)
			want := g.Sentences()
			require.NotEmpty(t, want)
			assert.Equal(t, want, heardBy(readJSGF(t, g.JSGF())), "JSGF")
			assert.Equal(t, want, heardBy(readSRGS(t, g.SRGS())), "SRGS")
			assert.False(t, slices.Contains(want, ""), "silence is no sentence")
		})
	}
}

// A recogniser that follows the rules of each form refuses what the list does not hold.
func TestAllFormsRefuseTheSame(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 1))
	for name, m := range moments {
		g, err := New(m)
		require.NoError(t, err)
		list, words := g.Sentences(), g.Vocabulary()
		jsgf, srgs := readJSGF(t, g.JSGF()), readSRGS(t, g.SRGS())
		accepted := 0
		for range 2000 {
			said := mutated(rng, list, words)
			_, in := slices.BinarySearch(list, strings.Join(said, " "))
			require.Equal(t, in, jsgf.accepts(said), "%s: JSGF of %q", name, said)
			require.Equal(t, in, srgs.accepts(said), "%s: SRGS of %q", name, said)
			if in {
				accepted++
			}
		}
		assert.Greater(t, accepted, 20, name)
		assert.Less(t, accepted, 1980, name)
	}
}

// mutated is a sentence with up to two words left out, put in or exchanged.
func mutated(rng *rand.Rand, list, words []string) []string {
	said := strings.Fields(list[rng.IntN(len(list))])
	for range rng.IntN(3) {
		i := rng.IntN(len(said) + 1)
		switch other := words[rng.IntN(len(words))]; {
		case rng.IntN(3) == 0 || i == len(said):
			said = slices.Insert(said, i, other)
		case rng.IntN(2) == 0 && len(said) > 1:
			said = slices.Delete(said, i, i+1)
		default:
			said[i] = other
		}
	}
	return said
}

// form is a grammar as one of the readers below read it.
type form struct {
	root  string
	rules map[string]Expansion
}

func heardBy(f *form) []string {
	var all func(e Expansion) []string
	all = func(e Expansion) []string {
		var out []string
		switch {
		case e.Word != "":
			out = []string{e.Word}
		case e.Rule != "":
			out = all(f.rules[e.Rule])
		case len(e.Any) > 0:
			for _, x := range e.Any {
				out = append(out, all(x)...)
			}
		default:
			out = []string{""}
			for _, x := range e.All {
				var longer []string
				for _, l := range out {
					for _, r := range all(x) {
						longer = append(longer, strings.Trim(l+" "+r, " "))
					}
				}
				out = longer
			}
		}
		if e.Optional {
			out = append(out, "")
		}
		return out
	}
	out := all(f.rules[f.root])
	slices.Sort(out)
	return slices.Compact(out)
}

// accepts follows the rules word by word.
func (f *form) accepts(said []string) bool {
	return slices.Contains(f.ends(f.rules[f.root], said, 0), len(said))
}

func (f *form) ends(e Expansion, said []string, at int) []int {
	var out []int
	switch {
	case e.Word != "":
		if at < len(said) && said[at] == e.Word {
			out = []int{at + 1}
		}
	case e.Rule != "":
		out = f.ends(f.rules[e.Rule], said, at)
	case len(e.Any) > 0:
		for _, x := range e.Any {
			out = append(out, f.ends(x, said, at)...)
		}
	default:
		out = []int{at}
		for _, x := range e.All {
			var next []int
			for _, p := range out {
				next = append(next, f.ends(x, said, p)...)
			}
			slices.Sort(next)
			out = slices.Compact(next)
		}
	}
	if e.Optional {
		out = append(out, at)
	}
	return out
}

// readJSGF reads what the JSpeech Grammar Format (W3C Note, 5 June 2000) allows of
// words, rules, sequences, alternatives, groups and options. Sequence binds more
// closely than the bar.
func readJSGF(t *testing.T, text string) *form {
	t.Helper()
	lines := strings.Split(strings.TrimSpace(text), "\n")
	require.Equal(t, "#JSGF V1.0;", lines[0])
	require.Regexp(t, `^grammar [a-z]+;$`, lines[1])
	f := &form{rules: map[string]Expansion{}}
	for _, line := range lines[2:] {
		m := regexp.MustCompile(`^(public )?<([a-z_0-9]+)> = (.*);$`).FindStringSubmatch(line)
		require.NotNil(t, m, line)
		require.NotContains(t, f.rules, m[2], "a rule twice")
		r := &jsgfReader{t: t, f: f, tokens: regexp.MustCompile(`<[a-z_0-9]+>|[a-z']+|[][()|]|\S`).FindAllString(m[3], -1)}
		f.rules[m[2]] = r.alternatives()
		require.Empty(t, r.tokens, line)
		if m[1] != "" {
			require.Empty(t, f.root, "two public rules")
			f.root = m[2]
		}
	}
	require.NotEmpty(t, f.root)
	return f
}

type jsgfReader struct {
	t      *testing.T
	f      *form
	tokens []string
}

func (r *jsgfReader) alternatives() Expansion {
	of := []Expansion{r.sequence()}
	for len(r.tokens) > 0 && r.tokens[0] == "|" {
		r.tokens = r.tokens[1:]
		of = append(of, r.sequence())
	}
	return Expansion{Any: of}
}

func (r *jsgfReader) sequence() Expansion {
	var of []Expansion
	for len(r.tokens) > 0 {
		tok := r.tokens[0]
		if tok == "|" || tok == ")" || tok == "]" {
			break
		}
		r.tokens = r.tokens[1:]
		switch {
		case tok == "(" || tok == "[":
			e := r.alternatives()
			require.Equal(r.t, map[string]string{"(": ")", "[": "]"}[tok], r.tokens[0])
			r.tokens = r.tokens[1:]
			e.Optional = tok == "["
			of = append(of, e)
		case strings.HasPrefix(tok, "<"):
			name := strings.Trim(tok, "<>")
			require.Contains(r.t, r.f.rules, name, "a rule is used before it is there")
			of = append(of, Expansion{Rule: name})
		default:
			require.Regexp(r.t, `^[a-z']+$`, tok)
			of = append(of, Expansion{Word: tok})
		}
	}
	require.NotEmpty(r.t, of)
	return Expansion{All: of}
}

// The structure that SRGS 1.0 (W3C Recommendation, 16 March 2004, sections 2 to 4 and
// the DTD of appendix B) gives the XML form, as far as it is used here: which element
// holds which, and which attributes with which values.
var (
	srgsHolds      = map[string]string{"": "grammar", "grammar": "rule", "rule": "item one-of ruleref text", "item": "item one-of ruleref text", "one-of": "item", "ruleref": ""}
	srgsAttributes = map[string]map[string]string{
		"grammar": {"version": `1\.0`, "xmlns": `http://www\.w3\.org/2001/06/grammar`, "lang": `[a-z]{2}-[A-Z]{2}`, "mode": "voice", "root": `[A-Za-z_][A-Za-z0-9_]*`},
		"rule":    {"id": `[A-Za-z_][A-Za-z0-9_]*`, "scope": "public|private"},
		"item":    {"repeat": `0-1`},
		"ruleref": {"uri": `#[A-Za-z_][A-Za-z0-9_]*`},
		"one-of":  {},
	}
	srgsRequired = map[string][]string{"grammar": {"version", "xmlns", "lang", "root"}, "rule": {"id"}, "ruleref": {"uri"}}
)

func readSRGS(t *testing.T, text string) *form {
	t.Helper()
	f := &form{rules: map[string]Expansion{}}
	d := xml.NewDecoder(strings.NewReader(text))
	type open struct {
		name string
		attr map[string]string
		of   []Expansion
	}
	stack := []*open{{}}
	public := map[string]bool{}
	for {
		tok, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		top := stack[len(stack)-1]
		holds := strings.Fields(srgsHolds[top.name])
		switch x := tok.(type) {
		case xml.StartElement:
			require.Contains(t, holds, x.Name.Local, "in %q", top.name)
			require.Equal(t, "http://www.w3.org/2001/06/grammar", x.Name.Space)
			o := &open{name: x.Name.Local, attr: map[string]string{}}
			for _, a := range x.Attr {
				require.Regexp(t, "^("+srgsAttributes[o.name][a.Name.Local]+")$", a.Value, "%s of %s", a.Name.Local, o.name)
				o.attr[a.Name.Local] = a.Value
			}
			for _, need := range srgsRequired[o.name] {
				require.Contains(t, o.attr, need, o.name)
			}
			if o.name == "grammar" {
				f.root = o.attr["root"]
			}
			stack = append(stack, o)
		case xml.CharData:
			words := strings.Fields(string(x))
			if len(words) > 0 {
				require.Contains(t, holds, "text", "%q in %q", words, top.name)
			}
			for _, w := range words {
				top.of = append(top.of, Expansion{Word: w})
			}
		case xml.EndElement:
			stack = stack[:len(stack)-1]
			parent := stack[len(stack)-1]
			switch top.name {
			case "rule":
				require.NotEmpty(t, top.of, "an empty rule hears nothing")
				require.NotContains(t, f.rules, top.attr["id"], "a rule twice")
				f.rules[top.attr["id"]] = Expansion{All: top.of}
				public[top.attr["id"]] = top.attr["scope"] == "public"
			case "item":
				require.NotEmpty(t, top.of)
				parent.of = append(parent.of, Expansion{All: top.of, Optional: top.attr["repeat"] != ""})
			case "one-of":
				require.NotEmpty(t, top.of, "a choice of nothing")
				parent.of = append(parent.of, Expansion{Any: top.of})
			case "ruleref":
				name := strings.TrimPrefix(top.attr["uri"], "#")
				require.Contains(t, f.rules, name, "a rule is used before it is there, so there may be a loop")
				parent.of = append(parent.of, Expansion{Rule: name})
			}
		}
	}
	require.True(t, public[f.root], "the root rule is public")
	return f
}

func TestNothingToSayIsAnError(t *testing.T) {
	_, err := New(Moment{Answers: []string{"…", "12 µ"}})
	require.Error(t, err)
}

// Every word that numbers, units and terminals may need is in the recogniser's
// dictionary.
func TestNumberWordsAreInTheDictionary(t *testing.T) {
	known := dictionary(t)
	for name, m := range moments {
		g, err := New(m)
		require.NoError(t, err)
		for _, w := range g.Vocabulary() {
			assert.True(t, known[w], "%s: %s", name, w)
		}
	}
}

// dictionary is the pronouncing dictionary of Debian's pocketsphinx-en-us.
func dictionary(t *testing.T) map[string]bool {
	t.Helper()
	f, err := os.Open("/usr/share/pocketsphinx/model/en-us/cmudict-en-us.dict")
	if err != nil && os.Getenv("COILSIDE_CI") == "" {
		t.Skip("pocketsphinx-en-us is not installed")
	}
	require.NoError(t, err)
	defer f.Close()
	known := map[string]bool{}
	for scan := bufio.NewScanner(f); scan.Scan(); {
		w, _, _ := strings.Cut(scan.Text(), " ")
		known[w] = true
	}
	require.Greater(t, len(known), 100_000)
	return known
}
