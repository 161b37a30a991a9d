package rank

import (
	"math"
	"slices"

	"coilside/engine/circuit"
	"coilside/rules"
)

// complaintError is the chance that the customer's words name the wrong thing.
// Experience, no source.
const complaintError = 0.03

// Complaints lists what a customer can complain of, in a fixed order.
var Complaints = []string{"dead", "stays_on", "weak", "intermittent", "chatters", "drops_out_hot", "blows_fuse", "inverted"}

// imagined is how likely a customer complains, of any one thing, though the
// circuit is sound: what made them come lies elsewhere. Experience, no source.
const imagined = 0.05

var (
	commanded        = rules.Setup{Relay: "in", Key: "on", Command: "on"}
	watchCommanded   = circuit.Watching(commanded)
	watchUncommanded = circuit.Watching(rules.Setup{Relay: "in", Key: "on", Command: "off"})
)

// Presentation is how likely each complaint is of one circuit, in the order of
// Complaints, and how likely none at all.
type Presentation struct {
	Of   [8]float64
	None float64
}

const (
	dead = iota
	staysOn
	weak
	intermittent
	chatters
	dropsOutHot
	blowsFuse
	inverted
)

// Present computes what a customer would complain of: from how the load runs
// commanded and not, cold and hot, with the fault there and away.
// The shares of what people say are experience, no source.
func Present(sv *circuit.Solver, there, away *circuit.Instance, chance float64) Presentation {
	return present(sv, there, away, chance, true)
}

// present does the same; without heat the two looks at a cold and a hot coil are
// left out, which only matters to who complains of heat.
func present(sv *circuit.Solver, there, away *circuit.Instance, chance float64, heat bool) Presentation {
	p := presentSteady(sv, there, heat)
	if with := there.Beside(); with != nil {
		p = p.besides(presentSteady(sv, with, false))
	}
	if away != nil && chance < 1 {
		q := presentSteady(sv, away, heat)
		comes := math.Min(1, 5*(1-chance)) * 0.85 * (1 - p.None)
		for i := range p.Of {
			p.Of[i] = (1 - comes) * (chance*p.Of[i] + (1-chance)*q.Of[i])
		}
		p.None = (1 - comes) * (chance*p.None + (1-chance)*q.None)
		p.Of[intermittent] += comes
	}
	return p
}

// besides mixes in how the circuit does while its neighbours are on, half of the
// time: what differs then comes and goes.
func (p Presentation) besides(with Presentation) Presentation {
	apart := math.Abs(p.None - with.None)
	for i := range p.Of {
		apart += math.Abs(p.Of[i] - with.Of[i])
	}
	comes := 0.6 * min(apart/2, 1)
	for i := range p.Of {
		p.Of[i] = (1 - comes) * (p.Of[i] + with.Of[i]) / 2
	}
	p.None = (1 - comes) * (p.None + with.None) / 2
	p.Of[intermittent] += comes
	return p
}

// scaled takes a part of everything.
func (p Presentation) scaled(part float64) Presentation {
	for i := range p.Of {
		p.Of[i] *= part
	}
	p.None *= part
	return p
}

func presentSteady(sv *circuit.Solver, in *circuit.Instance, heat bool) Presentation {
	var p Presentation
	watch := func(in *circuit.Instance, p *circuit.Probe) float64 {
		sv.SettleFor(in, p)
		return sv.At(p).A
	}
	if in.Overloaded() {
		p.Of[blowsFuse], p.Of[dead] = 0.65, 0.35
		return p
	}
	on, off := watch(in, &watchCommanded), watch(in, &watchUncommanded)
	if on == circuit.ComesAndGoes || off == circuit.ComesAndGoes {
		p.Of[chatters], p.Of[intermittent], p.Of[weak], p.Of[dead] = 0.8, 0.08, 0.06, 0.06
		return p
	}
	runsOn, offOn := runs("runs", on), runs("off", on)
	weakOn := 1 - runsOn - offOn
	runsOff := 1 - runs("off", off)
	p.Of[staysOn] = runsOff * (runsOn + weakOn)
	p.Of[inverted] = runsOff * offOn
	p.Of[dead] = (1 - runsOff) * offOn
	p.Of[weak] = (1 - runsOff) * weakOn
	p.None = (1 - runsOff) * runsOn
	if !heat && !in.HeatShows() {
		return p
	}
	hot, cold := watch(in.Hot(), &watchCommanded), watch(in.Cold(), &watchCommanded)
	if hot == circuit.Trips { // its fuse goes once it is warm
		blows := 0.8 * runs("runs", cold)
		p = p.scaled(1 - blows)
		p.Of[dropsOutHot] += 0.5 * blows
		p.Of[blowsFuse] += 0.3 * blows
		p.Of[intermittent] += 0.2 * blows
		return p
	}
	if lost := runs("runs", cold) * runs("off", hot); lost > 0 {
		p = p.scaled(1 - 0.8*lost)
		p.Of[dropsOutHot] += 0.65 * lost
		p.Of[intermittent] += 0.15 * lost
	}
	return p
}

// complaintLikelihood is how likely all that was complained of is of a particle: first the
// job's complaint, and after each repair the same as before, nothing or, where it changed, any
// other.
func (b *Belief) complaintLikelihood(c *cloud, p *particle) float64 {
	at := slices.Index(Complaints, b.complaint)
	if at < 0 {
		return 1
	}
	var now [8]float64 // by complaint: how likely it is what is complained of, with all before it
	if c.sound() && len(b.repaired) == 0 {
		return imagined
	}
	now[at] = 1
	heat := at == dropsOutHot
	for i := range p.epochs {
		gone := i > 0 && b.repaired[i-1].Gone
		if i > 0 && !gone && (!b.repaired[i-1].Complains || b.repaired[i-1].Now != "") {
			heat = true
			changeTo(&now, slices.Index(Complaints, b.repaired[i-1].Now))
		}
		k := &p.epochs[i]
		var away *circuit.Instance
		if k.chance < 1 {
			away = b.without(k, p.draw)
		}
		pr := present(&b.solver, k.there, away, k.chance, heat)
		if gone {
			quiet := max(1-total(pr.Of), complaintError)
			for k := range now {
				now[k] *= quiet
			}
			continue
		}
		for k := range now {
			now[k] *= (1-complaintError)*pr.Of[k] + complaintError/8
		}
	}
	return total(now)
}

// changeTo makes another complaint of what is complained of: that at a place of Complaints, or any other
// where it is -1.
func changeTo(now *[8]float64, to int) {
	sum := total(*now)
	for k := range now {
		switch {
		case to < 0:
			now[k] = sum - now[k]
		case k == to:
			now[k] = sum
		default:
			now[k] = 0
		}
	}
}

func total(of [8]float64) float64 {
	sum := 0.0
	for _, x := range of {
		sum += x
	}
	return sum
}

// sound reports whether the cloud's hypothesis is that nothing is wrong.
func (c *cloud) sound() bool {
	for _, f := range c.faults {
		if len(f.Suspect.Does) > 0 {
			return false
		}
	}
	return true
}
