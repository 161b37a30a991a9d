package engine

import (
	"cmp"
	"slices"

	"coilside/rules"
)

// draft is a Program in the making: what hangs on each fact, as the rules bring it.
type draft struct {
	*Program
	numbers hung[numberTest]
	words   hung[wordTest]
	readers hung[int32]
	feeds   hung[feed]
	slots   hung[slot]
	sets    hung[int32] // on each rule: facts
}

// hung gathers what hangs on facts or rules until all of it is there.
type hung[T any] struct {
	on    []int32 // by item
	items []T
}

func (h *hung[T]) expect(count int) { h.on, h.items = make([]int32, 0, count), make([]T, 0, count) }

func (h *hung[T]) hang(on int, item T) {
	h.on, h.items = append(h.on, int32(on)), append(h.items, item)
}

// lay puts together what hangs on each of so many, in the order in which it came.
func (h *hung[T]) lay(many int) (table []T, at []span) {
	at = make([]span, many)
	for _, on := range h.on {
		at[on].to++
	}
	from := int32(0)
	for on := range at {
		count := at[on].to
		at[on] = span{from, from}
		from += count
	}
	table = make([]T, len(h.items))
	for i, item := range h.items {
		s := &at[h.on[i]]
		table[s.to] = item
		s.to++
	}
	return table, at
}

// Compile lays out a book. It can't fail: a loaded book is sound.
func Compile(book *rules.Book) *Program {
	d := &draft{Program: &Program{book: book, facts: make([]factTable, len(book.Facts)), gates: make([]gate, len(book.Rules))}}
	d.numbers.expect(2 * len(book.Rules)) // as most rules compare two facts
	d.slots.expect(len(book.Rules))       // and set one
	for i, r := range book.Rules {
		d.gates[i] = gate{parent: -1, decides: rules.False}
		if r.Late {
			d.late = append(d.late, int32(i))
			continue
		}
		d.addCondition(int32(i), r.When.Form())
		d.addSlots(int32(i), r)
	}
	d.layOut()
	d.rank()
	d.layFeeds()
	d.layMarks()
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
			d.words.hang(c.Fact, wordTest{c.Text, g, c.Op})
		} else {
			d.numbers.hang(c.Fact, numberTest{c.Number, g, c.Op})
		}
	case rules.IsWhole:
		for _, fact := range f.Reads {
			d.readers.hang(fact, int32(len(d.wholes)))
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
		d.slots.hang(fact, s)
		d.sets.hang(int(rule), int32(fact))
	}
}

// fitting drops a derived number outside its fact's range: it says nothing.
func fitting(f *rules.Fact, say rules.Cell) rules.Cell {
	if say.Known && f.CheckValue(say.Value(f.Kind)) != nil {
		return rules.Cell{}
	}
	return say
}

// layOut moves what hangs on facts into the tables of the program.
func (d *draft) layOut() {
	p, many := d.Program, len(d.facts)
	var numbers, words, readers, setters []span
	p.numbers, numbers = d.numbers.lay(many)
	p.words, words = d.words.lay(many)
	p.readers, readers = d.readers.lay(many)
	p.slots, setters = d.slots.lay(many)
	for i, f := range d.book.Facts {
		p.facts[i] = factTable{
			place: int32(f.Place()), worded: f.Worded(),
			numbers: numbers[i], words: words[i], readers: readers[i], setters: setters[i],
		}
		slices.SortStableFunc(p.numbers[numbers[i].from:numbers[i].to], func(a, b numberTest) int { return cmp.Compare(a.constant, b.constant) })
	}
}

// rank orders the facts that rules set by the level after which no rule sets them any more. A
// rule stands above all rules that set what it reads, so a fact comes after all that it depends on.
func (d *draft) rank() {
	settled := make([]int, len(d.facts))
	for fact := range d.facts {
		setters := d.setters(fact)
		if len(setters) > 0 {
			d.order = append(d.order, d.derived(fact, setters))
		}
		for _, s := range setters {
			settled[fact] = max(settled[fact], d.book.Rules[s.rule].Level())
		}
	}
	slices.SortStableFunc(d.order, func(a, b derived) int { return cmp.Compare(settled[a.fact], settled[b.fact]) })
	for rank, of := range d.order {
		of.on.rank = int32(rank)
	}
}

func (d *draft) setters(fact int) []slot {
	of := d.facts[fact].setters
	return d.Program.slots[of.from:of.to]
}

func (d *draft) derived(fact int, setters []slot) derived {
	out := derived{on: &d.facts[fact], fact: int32(fact), sole: -1}
	if len(setters) == 1 && setters[0].says.Known && !out.on.worded {
		out.sole, out.says = setters[0].rule, setters[0].says.Number
	}
	return out
}

func (d *draft) layFeeds() {
	for fact := range d.facts {
		for _, s := range d.setters(fact) {
			for _, read := range s.to.Reads() {
				d.feeds.hang(read, feed{s.rule, d.facts[fact].rank})
			}
		}
	}
	feeds, at := d.feeds.lay(len(d.facts))
	d.Program.feeds = feeds
	for i := range d.facts {
		on := &d.facts[i]
		on.feeds = at[i]
		on.evaluated = !on.readers.empty() || !on.feeds.empty()
	}
}

// layMarks tells each rule the ranks of the facts that it sets.
func (d *draft) layMarks() {
	marks, at := d.sets.lay(len(d.book.Rules))
	for i, fact := range marks {
		marks[i] = d.facts[fact].rank
	}
	d.Program.marks = marks
	for rule := range at {
		d.gates[rule].marks = at[rule]
	}
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
