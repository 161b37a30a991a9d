package pinout

import (
	"math"
	"sync"
)

// planner finds the readings that tell guesses apart with the fewest readings to be
// expected, exactly: dynamic programming over the sets of guesses left.
type planner struct {
	mu      sync.Mutex // whoever plans holds it
	guesses []guess
	probes  []probe
	shows   [][outcomes]set // by probe: the guesses that show each outcome
	unsafe  []set           // by probe: the guesses under which it must not be asked for
	best    map[set]step
}

// step is what to do with a set of guesses: which probe, and how many readings to
// expect from there.
type step struct {
	probe    int // -1 = nothing left to tell
	expected float64
}

func newPlanner(gs []guess, pins int) *planner {
	p := &planner{guesses: gs, probes: probes(pins), best: map[set]step{}}
	p.shows = make([][outcomes]set, len(p.probes))
	p.unsafe = make([]set, len(p.probes))
	for i, probe := range p.probes {
		for n, g := range gs {
			p.shows[i][g.shows(probe)].add(n)
			if !g.safe(probe) {
				p.unsafe[i].add(n)
			}
		}
	}
	return p
}

// planners keeps what was planned: it depends on the form of relay alone.
var planners = struct {
	mu sync.Mutex
	by map[plannerKey]*planner
}{by: map[plannerKey]*planner{}}

type plannerKey struct {
	pins              int
	form, suppression string
}

// mostPlanned bounds what one planner keeps. A whole plan takes some 2,000 steps; more
// come only from readings that nobody asked for.
const mostPlanned = 50_000

func (r *relay) planner() *planner {
	planners.mu.Lock()
	defer planners.mu.Unlock()
	key := plannerKey{r.pins, r.form, r.suppression}
	p := planners.by[key]
	if p == nil || len(p.best) > mostPlanned {
		p = newPlanner(r.guesses(), r.pins)
		planners.by[key] = p
	}
	return p
}

func (p *planner) all() set {
	var s set
	for n := range p.guesses {
		s.add(n)
	}
	return s
}

func (p *planner) weight(s set) float64 {
	sum := 0.0
	for n, g := range p.guesses {
		if s.has(n) {
			sum += g.weight
		}
	}
	return sum
}

// plan gives the best step with s left.
func (p *planner) plan(s set) step {
	if s.count() <= 1 {
		return step{probe: -1}
	}
	if known, ok := p.best[s]; ok {
		return known
	}
	best := step{probe: -1, expected: math.Inf(1)}
	whole := p.weight(s)
	for i := range p.probes {
		if !s.and(p.unsafe[i]).empty() {
			continue
		}
		expected, splits := 1.0, 0
		for _, of := range p.shows[i] {
			if part := s.and(of); !part.empty() && part != s {
				splits++
				expected += p.weight(part) / whole * p.plan(part).expected
			}
		}
		if splits > 1 && expected < best.expected-1e-12 {
			best = step{probe: i, expected: expected}
		}
	}
	if best.probe < 0 {
		best.expected = 0 // nothing tells them apart
	}
	p.best[s] = best
	return best
}
