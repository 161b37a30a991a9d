package engine

import (
	"cmp"
	"slices"

	"coilside/rules"
)

// draft is a Program in the making: what hangs on each fact, in lists.
type draft struct {
	*Program
	numbers [][]numberTest // by fact
	words   [][]wordTest
	readers [][]int32
	feeds   [][]feed
	slots   [][]slot
	sets    [][]int32 // by rule: facts
}

// Compile lays out a book. It can't fail: a loaded book is sound.
func Compile(book *rules.Book) *Program {
	n := len(book.Facts)
	d := &draft{
		Program: &Program{book: book, facts: make([]factTable, n), gates: make([]gate, len(book.Rules))},
		numbers: make([][]numberTest, n), words: make([][]wordTest, n), readers: make([][]int32, n),
		feeds: make([][]feed, n), slots: make([][]slot, n), sets: make([][]int32, len(book.Rules)),
	}
	for i, r := range book.Rules {
		d.gates[i] = gate{parent: -1, decides: rules.False}
		if r.Late {
			d.late = append(d.late, int32(i))
			continue
		}
		d.addCondition(int32(i), r.When.Form())
		d.addSlots(int32(i), r)
	}
	d.rank()
	d.addFeeds()
	d.flatten()
	d.linkPrecedence()
	d.empty = d.fromNothing()
	return d.Program
}

// addCondition makes the form of a rule's condition the members of its gate.
func (d *draft) addCondition(rule int32, f *rules.Form) {
	switch f.Join {
	case rules.IsComparison, rules.IsWhole:
		d.addMember(rule, f)
	default:
		d.fill(rule, f)
	}
}

// fill makes the parts of a join the members of a gate.
func (d *draft) fill(g int32, f *rules.Form) {
	if f.Join == rules.Any {
		d.gates[g].decides = rules.True
	}
	for i := range f.Parts {
		d.addMember(g, &f.Parts[i])
	}
}

func (d *draft) addMember(g int32, f *rules.Form) {
	switch f.Join {
	case rules.IsComparison:
		c := f.Comparison
		if d.book.Facts[c.Fact].Worded() {
			d.words[c.Fact] = append(d.words[c.Fact], wordTest{c.Text, g, c.Op})
		} else {
			d.numbers[c.Fact] = append(d.numbers[c.Fact], numberTest{c.Number, g, c.Op})
		}
	case rules.IsWhole:
		for _, fact := range f.Reads {
			d.readers[fact] = append(d.readers[fact], int32(len(d.wholes)))
		}
		d.wholes = append(d.wholes, whole{f.Whole, g})
	default:
		inner := int32(len(d.gates))
		d.gates = append(d.gates, gate{parent: g, decides: rules.False})
		d.fill(inner, f)
	}
}

func (d *draft) addSlots(rule int32, r *rules.Rule) {
	for _, a := range r.Then {
		if a.Do != rules.Set {
			continue
		}
		fact, _ := d.book.FactIndex(a.Fact)
		s := slot{rule: rule, to: a.To, constant: a.To.Constant()}
		if s.constant {
			s.says = fitting(d.book.Facts[fact], a.To.Cell(&rules.Frame{}))
		}
		d.slots[fact] = append(d.slots[fact], s)
		d.sets[rule] = append(d.sets[rule], int32(fact))
	}
}

// fitting drops a derived number outside its fact's range: it says nothing.
func fitting(f *rules.Fact, say rules.Cell) rules.Cell {
	if say.Known && f.CheckValue(say.Value(f.Kind)) != nil {
		return rules.Cell{}
	}
	return say
}

// rank orders the facts that rules set by the level after which no rule sets them any more. A
// rule stands above all rules that set what it reads, so a fact comes after all that it depends on.
func (d *draft) rank() {
	settled := make([]int, len(d.facts))
	for fact, slots := range d.slots {
		if len(slots) > 0 {
			d.order = append(d.order, derived{fact: int32(fact)})
		}
		for _, s := range slots {
			settled[fact] = max(settled[fact], d.book.Rules[s.rule].Level())
		}
	}
	slices.SortStableFunc(d.order, func(a, b derived) int { return cmp.Compare(settled[a.fact], settled[b.fact]) })
	for rank, of := range d.order {
		d.facts[of.fact].rank = int32(rank)
	}
}

func (d *draft) addFeeds() {
	for fact, slots := range d.slots {
		for _, s := range slots {
			for _, read := range s.to.Reads() {
				d.feeds[read] = append(d.feeds[read], feed{s.rule, d.facts[fact].rank})
			}
		}
	}
}

// flatten moves the lists into the tables of the program.
func (d *draft) flatten() {
	p := d.Program
	for i, f := range d.book.Facts {
		slices.SortStableFunc(d.numbers[i], func(a, b numberTest) int { return cmp.Compare(a.constant, b.constant) })
		p.facts[i] = factTable{
			place:   int32(f.Place()),
			rank:    d.facts[i].rank,
			numbers: put(&p.numbers, d.numbers[i]),
			words:   put(&p.words, d.words[i]),
			readers: put(&p.readers, d.readers[i]),
			feeds:   put(&p.feeds, d.feeds[i]),
			setters: put(&p.slots, d.slots[i]),

			worded:    f.Worded(),
			evaluated: len(d.readers[i])+len(d.feeds[i]) > 0,
		}
	}
	for rank := range p.order {
		d.linkDerived(&p.order[rank])
	}
	for rule, facts := range d.sets {
		ranks := make([]int32, len(facts))
		for i, fact := range facts {
			ranks[i] = d.facts[fact].rank
		}
		p.gates[rule].marks = put(&p.marks, ranks)
	}
}

func (d *draft) linkDerived(to *derived) {
	to.on, to.sole = &d.Program.facts[to.fact], -1
	if by := d.slots[to.fact]; len(by) == 1 && by[0].says.Known && !to.on.worded {
		to.sole, to.says = by[0].rule, by[0].says.Number
	}
}

func put[T any](table *[]T, list []T) span {
	from := len(*table)
	*table = append(*table, list...)
	return span{int32(from), int32(len(*table))}
}

// linkPrecedence turns "rule over rule" into "slot under slot".
func (d *draft) linkPrecedence() {
	p := d.Program
	for _, f := range p.facts {
		for over := f.setters.from; over < f.setters.to; over++ {
			beaten := d.book.Rules[p.slots[over].rule].GoesOver()
			for id := f.setters.from; id < f.setters.to && len(beaten) > 0; id++ {
				if slices.Contains(beaten, int(p.slots[id].rule)) {
					p.slots[id].under = append(p.slots[id].under, over)
				}
			}
		}
	}
}
