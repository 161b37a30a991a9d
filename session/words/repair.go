package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// This file reads what was done to the vehicle and what became of it.

// repair reads what was done to the vehicle and what became of it.
func (c *call) repair(in []item) bool {
	if c.ctx.Opening {
		return false // what was repaired before the job began
	}
	if hasConcept(in, "wait") {
		return false // "new horn on order"
	}
	seen, result := c.repairResult(in)
	act := hasConcept(in, "replaced") || c.ctx.Repairing != "" && hasText(in, "new") || result != "" && c.r.newPart(in)
	if !act && (c.ctx.Repairing == "" || c.inSetup(in) || result == "" && !hasConcept(in, "done") || c.watching() || slices.ContainsFunc(in, func(it item) bool { return it.kind == kNum })) {
		return false
	}
	if e := c.ctx.Expected; act && e != nil && (e.Measure.Mode == rules.Swap || e.Measure.Mode == rules.Look && c.ctx.Repairing == "" && hasConcept(in, "wrong_part")) {
		return false // "somebody fitted a 30 amp fuse, wrong one"
	}
	replaced := c.r.replacedIn(in)
	c.settled(ratings(replaced)...)
	cmd := Command{Kind: CmdRepair, Action: strings.TrimRight(c.text, " .!"), Result: result, Suspects: c.suspects(c.r.withoutResult(replaced), false)}
	if complaint := complainedOf[seen]; result != "gone" && complaint != c.ctx.Complaint {
		cmd.Now = complaint
	}
	if result == "" && c.ctx.Repairing == "" && longAgo(in) {
		c.earlierRepair(cmd.Suspects)
		return true
	}
	if (!act || len(cmd.Suspects) == 0 || slices.Contains(cmd.Suspects, c.ctx.Repairing)) && c.ctx.Repairing != "" {
		cmd.Suspects = []string{c.ctx.Repairing}
	}
	c.command(cmd)
	return true
}

// longAgo tells of what was done before the job: "the relay was replaced last week".
func longAgo(in []item) bool {
	return slices.ContainsFunc(in, func(it item) bool {
		return it.concept == "past" || it.concept == "customer" || it.text == "recently" || it.num.unit.dim == "time" && it.num.unit.scale >= 1440
	})
}

// earlierRepair takes what was worked on before the job for what is known of it: it is no
// repair of now, of which the outcome could be asked.
func (c *call) earlierRepair(suspects []string) {
	ask := c.askOf("recent_repair")
	worked := ""
	if strings.Contains(strings.ToLower(c.text), "year") {
		ask = nil // not shortly before
	}
	for _, id := range suspects {
		element, _, _ := strings.Cut(id, ".")
		of := map[string]string{"relay": "relay", "coil": "relay", "contact": "relay", "load": "load"}[element]
		if of == "" && (strings.HasSuffix(element, "_wire") || strings.HasSuffix(element, "_ground")) {
			of = "wiring"
		}
		worked = firstText(worked, of)
	}
	if ask == nil || worked == "" {
		c.unread(c.text, "that was done before this job")
		return
	}
	c.fileFact(ask, rules.Value{Kind: rules.Choice, Text: worked})
}

// newPart tells "new relay, same fault", or "new relay fixed it": a part and that it is new, and
// what came of it.
func (r *Reader) newPart(in []item) bool {
	return len(in) > 2 && in[0].text == "new" && r.namesPart(in[1]) && (len(in) > 3 && in[2].kind == kSep || in[2].concept == "gone")
}

// ratings are the amperes of a new part, which stand in the repair's own words: "a new 20 amp fuse".
func ratings(in []item) []item {
	return slices.DeleteFunc(slices.Clone(in), func(it item) bool {
		return it.kind != kNum || it.num.unit.dim != ampere && it.num.unit.dim != "rating"
	})
}

// replacedIn is the clause that says what was replaced, or all, where that is not said there:
// "replaced the relay, still no horn" has nothing to do with the horn.
func (r *Reader) replacedIn(in []item) []item {
	for _, cl := range clauses(slices.Clone(in)) {
		if hasConcept(cl, "replaced") && slices.ContainsFunc(cl, r.namesPart) {
			return cl
		}
	}
	return in
}

// withoutResult leaves out what became of it: "replaced, working" names no working contact,
// and in "new relay in fan runs now" the fan is what runs.
func (r *Reader) withoutResult(in []item) []item {
	var out []item
	for i, it := range in {
		subject := it.concept == "load" && watchChoice[predicate(in[i+1:]).concept] != ""
		if watchChoice[it.concept] == "" && !(subject && slices.ContainsFunc(in[:i], func(it item) bool { return r.namesPart(it) || namesIt(it) })) {
			out = append(out, it)
		}
	}
	return out
}

// namesIt tells that what was to be mended is named as such: "changed it", "swapped in a new one".
func namesIt(it item) bool {
	return it.text == "it" || it.text == "one" || it.concept == "replaced" && strings.HasSuffix(strings.ToLower(it.raw), " it")
}

// predicate is what is said of a thing, after words of being: "'s now running".
func predicate(in []item) item {
	for _, it := range in {
		if it.kind != kWord || !being[it.text] {
			return it
		}
	}
	return item{}
}

// namesPart tells that a part is named, by itself or within a saying: "new relay in".
func (r *Reader) namesPart(it item) bool {
	return concepts[it.concept] == gPlace || it.kind == kPlace || it.concept == "replaced" && len(r.partsWithin(it)) > 0
}

// partsWithin are the words of a saying that name a part: "new pump fitted".
func (r *Reader) partsWithin(it item) []string {
	return slices.DeleteFunc(strings.Fields(strings.ToLower(it.raw)), func(w string) bool {
		n := r.root.next[w]
		return n == nil || concepts[n.concept] != gPlace
	})
}

// inSetup tells that a state of the vehicle was said: "it runs with it switched
// off" is something seen, and no result of a repair.
func (c *call) inSetup(in []item) bool {
	return slices.ContainsFunc(in, func(it item) bool { return concepts[it.concept] == gSetup })
}

// watching tells whether the test asked for awaits the same words.
func (c *call) watching() bool {
	return c.ctx.Expected != nil && choiceTable(c.ctx.Expected.Measure.Mode) != nil
}

// complainedOf is what one complains of a load that is seen to do so.
var complainedOf = map[string]string{"off": "dead", "weak": "weak", "runs": "stays_on", "trips": "blows_fuse", "comes_and_goes": "intermittent"}

// repairResult is what the load was seen to do, as a choice of a watch, and gone, still_there or changed;
// "" where nothing tells.
func (c *call) repairResult(in []item) (seen, result string) {
	var said []string
	for i, it := range negate(in) {
		if ack := i == 0 && acknowledged[strings.ToLower(it.raw)]; concepts[it.concept] == gOutcome && !ack {
			said = append(said, it.concept)
		}
	}
	switch {
	case slices.Contains(said, "gone"):
		return "", "gone"
	case slices.Contains(said, "still_there"), slices.Contains(said, "same"):
		return "", "still_there"
	}
	if slices.Contains(said, "stays_on") && c.ctx.Complaint != "stays_on" {
		return "runs", "changed"
	}
	seen, _ = c.pick(rules.Watch, only(said, "runs", "weak", "off", "trips", "comes_and_goes", "stays_on", "dead", "nothing", "good", "dim", "bright", "dark"))
	switch {
	case seen == "" && slices.Contains(said, "changed"):
		return "", "changed"
	case seen == "" && slices.Contains(said, "bad") && !slices.ContainsFunc(in, c.r.namesPart):
		return "", "still_there" // "tried that, no good"
	case seen == "":
		return "", ""
	case seen == c.asBefore(), seen == "trips", complainedOf[seen] == c.ctx.OpenedFor: // a load whose new fuse goes runs no more than before
		return seen, "still_there"
	case seen == "runs" || seen == "off" && c.ctx.Complaint == "stays_on":
		return seen, "gone"
	}
	return seen, "changed"
}
