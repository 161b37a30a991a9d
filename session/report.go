package session

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

var (
	formats  = []string{"markdown", "html", "json"}
	forWhoms = []string{"file", "customer"}
)

// Report gives the record of a job: what was complained of, found, done and proved. Format
// is markdown if left out; it is for the shop's file if left out, or one page for the
// customer in plain words. HTML is a page of its own that prints well.
func (s *Service) Report(ctx context.Context, r ReportRequest) (Report, error) {
	format, whom := cmpOr(r.Format, "markdown"), cmpOr(r.For, "file")
	if !slices.Contains(formats, format) {
		return Report{}, notOneOf("format", r.Format, formats)
	}
	if !slices.Contains(forWhoms, whom) {
		return Report{}, notOneOf("for", r.For, forWhoms)
	}
	j, unlock, err := s.lockCase(ctx, r.Job)
	if err != nil {
		return Report{}, err
	}
	defer unlock()
	out := Report{Job: j.id, Format: format, For: whom}
	if j.onCourse() {
		return s.courseReport(j, out)
	}
	record, err := s.record(j)
	if err != nil {
		return Report{}, inJob(err, j.id)
	}
	page := j.customerPage(record)
	switch {
	case format == "json" && whom == "customer":
		out.Page = &page
	case format == "json":
		view := s.view(j)
		out.View, out.Record = &view, &record
	case format == "html":
		out.Text, err = j.html(whom, record, page)
	case whom == "customer":
		out.Text = page.markdown()
	default:
		out.Text = j.markdown(record)
	}
	return out, inJob(err, j.id)
}

// markdown writes the record for the shop's file.
func (j *job) markdown(r JobRecord) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Job %s\n\n", r.Job)
	if r.Label != "" {
		fmt.Fprintf(&b, "%s\n\n", escape(r.Label))
	}
	fmt.Fprintf(&b, "- Complaint: %s\n- Opened: %s\n- State: %s\n", escape(r.Complaint), minute(r.Opened), r.State)
	if r.Outcome != "" {
		fmt.Fprintf(&b, "- Outcome: %s\n- %s\n", r.Outcome, escape(r.Ending))
	}
	fmt.Fprintf(&b, "- Rules: %s %s, engine %s\n", r.Ruleset, shortHash(r.Rules), r.Engine)
	for _, k := range r.Known {
		fmt.Fprintf(&b, "- Circuit, %s: %s\n", escape(k.Name), escape(k.Value))
	}
	b.WriteString("\n## What was read, and what it meant\n\n")
	for _, l := range r.Readings {
		line := escape(l.Words)
		if l.TakenBack {
			line = "~~" + line + "~~ (taken back)"
		}
		fmt.Fprintf(&b, "%d. %s\n", l.Entry, line)
		for _, n := range append(slices.Clone(l.Notes), l.Meant) {
			if n != "" {
				fmt.Fprintf(&b, "   - %s\n", escape(n))
			}
		}
	}
	r.writeEnd(&b)
	return b.String()
}

// writeEnd writes what was found, done and proved, and what is left to say.
func (r *JobRecord) writeEnd(b *strings.Builder) {
	if r.Found != nil {
		fmt.Fprintf(b, "\n## What is proved\n\n%s\n\n", escape(r.Found.sure()))
		bullets(b, r.Found.Proof)
	} else {
		b.WriteString("\n## Not proved\n\nNo fault was proved by readings.\n")
	}
	if len(r.Done) > 0 {
		b.WriteString("\n## What was done\n\n")
	}
	for _, d := range r.Done {
		fmt.Fprintf(b, "%d. %s %s After it %s.\n", d.Entry, escape(sentence(d.Words)), escape(sentence(d.Action)), d.Result)
		if len(d.Look) > 0 {
			fmt.Fprintf(b, "   - To look at while there: %s.\n", escape(joined(d.Look, "and")))
		}
	}
	if r.Proof != nil {
		b.WriteString("\n## Proof of the repair\n\n")
		bullets(b, r.Proof.lines())
	}
	b.WriteString("\n## What was not excluded\n\n")
	if len(r.NotExcluded) == 0 {
		b.WriteString("Nothing above 1 %.\n")
	}
	for _, s := range r.NotExcluded {
		fmt.Fprintf(b, "- Likeliest of the rest: %s: %s\n", escape(s.Words), percent(s.Probability))
	}
	b.WriteString("\n## Cautions\n\n")
	bullets(b, r.Cautions)
	if len(r.Notes) > 0 {
		b.WriteString("\n## Notes\n\n")
		bullets(b, r.Notes)
	}
}

func bullets(b *strings.Builder, lines []string) {
	for _, line := range lines {
		fmt.Fprintf(b, "- %s\n", escape(line))
	}
}

// lines say what was measured to prove a repair, and what is missing.
func (p *Proof) lines() []string {
	var out []string
	for _, t := range p.Tests {
		line := t.Say
		if t.Expected != "" {
			line += " Expected: " + t.Expected + "."
		}
		if t.Read != "" {
			line += fmt.Sprintf(" Read: %s (entry %d).", t.Read, *t.Entry)
		}
		out = append(out, line+" "+sentence(t.State))
	}
	if p.Proven {
		return append(out, "The repair is proven.")
	}
	return append(out, "Not proven. "+p.Missing)
}

func (j *job) complaintWords() string {
	if c, ok := j.base.book.Complaint(j.opening().Complaint); ok && c.Words != "" {
		return c.Words
	}
	return j.opening().Complaint
}

func shortHash(hash string) string { return hash[:min(12, len(hash))] }

// escape keeps what someone typed from being read as markup.
func escape(text string) string {
	return strings.NewReplacer("\\", "\\\\", "*", "\\*", "_", "\\_", "`", "\\`", "<", "&lt;", "[", "\\[", "#", "\\#", "~", "\\~").Replace(text)
}
