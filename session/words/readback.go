package words

import "slices"

// answerReadBack reads what is said after numbers were read back: yes, no, or a
// correction, which is of them and not of what was stored before. What is said
// besides is added; Findings that are not Confirmed are still to be read back.
func (r *Reader) answerReadBack(text string, q Question, ctx Context) Result {
	rest, yes := r.leadingYes(text)
	if yes && rest == "" {
		return Result{Findings: confirmed(q.Pending), Commands: q.Choices[0].Commands, Answered: true}
	}
	ctx.Last = slices.Clone(q.Pending)
	for i := range ctx.Last {
		ctx.Last[i].Entry = -1 - i // no entry yet
	}
	if !yes {
		return r.amend(r.readFresh(text, ctx), q)
	}
	more := r.readFresh(rest, ctx)
	if len(more.Findings) == 0 && len(more.Questions)+len(more.Commands) == 0 {
		return Result{Findings: confirmed(q.Pending), Commands: q.Choices[0].Commands, Unread: more.Unread, Answered: true}
	}
	if slices.ContainsFunc(more.Commands, func(c Command) bool { return c.Kind == CmdCorrect }) {
		return r.amend(more, q) // "yes, no wait, 12.4"
	}
	more.Findings = append(confirmed(q.Pending), more.Findings...)
	more.Commands = append(slices.Clone(q.Choices[0].Commands), more.Commands...)
	more.Answered = true
	return more
}

// amend puts what was said anew in the place of what was read back of the same.
func (r *Reader) amend(fresh Result, q Question) Result {
	if len(fresh.Findings) == 0 {
		return dropped(fresh)
	}
	kept := slices.Clone(q.Pending)
	gone := func(i int) bool {
		return slices.ContainsFunc(fresh.Commands, func(c Command) bool { return c.Kind == CmdCorrect && c.Entry == -1-i }) ||
			slices.ContainsFunc(fresh.Findings, func(f Finding) bool { return sameMatter(f, kept[i]) })
	}
	out := slices.Clone(q.Pending[:0:0])
	for i, f := range kept {
		if !gone(i) {
			out = append(out, f)
		}
	}
	commands := slices.Clone(q.Choices[0].Commands)
	for _, c := range fresh.Commands {
		if c.Kind != CmdCorrect || c.Entry > 0 {
			commands = append(commands, c)
		}
	}
	fresh.Findings, fresh.Commands, fresh.Answered = append(out, fresh.Findings...), commands, true
	return fresh
}

// dropped makes "scratch that" and "I don't know" a no: what was read back is not stored, so
// nothing stored is taken back, and the test stays open.
func dropped(fresh Result) Result {
	for i, c := range fresh.Commands {
		if c.Kind == CmdUndo || c.Kind == CmdUnsure || c.Kind == CmdCorrect && c.Entry < 0 {
			fresh.Commands[i] = Command{Kind: CmdNo}
		}
	}
	return fresh
}

func sameMatter(a, b Finding) bool {
	if a.Kind == KindFact || b.Kind == KindFact {
		return a.Kind == b.Kind && a.Fact == b.Fact
	}
	return a.Measure == b.Measure && sameSetup(a.Setup, b.Setup)
}

func confirmed(pending []Finding) []Finding {
	out := slices.Clone(pending)
	for i := range out {
		out[i].Confirmed = true
	}
	return out
}

// leadingYes parts a yes from what follows it.
func (r *Reader) leadingYes(text string) (rest string, yes bool) {
	items := r.match(scan(text))
	for i, it := range items {
		if it.kind == kSep || yes && it.kind == kWord && linkWords[it.text] {
			continue
		}
		if it.concept == "yes" {
			yes = true
			continue
		}
		return rawOf(items[i:]), yes
	}
	return "", yes
}
