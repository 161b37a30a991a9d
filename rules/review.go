package rules

import (
	"cmp"
	"fmt"
	"path"
	"regexp"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"go.yaml.in/yaml/v3"
)

// What Review finds in a rulebook that loads. Each says that the author can hardly
// have meant it; a comment on the line overrides it.
const (
	CodeNever     Code = "never_fires"     // a condition, or part of one, that can never be true
	CodeAlways    Code = "always_true"     // a condition, or part of one, that is never false
	CodeSpare     Code = "adds_nothing"    // part of a condition that the rest says already
	CodeHidden    Code = "hidden"          // a rule that another one makes pointless
	CodeOverlap   Code = "overlap"         // rules that claim one fact or range at once
	CodeGap       Code = "gap"             // a range between two rules that neither covers
	CodeAgainst   Code = "contradiction"   // weights or demands that undo each other
	CodeUnset     Code = "never_set"       // a fact, or a value of one, that nobody sets or asks
	CodeUnread    Code = "never_read"      // a fact or parameter that nobody reads
	CodeUnsourced Code = "no_source"       // a threshold without a source
	CodeNoRepair  Code = "no_repair"       // a suspect without a repair, or without proof of it
	CodeUseless   Code = "never_helps"     // a test whose answer changes nothing
	CodeTwins     Code = "cannot_separate" // suspects that no test can tell apart
	CodeMeant     Code = "meant"           // an "I mean it" without a reason, or for nothing
)

// ReviewOptions tells the review what it cannot know from the book.
type ReviewOptions struct {
	Given    []string            // facts that the opening of a job may give; programs read them
	Readings map[Mode][2]float64 // lowest and highest that each mode can read; nil = anything
	Also     Errors              // findings of others, to be sorted in and held against the comments
}

// Review is what a rulebook that loads says that its author can hardly mean.
type Review struct {
	Findings Errors  // sorted by place
	Meant    []Meant // what a comment declared intended
}

// Meant is a finding that its line says is intended.
type Meant struct {
	Finding *Error
	Reason  string
}

// reviewer collects findings.
type reviewer struct {
	*problems
	*reasoner
	blamed map[*Rule]bool    // rules that can never fire: nothing more is said of them
	told   map[[2]*Rule]bool // pairs of which something was said
}

// Review reasons over the whole book. It takes well under a second for thousands of
// rules; nothing in the book changes.
func (b *Book) Review(o ReviewOptions) *Review {
	v := &reviewer{problems: &problems{}, reasoner: newReasoner(b, o), blamed: map[*Rule]bool{}, told: map[[2]*Rule]bool{}}
	v.unset()
	for _, r := range b.Rules {
		v.condition(r)
		v.thresholds(r)
	}
	v.pairs()
	v.ranges()
	v.unread(o)
	v.suspects()
	v.tests()
	v.list = append(v.list, o.Also...)
	return b.meant(v.list.sorted())
}

// meantComment is what an author writes behind a line that is right as it stands.
var meantComment = regexp.MustCompile(`(?:^|\s)#\s*I mean it\b[:,.]?\s*(.*)$`)

type mark struct {
	at     Pos
	reason string
	used   bool
	src    *source
}

// meant takes out what a comment on its line, or alone on the line above, says is
// intended. A comment without a reason, or where nothing was found, is a finding itself.
func (b *Book) meant(found Errors) *Review {
	marks := b.marks()
	out := &Review{}
	for _, e := range found {
		m := marks[Pos{File: e.Pos.File, Line: e.Pos.Line}]
		if m == nil || m.reason == "" {
			out.Findings = append(out.Findings, e)
			if m != nil {
				m.used = true
			}
			continue
		}
		m.used = true
		out.Meant = append(out.Meant, Meant{e, m.reason})
	}
	seen := map[*mark]bool{}
	for _, m := range marks {
		if seen[m] {
			continue
		}
		seen[m] = true
		p := &problems{}
		at := spot{src: m.src, node: &yaml.Node{Line: m.at.Line, Column: m.at.Column}}
		switch {
		case m.reason == "":
			p.add(at, CodeMeant, "\"I mean it\" needs a reason", "write  # I mean it: and why")
		case !m.used:
			p.add(at, CodeMeant, "there is nothing here to insist on", "take the comment away")
		}
		out.Findings = append(out.Findings, p.list...)
	}
	out.Findings = out.Findings.sorted()
	return out
}

// marks finds the comments, by the line they speak of.
func (b *Book) marks() map[Pos]*mark {
	out := map[Pos]*mark{}
	for _, layer := range b.sources {
		for _, f := range layer.Files {
			if !strings.Contains(string(f.Data), "I mean it") {
				continue
			}
			src := newSource(path.Join(layer.Name, f.Name), f.Data)
			for i, line := range src.lines {
				at := meantComment.FindStringSubmatchIndex(line)
				if at == nil {
					continue
				}
				column := strings.LastIndex(line[:at[2]], "#")
				m := &mark{at: Pos{src.name, i + 1, len([]rune(line[:column])) + 1}, reason: strings.TrimSpace(line[at[2]:at[3]]), src: src}
				out[Pos{File: src.name, Line: i + 1}] = m
				if strings.TrimSpace(line[:column]) == "" {
					out[Pos{File: src.name, Line: i + 2}] = m
				}
			}
		}
	}
	return out
}

// sortedFacts puts findings that concern several places into one order.
func sortPairs(a, b *Rule) int {
	return cmp.Or(strings.Compare(a.Pos.File, b.Pos.File), a.Pos.Line-b.Pos.Line, strings.Compare(a.ID, b.ID))
}

// part reports a part of a condition.
func (v *reviewer) part(c *Condition, n ast.Node, code Code, hint, format string, args ...any) {
	k := &compiler{problems: v.problems, at: c.at, source: c.source}
	k.fail(n, code, hint, format, args...)
}

// text gives a part of a condition as written.
func (c *Condition) text(n ast.Node) string {
	from, to := (&compiler{source: c.source}).span(n)
	return strings.TrimSpace(string([]rune(c.source)[from:to]))
}

func (v *reviewer) rule(r *Rule, field string, code Code, hint, format string, args ...any) {
	v.add(r.at.of(field), code, fmt.Sprintf(format, args...), hint)
}

func quoted(list []string) string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = fmt.Sprintf("%q", s)
	}
	return strings.Join(slices.Compact(out), ", ")
}

// About makes a finding of someone else's about a suspect or a test of the book, at its id.
func (b *Book) About(kind, id string, code Code, message, hint string) *Error {
	p := &problems{}
	at := spots{}
	if s, ok := b.Suspect(id); ok && kind == "suspect" {
		at = s.at
	}
	if t, ok := b.Test(id); ok && kind == "test" {
		at = t.at
	}
	p.add(at.of("id"), code, message, hint)
	return p.list[0]
}
