package diagnosis

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"coilside/engine"
	"coilside/engine/rank"
	"coilside/rules"
)

// Case is one job's state of knowledge. Everything it says follows from the
// opening and from what was taken in since, in order. Not safe for concurrent use.
type Case struct {
	knowledge *Knowledge
	opening   Opening
	events    []event

	memory     *engine.Memory
	effects    engine.Effects
	facts      map[string]rules.Value // given, by fact: the opening's and what was told since
	belief     *rank.Belief
	overruled  map[int]map[string]bool // by entry: suspects for which a rule has the word
	candidates map[string]*rank.Candidate
	epoch      int
	stand      rules.Setup              // where the technician stands: the setup of the last reading
	at         string                   // and the part of the vehicle they were at
	asked      map[string]rules.Measure // by test: where the leads were to go when it was last proposed
	cached     cached
}

// cached is what was worked out since the last change.
type cached struct {
	proposals  []Proposal
	concluded  bool
	conclusion *Conclusion
	roles      map[string]string
}

// event is one thing taken in.
type event struct {
	entry   int
	reading *Reading
	fact    string
	value   rules.Value
	skipped string
	repair  *Repair
	was     []rank.Was // of a repair: what it mended, as far as was believed
}

// Open starts a case. Errors name a fact the rulebook does not know, a value out
// of its range, or a wiring that can't be.
func (k *Knowledge) Open(o Opening) (*Case, error) {
	if _, ok := k.book.Complaint(o.Complaint); o.Complaint != "" && !ok {
		return nil, fmt.Errorf("no complaint is called %q", o.Complaint)
	}
	c := &Case{knowledge: k, opening: o, asked: map[string]rules.Measure{}}
	return c, c.rebuild()
}

// rebuild works everything out again from the opening and the events.
func (c *Case) rebuild() error {
	c.cached = cached{}
	c.memory = c.knowledge.rules.Memory()
	c.facts = maps.Clone(c.opening.Facts)
	if c.facts == nil {
		c.facts = map[string]rules.Value{}
	}
	if c.opening.Complaint != "" {
		if _, ok := c.knowledge.book.Fact("complaint"); ok {
			c.facts["complaint"] = rules.Value{Kind: rules.Choice, Text: c.opening.Complaint}
		}
	}
	var given []engine.Given
	for _, id := range slices.Sorted(maps.Keys(c.facts)) {
		given = append(given, engine.Given{Fact: id, Value: c.facts[id]})
	}
	if err := c.memory.GiveAll(given); err != nil {
		return err
	}
	c.epoch = 0
	for _, e := range c.events {
		if err := c.remember(e); err != nil {
			return err
		}
	}
	return c.rank()
}

// remember puts an event's facts into the working memory.
func (c *Case) remember(e event) error {
	switch {
	case e.repair != nil:
		c.epoch++
	case e.fact != "":
		c.facts[e.fact] = e.value
		return c.memory.Give(e.entry, e.fact, e.value)
	case e.reading != nil:
		return c.giveReading(e.reading)
	}
	return nil
}

// rank builds the belief anew and feeds it every reading in order.
func (c *Case) rank() error {
	c.candidates = map[string]*rank.Candidate{}
	c.stand, c.at = rules.Setup{}, ""
	c.takeEffects()
	if c.untouched() && c.adopt() {
		return nil
	}
	wiring, known := c.knowledge.split(c.facts)
	o := rank.Opening{Book: c.knowledge.book, Model: c.knowledge.model, Complaint: c.opening.Complaint,
		Wiring: wiring, Known: known, Facts: environment(c.facts), Seed: c.opening.Seed, Alone: c.knowledge.alone}
	for _, e := range c.events {
		if e.repair != nil {
			o.Repaired = append(o.Repaired, rank.Repaired{Suspect: e.repair.Suspect, Was: e.was,
				Complains: e.repair.Result == "still_there", Now: e.repair.Now, Gone: e.repair.Result == "gone"})
		}
	}
	belief, err := rank.Open(o)
	if err != nil {
		return err
	}
	c.belief = belief
	epoch := 0
	for _, e := range c.events {
		if e.repair != nil {
			epoch++
		}
		if e.reading != nil {
			if err := c.weigh(e.reading, epoch); err != nil {
				return err
			}
		}
	}
	c.belief.Weigh(c.ruleWeights())
	return nil
}

// weigh gives one reading to the belief.
func (c *Case) weigh(r *Reading, epoch int) error {
	t, _ := c.knowledge.book.Test(r.Test)
	err := c.belief.Read(rank.Reading{ID: r.Entry, Measure: r.Measure, Setup: r.Setup, Answer: r.Answer,
		Test: t, Epoch: epoch, Overruled: c.overruled[r.Entry]})
	if err == nil && r.Measure.Mode != rules.Ask {
		c.stand, c.at = r.Setup, spotOf(r.Measure)
	}
	return err
}

// takeEffects reads what the rules say now.
func (c *Case) takeEffects() {
	c.effects = c.memory.Effects()
	c.overruled = map[int]map[string]bool{}
	readings := map[int]bool{}
	for _, e := range c.events {
		if e.reading != nil {
			readings[e.entry] = true
		}
	}
	for _, f := range c.memory.Firings() {
		for _, a := range f.Rule.Then {
			if a.Do != rules.Weigh {
				continue
			}
			for _, entry := range f.Entries() {
				if !readings[entry] {
					continue
				}
				if c.overruled[entry] == nil {
					c.overruled[entry] = map[string]bool{}
				}
				for _, s := range a.Suspects {
					c.overruled[entry][s] = true
				}
			}
		}
	}
}

// ruleWeights are the log odds factors of the rules, ruled-out suspects included.
func (c *Case) ruleWeights() map[string]float64 {
	logs := map[string]float64{}
	for suspect, w := range c.effects.Weights {
		logs[suspect] = math.Log(w.Factor)
	}
	for _, out := range c.effects.RuledOut {
		logs[out.Suspect] = math.Log(ruledOut)
	}
	return logs
}

// ruledOut is the odds factor of a suspect that the circuit cannot have: small,
// not zero, since what was said of the circuit can be wrong.
const ruledOut = 1e-6

// Read takes in one answered test or unasked measurement. On error nothing has
// changed; errors name a place that the circuit lacks or the setup does not give
// access to, an answer of the wrong kind, or an unknown test.
func (c *Case) Read(r Reading) error {
	if err := c.checkReading(&r); err != nil {
		return err
	}
	return c.take(event{entry: r.Entry, reading: &r})
}

// Tell takes in a fact given outside a test.
func (c *Case) Tell(entry int, fact string, v rules.Value) error {
	return c.take(event{entry: entry, fact: fact, value: v})
}

// Skip notes that a test can't or won't be done.
func (c *Case) Skip(entry int, test string) error {
	if _, ok := c.knowledge.book.Test(test); !ok {
		return fmt.Errorf("no test is called %q", test)
	}
	return c.take(event{entry: entry, skipped: test})
}

// Repair takes in what was mended. Unless the complaint is gone, the diagnosis
// goes on with everything known.
func (c *Case) Repair(r Repair) error {
	if _, ok := c.knowledge.book.Suspect(r.Suspect); !ok {
		return fmt.Errorf("no suspect is called %q", r.Suspect)
	}
	return c.take(event{entry: r.Entry, repair: &r, was: c.mends(&r)})
}

// How sure one may be that a repair mended a fault, where the complaint is gone or another one, and
// where it is still there: the readings that the belief came from are weighed again after it, and would
// count twice. And how little a suspect that is mended with it counts. Experience, no source.
const (
	mendedMost  = 0.98
	mendedStill = 0.25
	mendedLeast = 0.02
)

// mends lists what a repair mends, as far as it is believed to be there: the suspect
// it names, and those that the same act mends.
func (c *Case) mends(r *Repair) []rank.Was {
	out := []rank.Was{{Suspect: r.Suspect}}
	named, _ := c.knowledge.book.Suspect(r.Suspect)
	most := mendedMost
	if r.Result == "still_there" {
		most = mendedStill
	}
	sum := 0.0
	for _, h := range c.belief.Ranking() {
		for _, id := range h.Suspects {
			s, ok := c.knowledge.book.Suspect(id)
			switch {
			case !ok || s.Repair.Class != named.Repair.Class:
				continue
			case id == r.Suspect:
				out[0].Probability += h.Probability()
			case len(h.Suspects) == 1 && h.Probability() > mendedLeast:
				out = append(out, rank.Was{Suspect: id, Probability: h.Probability()})
			}
		}
	}
	out[0].Probability = max(out[0].Probability, mendedLeast)
	for _, w := range out {
		sum += w.Probability
	}
	for i := range out {
		out[i].Probability *= min(1, most/sum)
	}
	return out
}

// Retract takes an entry back: it and all that followed from it goes, and
// nothing else.
func (c *Case) Retract(entry int) error {
	kept := slices.DeleteFunc(slices.Clone(c.events), func(e event) bool { return e.entry == entry })
	if len(kept) == len(c.events) {
		return fmt.Errorf("there is no entry %d to take back", entry)
	}
	return c.replace(kept)
}

// take adds an event. What only adds is put on top of what is there; anything
// that changes what earlier readings mean has everything worked out again.
func (c *Case) take(e event) error {
	c.cached = cached{}
	if e.repair != nil || e.fact != "" && c.knowledge.shapes(e.fact) {
		return c.replace(append(slices.Clone(c.events), e))
	}
	before := c.overruled
	c.events = append(c.events, e)
	if e.skipped != "" {
		return nil
	}
	if err := c.remember(e); err != nil {
		return c.undo(err)
	}
	c.takeEffects()
	for entry, suspects := range c.overruled {
		if entry != e.entry && !maps.Equal(suspects, before[entry]) {
			return c.replace(c.events)
		}
	}
	for entry := range before {
		if c.overruled[entry] == nil {
			return c.replace(c.events)
		}
	}
	if e.reading != nil {
		if err := c.weigh(e.reading, c.epoch); err != nil {
			return c.undo(err)
		}
	}
	c.belief.Weigh(c.ruleWeights())
	return nil
}

func (c *Case) undo(because error) error {
	if err := c.replace(c.events[:len(c.events)-1]); err != nil {
		return err
	}
	return because
}

// replace puts other events in the place of today's, or leaves all as it was.
func (c *Case) replace(events []event) error {
	old := *c
	c.events = events
	if err := c.rebuild(); err != nil {
		*c = old
		return err
	}
	return nil
}

// Belief is the ranking behind the case, for explanations.
func (c *Case) Belief() *rank.Belief { return c.belief }

// Late gives the second-stage rules that fire on the ranking as it stands.
func (c *Case) Late() []engine.Firing { return c.late() }

// Memory is the working memory of facts and rules, for explanations.
func (c *Case) Memory() *engine.Memory { return c.memory }

// Bytes is about how much memory the case takes for itself, beside the rulebook and what it shares with other
// cases that started alike.
func (c *Case) Bytes() int {
	n := c.belief.Bytes()
	for _, cand := range c.candidates {
		n += cand.Bytes()
	}
	return n
}
