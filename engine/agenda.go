package engine

import "math/bits"

// agenda holds the facts to look at again, by rank, each at most once. Looking at a fact adds
// higher ranks only, so what is taken rises.
type agenda struct {
	next  int32    // the lowest rank, or nothing; most often it is the only one
	words []uint64 // a bit for each of the others
	from  int      // no bit is set in the words before this one
	count int      // of bits
}

const nothing = -1

func newAgenda(ranks int) agenda {
	return agenda{next: nothing, words: make([]uint64, (ranks+63)/64)}
}

func (a *agenda) add(rank int32) {
	switch {
	case a.next == nothing:
		a.next = rank
	case rank > a.next:
		a.set(rank)
	case rank < a.next:
		a.set(a.next)
		a.next = rank
	}
}

func (a *agenda) set(rank int32) {
	word, bit := int(rank)/64, uint64(1)<<(rank%64)
	if a.words[word]&bit == 0 {
		a.words[word] |= bit
		a.from = min(a.from, word)
		a.count++
	}
}

// take gives the lowest rank and removes it, or gives nothing.
func (a *agenda) take() int32 {
	rank := a.next
	a.next = nothing
	if a.count > 0 {
		a.next = a.lowest()
	}
	return rank
}

// lowest takes the lowest of the bits.
func (a *agenda) lowest() int32 {
	for a.words[a.from] == 0 {
		a.from++
	}
	word := &a.words[a.from]
	bit := bits.TrailingZeros64(*word)
	*word &^= 1 << bit
	a.count--
	return int32(a.from*64 + bit)
}
