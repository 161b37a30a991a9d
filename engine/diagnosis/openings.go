package diagnosis

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"

	"coilside/engine/rank"
)

// Many jobs start alike: the same complaint, the same wiring, the same seed. What such a
// start comes to before anything is read is worked out once and then copied, tests'
// predictions and all. A copy says to the last digit what working it out again would.

// openingsKept is how many starts are kept; each takes some megabytes.
const openingsKept = 12

// openings are the starts worked out last, the latest use last.
type openings struct {
	mu  sync.Mutex
	all []*start
}

// start is what a job comes to before anything is read. It is only read and copied.
type start struct {
	key        string
	belief     *rank.Belief
	candidates map[string]*rank.Candidate
	proposals  []Proposal
	roles      map[string]string
}

func (o *openings) find(key string) *start {
	o.mu.Lock()
	defer o.mu.Unlock()
	i := slices.IndexFunc(o.all, func(s *start) bool { return s.key == key })
	if i < 0 {
		return nil
	}
	s := o.all[i]
	o.all = append(slices.Delete(o.all, i, i+1), s)
	return s
}

func (o *openings) keep(s *start) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if slices.ContainsFunc(o.all, func(other *start) bool { return other.key == s.key }) {
		return
	}
	if len(o.all) == openingsKept {
		o.all = slices.Delete(o.all, 0, 1)
	}
	o.all = append(o.all, s)
}

// untouched reports whether nothing has happened in the job but that facts were told.
func (c *Case) untouched() bool {
	return !slices.ContainsFunc(c.events, func(e event) bool { return e.fact == "" })
}

// startKey names all that an untouched job follows from.
func (c *Case) startKey() string {
	var key strings.Builder
	fmt.Fprintf(&key, "%q %d", c.opening.Complaint, c.opening.Seed)
	for _, id := range slices.Sorted(maps.Keys(c.facts)) {
		fmt.Fprintf(&key, "\n%s %+v", id, c.facts[id])
	}
	return key.String()
}

// adopt takes over what an untouched job comes to from an earlier one that started alike.
func (c *Case) adopt() bool {
	s := c.knowledge.openings.find(c.startKey())
	if s == nil {
		return false
	}
	c.belief, c.candidates = s.belief.Clone(), cloned(s.candidates)
	c.cached.proposals, c.cached.roles = s.proposals, s.roles
	return true
}

// lend keeps what this untouched job comes to for those that start alike, and goes on
// with a copy: what others start from must not change any more.
func (c *Case) lend() {
	s := &start{key: c.startKey(), belief: c.belief, candidates: c.candidates, proposals: c.cached.proposals, roles: c.roles()}
	c.belief, c.candidates = s.belief.Clone(), cloned(s.candidates)
	c.knowledge.openings.keep(s)
}

func cloned(of map[string]*rank.Candidate) map[string]*rank.Candidate {
	out := make(map[string]*rank.Candidate, len(of))
	for key, cand := range of {
		out[key] = cand.Clone()
	}
	return out
}
