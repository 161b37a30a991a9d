// Package rulewhy tells why a rule fires, or why it does not: which parts of its
// condition are true, false or unknown, with the values behind them and how to
// come by those that are missing.
package rulewhy

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coilside/engine"
	"coilside/rules"
)

// WhyRule is the answer.
type WhyRule struct {
	Rule    string    `json:"rule"`
	Fires   bool      `json:"fires"`
	Truth   string    `json:"truth"` // of the whole condition: true, false, unknown
	When    string    `json:"when"`
	Because string    `json:"because"`
	Where   string    `json:"where"` // file and line
	Parts   []WhyPart `json:"parts"` // members joined by `and`
	Does    []string  `json:"does"`  // what it does when it fires
	Text    string    `json:"text"`
}

// WhyPart is one member of the condition.
type WhyPart struct {
	Source  string    `json:"source"`
	Truth   string    `json:"truth"`
	Facts   []WhyFact `json:"facts"`
	Limits  []string  `json:"limits"`  // parameters it reads, with their values
	Members []WhyPart `json:"members"` // those of an `or`
}

// WhyFact is one fact that a part reads.
type WhyFact struct {
	Fact  string `json:"fact"`
	Words string `json:"words"`
	Value string `json:"value"` // "" while it is unknown
	Entry *int   `json:"entry"` // log entry that gave it, 0 = the opening; null if none did
	From  string `json:"from"`  // where it comes from, or how to come by it
}

// Facts says how facts of one job are told about.
type Facts struct {
	Book   *rules.Book
	Memory *engine.Memory
	// Chance is how probable a suspect is; nil where there is no ranking.
	Chance func(suspect string) float64
}

// Tell words how a rule's condition stands.
func (f Facts) Tell(d engine.Diagnosis) WhyRule {
	r := d.Rule
	w := WhyRule{Rule: r.ID, Fires: d.Truth == rules.True, Truth: d.Truth.String(), When: r.When.Source(), Because: r.Because,
		Where: r.Pos.String(), Parts: f.parts(d.Parts), Does: []string{}}
	for _, a := range r.Then {
		w.Does = append(w.Does, does(a))
	}
	w.Text = w.text(r)
	return w
}

func (f Facts) parts(parts []engine.Part) []WhyPart {
	out := []WhyPart{}
	for _, p := range parts {
		part := WhyPart{Source: p.Source, Truth: p.Truth.String(), Facts: []WhyFact{}, Limits: []string{}, Members: f.parts(p.Members)}
		for _, s := range p.Facts {
			part.Facts = append(part.Facts, f.fact(s))
		}
		for _, id := range p.Params {
			if param, ok := f.Book.Parameter(id); ok {
				part.Limits = append(part.Limits, id+" is "+rules.Value{Kind: rules.Number, Number: param.Value}.String()+unit(param.Unit))
			}
		}
		part.Limits = append(part.Limits, f.asked(p.Source)...)
		out = append(out, part)
	}
	return out
}

func (f Facts) fact(s engine.Support) WhyFact {
	fact, _ := f.Book.Fact(s.Fact)
	w := WhyFact{Fact: s.Fact, Words: fact.Words}
	if s.Known {
		w.Value = s.Value.String() + unit(fact.Unit)
	}
	switch {
	case s.Given:
		w.Entry = &s.Entry
		w.From = "entry " + strconv.Itoa(s.Entry)
		if s.Entry == 0 {
			w.From = "the opening"
		}
	case s.Conflict:
		w.From = "rules disagree: " + strings.Join(s.Rules, ", ")
	case s.Known:
		w.From = "derived by " + strings.Join(s.Rules, ", ")
	default:
		w.From = f.missing(s.Fact)
	}
	return w
}

// missing says how to come by a fact that is not known.
func (f Facts) missing(id string) string {
	var ways []string
	for _, t := range f.Book.Tests {
		if t.Sets == id || t.Sets+"_min" == id || t.Sets+"_max" == id {
			ways = append(ways, "the test "+t.ID+" would tell")
		}
	}
	at, _ := f.Book.FactIndex(id)
	for _, r := range f.Book.Rules {
		if slices.Contains(r.Sets(), at) {
			ways = append(ways, "the rule "+r.ID+" would set it")
		}
	}
	if ways == nil {
		return "nobody said; it is told at the opening or in words"
	}
	return strings.Join(ways, "; ")
}

// asked says what the ranking answers to suspected() and concluded() in a part.
func (f Facts) asked(source string) []string {
	var out []string
	if f.Chance == nil {
		return nil
	}
	for _, ask := range []string{"suspected(", "concluded("} {
		for rest := source; ; {
			_, after, found := strings.Cut(rest, ask)
			if !found {
				break
			}
			pattern, tail, _ := strings.Cut(after, ")")
			rest = tail
			best, most := "", -1.0
			for _, id := range f.Book.MatchSuspects(strings.Trim(pattern, `"' `)) {
				if p := f.Chance(id); p > most {
					best, most = id, p
				}
			}
			if line := fmt.Sprintf("%s is at %.3g %%", best, 100*most); best != "" && !slices.Contains(out, line) {
				out = append(out, line)
			}
		}
	}
	return out
}

func unit(u string) string {
	if u == "" {
		return ""
	}
	return " " + u
}

// does says in short what an action does.
func does(a rules.Action) string {
	switch a.Do {
	case rules.Set:
		return "sets " + a.Fact + " to " + a.To.Source()
	case rules.Weigh:
		return fmt.Sprintf("weighs %s by %g", strings.Join(a.Suspects, ", "), a.By)
	case rules.RuleOut:
		return "rules out " + strings.Join(a.Suspects, ", ")
	case rules.Require, rules.Forbid:
		return string(a.Do) + "s " + strings.Join(a.Tests, ", ")
	case rules.Prefer:
		return fmt.Sprintf("prefers %s by %g", strings.Join(a.Tests, ", "), a.By)
	case rules.Caution:
		return "cautions: " + a.Say
	}
	return "advises: " + a.Say
}

// text says it all for a screen.
func (w WhyRule) text(r *rules.Rule) string {
	var b strings.Builder
	switch w.Truth {
	case "true":
		fmt.Fprintf(&b, "%s fires: every part of its condition is true.\n", w.Rule)
	case "false":
		fmt.Fprintf(&b, "%s does not fire: its condition is false.\n", w.Rule)
	default:
		fmt.Fprintf(&b, "%s does not fire: its condition is unknown, as something it asks for is not known.\n", w.Rule)
	}
	fmt.Fprintf(&b, "  at %s\n  because %s\n", w.Where, r.Because)
	writeParts(&b, w.Parts, "  ")
	if w.Fires {
		b.WriteString("  So it\n")
	} else {
		b.WriteString("  If it did, it\n")
	}
	for _, d := range w.Does {
		fmt.Fprintf(&b, "    %s\n", d)
	}
	return strings.TrimRight(b.String(), "\n")
}

func writeParts(b *strings.Builder, parts []WhyPart, indent string) {
	for _, p := range parts {
		fmt.Fprintf(b, "%s%-8s %s\n", indent, p.Truth, p.Source)
		if len(p.Members) > 0 {
			writeParts(b, p.Members, indent+"    any of: ")
			continue
		}
		for _, f := range p.Facts {
			value := f.Value
			if value == "" {
				value = "unknown"
			}
			fmt.Fprintf(b, "%s           %s is %s (%s)\n", blank(indent), f.Fact, value, f.From)
		}
		for _, l := range p.Limits {
			fmt.Fprintf(b, "%s           %s\n", blank(indent), l)
		}
	}
}

func blank(indent string) string { return strings.Repeat(" ", len(indent)) }
