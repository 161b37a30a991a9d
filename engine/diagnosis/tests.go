package diagnosis

import (
	"math"
	"slices"
	"sort"
	"strings"

	"coilside/engine/choose"
	"coilside/engine/circuit"
	"coilside/engine/rank"
	"coilside/rules"
)

// roleSure is how probable a wiring must be before tests that name its roles are
// offered: a lead in the wrong cavity makes a wrong reading.
const roleSure = 0.97

// What a test must tell to be worth anybody's time, bits: so much, and where one suspect is
// likely enough to act on, so much for each of its minutes. Both grow with the readings
// taken since the last repair, once patience is at an end: what many tests left open is
// better named as it stands than asked about for another hour.
const (
	worthless     = 0.02
	worthAtMinute = 0.003
	patience      = 20 // readings
)

// worthIt gives whether a test tells enough for the minutes it takes.
func (c *Case) worthIt() func(gain, minutes float64) bool {
	worn := max(1, float64(c.readSinceRepair())/patience)
	atMinute := worthAtMinute * (worn - 1)
	if c.surest().probability >= likelyAt {
		atMinute = worthAtMinute * worn
	}
	return func(gain, minutes float64) bool { return gain >= max(worthless*worn, atMinute*minutes) }
}

func (c *Case) readSinceRepair() int {
	n := 0
	for _, e := range c.events {
		switch {
		case e.repair != nil:
			n = 0
		case e.reading != nil:
			n++
		}
	}
	return n
}

// Next lists up to limit tests worth doing now, best first; limit 0 means all.
// None that a gate or a rule forbids is among them.
func (c *Case) Next(limit int) []Proposal {
	ps := slices.Clone(c.proposals())
	if c.Conclusion() != nil && !slices.ContainsFunc(ps, func(p Proposal) bool { return c.required(p.Test.ID) }) {
		worthIt := c.worthIt()
		ps = slices.DeleteFunc(ps, func(p Proposal) bool { return !worthIt(p.Gain, p.Minutes) })
	}
	if limit > 0 && len(ps) > limit {
		ps = ps[:limit]
	}
	for i := range ps {
		c.describe(&ps[i])
		c.asked[ps[i].Test.ID] = ps[i].Measure
	}
	return ps
}

// proposals are the offered tests and what each is worth, best first, worked out
// once a change.
func (c *Case) proposals() []Proposal {
	if c.cached.proposals == nil {
		c.cached.proposals = c.worth()
		if c.untouched() {
			c.lend()
		}
	}
	return c.cached.proposals
}

// worth weighs the tests by what is believed; where the likeliest has yet to be
// proven, or nothing believed is worth testing and yet nothing is proven, by what
// the readings alone leave: a suspect that is only unlikely is not told apart. Where
// the last repair left the complaint, old readings count less.
func (c *Case) worth() []Proposal {
	sure := c.surest()
	believed, proven := sure.probability >= concludeAt, sure.alone >= provenAt
	by := rank.Believed
	switch {
	case believed && proven && c.stale(sure):
		by = rank.Afresh
	case believed && !proven:
		by = rank.ReadingsAlone
	}
	ps := c.worthBy(by)
	if len(ps) == 0 && !believed {
		ps = c.worthBy(rank.ReadingsAlone)
	}
	if len(ps) == 0 && c.stale(sure) {
		ps = c.worthBy(rank.Afresh)
	}
	return ps
}

func (c *Case) worthBy(by rank.By) []Proposal {
	cs, blocked := c.offered()
	outlooks := c.belief.Outlooks(append(slices.Clone(cs), blocked...), by)
	opens := c.opens(blocked, outlooks[len(cs):])
	ps := make([]Proposal, 0, len(cs))
	scores := map[string]float64{}
	worthIt := c.worthIt()
	for i, cand := range cs {
		o := &outlooks[i]
		gain := told(o)
		minutes := c.minutes(cand)
		opening, proving := o, 0.0
		if o, ok := opens[opensBy(cand)]; ok && o.gain > gain {
			gain, minutes, opening, proving = o.gain, minutes+o.minutes, o.outlook, o.minutes
		}
		if !worthIt(gain, minutes) && !c.required(cand.Test.ID) {
			continue
		}
		ps = append(ps, Proposal{Test: cand.Test, Measure: cand.Measure, Setup: cand.Setup,
			Gain: gain, Minutes: minutes, outlook: o, opening: opening, proving: proving})
		score := gain / (minutes + lookingUp)
		if f, ok := c.effects.Preferred[cand.Test.ID]; ok {
			score *= f.Factor
		}
		if c.required(cand.Test.ID) {
			score += 1e3
		}
		scores[cand.Test.ID] = score
	}
	sort.SliceStable(ps, func(i, j int) bool { return scores[ps[i].Test.ID] > scores[ps[j].Test.ID] })
	c.lookAhead(ps)
	return ps
}

// told is the information that a test is expected to give, in bits >= 0, without what only
// the luck of small clouds would have it give.
func told(o *rank.Outlook) float64 { return math.Max(choose.Gain(o.Prior, o.Cells)-o.Luck, 0) }

// lookingUp is what any test costs beside its own minutes: reading what to do,
// and saying what came of it.
const lookingUp = 0.3

// offered lists the tests that make sense now, roles filled in: applicable,
// allowed, not done since the last repair, not skipped, and each measurement once.
// Blocked are ohms tests that only lack the reading that proves a place dead.
func (c *Case) offered() (out, blocked []*rank.Candidate) {
	env := environment(c.facts)
	roles := c.roles()
	done, again := c.done(), c.again()
	seen := map[string]bool{}
	for _, t := range c.knowledge.book.Tests {
		if t.Proof || done[t.ID] && !again[t.ID] || c.forbidden(t.ID) || c.lacks(t.Tool) {
			continue
		}
		if t.When != nil && t.When.Decide(env) == rules.False {
			continue
		}
		m, ok := fillRoles(t.Measure, roles)
		if !ok || !rank.ByHand(t) && !c.reachable(m) || m.Mode == rules.Ohms && c.onModule(m) {
			continue
		}
		s := circuit.SetupFor(m, t.Setup)
		key := measureKey(m, s)
		if seen[key] || done[key] && !again[t.ID] {
			continue
		}
		seen[key] = true
		cand, err := c.candidate(t, m, s, key)
		switch {
		case err != nil:
		case c.safe(cand):
			out = append(out, cand)
		case m.Mode == rules.Ohms && c.couldBeDead(cand):
			blocked = append(blocked, cand)
		}
	}
	return out, blocked
}

// opening is what a reading that proves a place dead opens the way to.
type opening struct {
	gain, minutes float64
	outlook       *rank.Outlook
}

// opens tells, by place and setup, the best ohms test that a dead reading there
// would make safe.
func (c *Case) opens(blocked []*rank.Candidate, outlooks []rank.Outlook) map[string]opening {
	out := map[string]opening{}
	for i, cand := range blocked {
		o := opening{told(&outlooks[i]), anotherReading, &outlooks[i]}
		if !c.meterProved() && o.gain > out[meterKey].gain {
			out[meterKey] = o
		}
		for _, place := range []string{cand.Measure.Red, cand.Measure.Black} {
			if key := deadKey(place, cand.Setup); o.gain > out[key].gain {
				out[key] = o
			}
		}
	}
	return out
}

// meterKey stands for any reading that proves the meter on the battery.
const meterKey = "meter"

// opensBy is the key of what a reading may open the way to, "" for none.
func opensBy(cand *rank.Candidate) string {
	m := cand.Measure
	switch {
	case m.Mode != rules.VoltsDC || m.Black != circuit.Reference:
		return ""
	case m.Red == "battery.positive":
		return meterKey
	}
	return deadKey(m.Red, cand.Setup)
}

func deadKey(place string, s rules.Setup) string {
	return strings.Join([]string{place, s.Relay, s.Key, s.Command, s.Coil}, " ") + s.Conditions()
}

// couldBeDead reports whether an ohms test that is not safe yet would become so by
// a volts reading or two: one place to be read as dead, the meter to be proved,
// and nothing likely that makes its places live.
func (c *Case) couldBeDead(cand *rank.Candidate) bool {
	lacking := 0
	for _, place := range []string{cand.Measure.Red, cand.Measure.Black} {
		if place == circuit.Reference || isolated(place, cand.Setup) || c.readDead(place, cand.Setup) {
			continue
		}
		if place == "battery.positive" || c.mayComeBack(place, cand.Setup) || c.belief.LiveProbability(place, cand.Setup) > liveMost {
			return false
		}
		lacking++
	}
	return lacking == 1 || lacking == 0 && !c.meterProved()
}

func (c *Case) candidate(t *rules.Test, m rules.Measure, s rules.Setup, key string) (*rank.Candidate, error) {
	key = t.ID + " " + key
	if cand, ok := c.candidates[key]; ok {
		return cand, nil
	}
	cand, err := c.belief.Candidate(t, m, s)
	if err == nil {
		c.candidates[key] = cand
	}
	return cand, err
}

// done lists what has been answered since the last repair or was skipped, by test
// id and by measurement.
func (c *Case) done() map[string]bool {
	done := map[string]bool{}
	epoch := 0
	for _, e := range c.events {
		switch {
		case e.repair != nil:
			epoch++
			for k := range done {
				delete(done, k)
			}
		case e.skipped != "":
			done[e.skipped] = true
		case e.reading != nil:
			if e.reading.Test != "" {
				done[e.reading.Test] = true
			}
			if e.reading.Measure.Mode != rules.Ask {
				done[measureKey(e.reading.Measure, circuit.SetupFor(e.reading.Measure, e.reading.Setup))] = true
			}
		}
	}
	for _, e := range c.events { // questions are answered once for the whole job
		if e.reading != nil && e.reading.Measure.Mode == rules.Ask {
			done[e.reading.Test] = true
		}
	}
	for _, t := range c.knowledge.book.Tests { // and never when the opening said it
		if _, ok := c.facts[t.Sets]; ok && t.Measure.Mode == rules.Ask {
			done[t.ID] = true
		}
	}
	return done
}

// When a test is worth asking again: where its reading was probably a slip, or where
// something comes and goes and one look may have missed it.
const (
	doubtful   = 0.3 // probability that the reading went wrong
	comingAnd  = 0.3 // probability of a fault that comes and goes
	timesAsked = 2   // since the last repair, at the most
)

// again lists the tests that may be asked once more, by id. What is seen by looking
// at a part or said in answer to a question would only be seen and said again.
func (c *Case) again() map[string]bool {
	out := map[string]bool{}
	times := map[string]int{}
	doubt := map[string]bool{}
	for _, e := range c.events {
		switch {
		case e.repair != nil:
			clear(times)
			clear(doubt)
		case e.reading == nil || e.reading.Test == "":
		default:
			times[e.reading.Test]++
			doubt[e.reading.Test] = c.belief.Misfit(e.entry) >= doubtful
		}
	}
	comesAndGoes := c.belief.ComesAndGoes() >= comingAnd
	last := ""
	if n := len(c.events); n > 0 && c.events[n-1].reading != nil {
		last = c.events[n-1].reading.Test
	}
	for id, n := range times {
		t, ok := c.knowledge.book.Test(id)
		if !ok || n >= timesAsked || id == last || rank.ByHand(t) || c.skipped(id) {
			continue
		}
		switch t.Measure.Mode {
		case rules.Look, rules.Ask, rules.Swap, rules.Reseat, rules.Bridge, rules.PullIn, rules.DropOut:
			continue
		}
		out[id] = doubt[id] || comesAndGoes
	}
	return out
}

func (c *Case) skipped(test string) bool {
	return slices.ContainsFunc(c.events, func(e event) bool { return e.skipped == test })
}

func (c *Case) forbidden(test string) bool {
	_, ok := c.effects.Forbidden[test]
	return ok
}

func (c *Case) required(test string) bool {
	_, ok := c.effects.Required[test]
	return ok && !c.done()[test]
}

// roles are the names that follow from the wiring, as far as they are sure.
func (c *Case) roles() map[string]string {
	if c.knowledge.model == nil {
		return nil
	}
	if c.cached.roles != nil {
		return c.cached.roles
	}
	roles := map[string]string{}
	for _, n := range c.knowledge.model.Names() {
		if is, p := c.belief.Likeliest(n); p >= roleSure {
			roles[n] = is
		}
	}
	c.cached.roles = roles
	return roles
}

// fillRoles puts terminals in the place of {roles}; false where one is not sure.
func fillRoles(m rules.Measure, roles map[string]string) (rules.Measure, bool) {
	for _, place := range []*string{&m.Red, &m.Black, &m.At, &m.From, &m.To} {
		*place = circuit.FillPlaceholders(*place, roles)
		if strings.Contains(*place, "{") {
			return m, false
		}
	}
	return m, true
}

// reachable reports whether the circuit, as far as it is known, has every place.
func (c *Case) reachable(m rules.Measure) bool {
	return c.knowledge.model == nil || !slices.ContainsFunc(m.Places(), func(place string) bool { return !c.belief.Has(place) })
}

func measureKey(m rules.Measure, s rules.Setup) string {
	if m.Mode == rules.Ask {
		return "ask " + m.Question
	}
	return strings.Join([]string{string(m.Mode), m.Red, m.Black, m.At, m.During, m.From, m.To,
		s.Relay, s.Key, s.Command, s.Coil, strings.Join(s.Unplugged, "+")}, " ") + s.Conditions()
}

// spotOf is the part of the vehicle where a measurement is taken.
func spotOf(m rules.Measure) string {
	for _, place := range []string{m.Red, m.At, m.From} {
		head, _, ok := strings.Cut(place, ".")
		switch {
		case place == "":
		case ok && (head == "socket" || head == "back" || head == "relay"):
			return "relay"
		case strings.HasPrefix(head, "load"):
			return "load"
		case strings.HasPrefix(head, "control"):
			return "control"
		case strings.HasSuffix(head, "_fuse"):
			return "fuses"
		case strings.HasPrefix(place, "battery"):
			return "battery"
		}
	}
	return string(m.Mode)
}

// access is how hard the relay is to get at, as an index of a test's minutes.
func (c *Case) access() int {
	if v, ok := c.facts["relay_access"]; ok {
		return max(slices.Index([]string{"bonnet", "dash", "under"}, v.Text), 0)
	}
	return 0
}

// quickOnTheSpot reports whether a further reading of this kind costs next to
// nothing once the technician is there with the leads in hand.
func quickOnTheSpot(mode rules.Mode) bool {
	switch mode {
	case rules.VoltsDC, rules.Ohms, rules.TestLamp, rules.AmpsDC, rules.Look:
		return true
	}
	return false
}

// Minutes of a further reading on the spot, and of a change of key or command.
// Practice, no source.
const (
	anotherReading = 0.5
	switching      = 0.7
)
