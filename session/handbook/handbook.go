// Package handbook writes a whole rulebook as one page to be read by people who open
// no rule files.
package handbook

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"path"
	"regexp"
	"slices"
	"strings"

	"coilside/rules"
)

//go:embed page.html
var page string

// Picture is one drawing on the page, as SVG that needs no other file.
type Picture struct {
	Title string
	SVG   string
}

// Write writes the page, as HTML that needs no other file. The error is that of the writer.
func Write(w io.Writer, b *rules.Book, pictures []Picture) error {
	v := view{Book: b, Pictures: pictures}
	for _, r := range b.Rules {
		topic := strings.TrimSuffix(path.Base(r.Pos.File), path.Ext(r.Pos.File))
		if n := len(v.Topics); n == 0 || v.Topics[n-1].Name != topic {
			v.Topics = append(v.Topics, topicOf{Name: topic})
		}
		last := &v.Topics[len(v.Topics)-1]
		last.Rules = append(last.Rules, r)
	}
	return pageTemplate.Execute(w, v)
}

type view struct {
	Book     *rules.Book
	Pictures []Picture
	Topics   []topicOf
}

type topicOf struct {
	Name  string
	Rules []*rules.Rule
}

var pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
	"svg":     func(p Picture) template.HTML { return template.HTML(p.SVG) }, // drawn by this program, words escaped
	"places":  func(s string) string { return role.ReplaceAllString(s, "[$1]") },
	"blanks":  func(s string) string { return strings.ReplaceAll(s, "_", " ") },
	"plainly": func(b *rules.Book, r *rules.Rule) string { return b.Plainly(r.When) },
	"does":    does,
	"test":    testWords,
	"likely":  likely,
	"minutes": func(m [3]float64) string { return fmt.Sprintf("%g / %g / %g min", m[0], m[1], m[2]) },
	"upper": func(s string) string {
		if s == "" {
			return s
		}
		return strings.ToUpper(s[:1]) + s[1:]
	},
}).Parse(page))

// role is a terminal that follows from the wiring, as test texts name it.
var role = regexp.MustCompile(`\{(\w+)\}`)

// does puts an action of a rule into words.
func does(b *rules.Book, a rules.Action) string {
	by := fmt.Sprintf("%.3g", a.By)
	switch a.Do {
	case rules.Set:
		f, _ := b.Fact(a.Fact)
		return fmt.Sprintf("Then %s: %s.", cmp.Or(f.Words, strings.ReplaceAll(a.Fact, "_", " ")), b.Plainly(a.To))
	case rules.Weigh:
		word := "likelier"
		if a.By < 1 {
			word = "less likely"
		}
		return fmt.Sprintf("Makes %s %s (odds × %s).", suspectsWords(b, a.Suspects), word, by)
	case rules.RuleOut:
		return "Rules out: " + suspectsWords(b, a.Suspects) + "."
	case rules.Require:
		return "Required before any conclusion: " + testsWords(b, a.Tests) + "."
	case rules.Forbid:
		return "Forbids: " + testsWords(b, a.Tests) + "."
	case rules.Prefer:
		return fmt.Sprintf("Prefers (× %s): %s.", by, testsWords(b, a.Tests))
	case rules.Caution:
		return "Caution: " + a.Say
	}
	return a.Say
}

func suspectsWords(b *rules.Book, ids []string) string {
	var out []string
	for _, id := range ids {
		if s, ok := b.Suspect(id); ok {
			out = append(out, "“"+cmp.Or(s.Words, id)+"”")
		}
	}
	return strings.Join(out, ", ")
}

func testsWords(b *rules.Book, ids []string) string {
	if len(ids) == len(b.Tests) {
		return "every test"
	}
	var out []string
	for _, id := range ids {
		out = append(out, testWords(b, id))
	}
	return strings.Join(out, "; ")
}

func testWords(b *rules.Book, id string) string {
	if t, ok := b.Test(id); ok && t.Words != "" {
		return t.Words
	}
	return strings.ReplaceAll(id, "_", " ")
}

// likely is what is behind a complaint, likeliest first, as words with shares of the table.
func likely(b *rules.Book, c *rules.Complaint) []string {
	type share struct {
		words string
		part  float64
	}
	var list []share
	sum := 0.0
	for _, s := range b.Suspects {
		for pattern, weight := range c.Priors {
			if n := len(b.MatchSuspects(pattern)); n > 0 && rules.Matches(pattern, s.ID) {
				list = append(list, share{cmp.Or(s.Words, s.ID), weight / float64(n)})
				sum += weight / float64(n)
			}
		}
	}
	slices.SortStableFunc(list, func(x, y share) int { return cmp.Or(cmp.Compare(y.part, x.part), strings.Compare(x.words, y.words)) })
	const most = 8
	var out []string
	for _, x := range list[:min(most, len(list))] {
		out = append(out, fmt.Sprintf("%s (%.0f %%)", x.words, 100*x.part/sum))
	}
	return out
}
