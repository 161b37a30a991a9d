package engine

import "math/bits"

// agenda holds the facts to look at again, by rank, each at most once. Looking at a fact adds
// higher ranks only, so what is taken rises.
type agenda struct {
	words []uint64 // a bit for each rank
	from  int      // no bit is set in the words before this one
	count int
}

func newAgenda(ranks int) agenda { return agenda{words: make([]uint64, (ranks+63)/64)} }

func (a *agenda) add(rank int32) {
	word, bit := int(rank)/64, uint64(1)<<(rank%64)
	if a.words[word]&bit != 0 {
		return
	}
	a.words[word] |= bit
	a.from = min(a.from, word)
	a.count++
}

// take gives the lowest rank and removes it; false when there is none.
func (a *agenda) take() (int, bool) {
	if a.count == 0 {
		return 0, false
	}
	for a.words[a.from] == 0 {
		a.from++
	}
	word := &a.words[a.from]
	bit := bits.TrailingZeros64(*word)
	*word &^= 1 << bit
	a.count--
	return a.from*64 + bit, true
}
