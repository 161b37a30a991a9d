package session

import (
	"context"
	"fmt"
	"strings"
)

var formats = []string{"markdown", "json"}

// Report gives the record of a job: what was complained of, found, repaired and
// proved. Format is markdown if left out.
func (s *Service) Report(ctx context.Context, r ReportRequest) (Report, error) {
	format := r.Format
	if format == "" {
		format = "markdown"
	}
	if format != "markdown" && format != "json" {
		return Report{}, notOneOf("format", r.Format, formats)
	}
	j, unlock, err := s.lockCase(ctx, r.Job)
	if err != nil {
		return Report{}, err
	}
	defer unlock()
	view := s.view(j)
	if format == "json" {
		return Report{Job: j.id, Format: format, View: &view}, nil
	}
	return Report{Job: j.id, Format: format, Text: j.markdown(view)}, nil
}

func (j *job) markdown(v JobView) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# Job %s\n\n", v.Job)
	if v.Label != "" {
		fmt.Fprintf(&b, "%s\n\n", escape(v.Label))
	}
	fmt.Fprintf(&b, "- Complaint: %s\n- Opened: %s\n- State: %s\n", escape(j.complaintWords()), v.Opened.Format("2006-01-02 15:04 MST"), v.State)
	if v.Outcome != "" {
		fmt.Fprintf(&b, "- Outcome: %s\n", v.Outcome)
	}
	fmt.Fprintf(&b, "- Rules: %s\n\n## What was found\n\n", shortHash(v.Rules))
	gone := taken(v.Log)
	for _, e := range v.Log {
		if e.Kind == kindRetracted || e.Words == "" {
			continue
		}
		line := sentence(escape(e.Words))
		if gone[e.Entry] {
			line = "~~" + line + "~~ (taken back)"
		}
		fmt.Fprintf(&b, "%d. %s\n", e.Entry, line)
		for _, n := range e.Notes {
			fmt.Fprintf(&b, "   - %s\n", escape(n))
		}
	}
	b.WriteString(j.verdict())
	return b.String()
}

// verdict is what is proved, or how far it got.
func (j *job) verdict() string {
	var b strings.Builder
	if c := j.conclusion(); c != nil {
		fmt.Fprintf(&b, "\n## What is proved\n\n")
		for _, id := range c.Suspects {
			fmt.Fprintf(&b, "- %s (`%s`)\n", sentence(j.suspectWords(id)), id)
		}
		fmt.Fprintf(&b, "\nProbability %s. Proof: entries %s.\n\n%s\n\nTo verify: %s\n", percent(c.Probability), numbers(c.Proof), c.Repair, sentence(c.Verify))
		return b.String()
	}
	fmt.Fprintf(&b, "\n## Not proved yet\n\nLikeliest:\n\n")
	for _, s := range j.suspects(5, 0) {
		fmt.Fprintf(&b, "- %s: %s\n", s.Words, percent(s.Probability))
	}
	return b.String()
}

func (j *job) complaintWords() string {
	if c, ok := j.base.book.Complaint(j.opening().Complaint); ok && c.Words != "" {
		return c.Words
	}
	return j.opening().Complaint
}

func numbers(list []int) string {
	texts := make([]string, len(list))
	for i, n := range list {
		texts[i] = fmt.Sprint(n)
	}
	return joined(texts, "and")
}

func shortHash(hash string) string { return hash[:min(12, len(hash))] }

// escape keeps what someone typed from being read as markup.
func escape(text string) string {
	return strings.NewReplacer("\\", "\\\\", "*", "\\*", "_", "\\_", "`", "\\`", "<", "&lt;", "[", "\\[", "#", "\\#", "~", "\\~").Replace(text)
}
