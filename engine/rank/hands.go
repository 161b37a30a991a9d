package rank

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"sync"
	"sync/atomic"
)

// Clouds hear a reading each for itself, so several are worked on at once. Whoever works is
// a hand: the same belief with a solver and scratch space of its own. What comes out does
// not depend on how many there are, as each cloud has its own source of chance.

// handsMost is how many work at once at the most: a service has other jobs to see to.
const handsMost = 4

// each does a piece of work for every i below n, several at once. The work may write to
// what belongs to i alone, and asks the hand it is given, not the belief. A panic of a hand is the caller's: one job
// goes wrong then, not all that a service has in hand.
func (b *Belief) each(n int, work func(hand *Belief, i int)) {
	hands := min(runtime.GOMAXPROCS(0), handsMost, n)
	if b.of != nil || b.handless || hands < 2 {
		for i := range n {
			work(b, i)
		}
		return
	}
	var next atomic.Int64
	var broke atomic.Pointer[string]
	var wg sync.WaitGroup
	for k := range hands {
		hand := b.hand(k)
		wg.Go(func() {
			defer func() {
				if v := recover(); v != nil {
					why := fmt.Sprintf("%v\n%s", v, debug.Stack())
					broke.Store(&why)
				}
			}()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				work(hand, i)
			}
		})
	}
	wg.Wait()
	if why := broke.Load(); why != nil {
		panic(*why)
	}
}

// hand is one of those who work for a belief, with what the belief knows now.
func (b *Belief) hand(k int) *Belief {
	for len(b.hands) <= k {
		b.hands = append(b.hands, &Belief{scratch: new(scratch)})
	}
	own := b.hands[k].scratch
	*b.hands[k] = *b
	b.hands[k].scratch, b.hands[k].of, b.hands[k].hands = own, b, nil
	return b.hands[k]
}

// self is the belief that a hand works for.
func (b *Belief) self() *Belief {
	if b.of != nil {
		return b.of
	}
	return b
}

// eachHypothesis is each over all hypotheses.
func (b *Belief) eachHypothesis(work func(hand *Belief, i int, h *Hypothesis)) {
	b.each(len(b.hyps), func(hand *Belief, i int) { work(hand, i, hand.hyps[i]) })
}
