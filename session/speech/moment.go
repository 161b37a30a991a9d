package speech

import (
	"fmt"
	"math"
)

// Moment is what may be said now.
type Moment struct {
	Kind      string   // of the answer awaited: volts, ohms, amps, min_max, choice; "" = none
	Most      float64  // highest volts worth hearing
	Answers   []string // phrases that answer
	Terminals []string // marks of the terminals that volts may be told of unasked; nil = none
	Commands  []string // phrases that want something of the assistant
	ReadBack  bool     // numbers were just read back: a number corrects them
}

// Names of the rules of every grammar.
const (
	ruleRoot    = "said"
	ruleVolts   = "volts"
	ruleCommand = "command"
	ruleAnswer  = "answer"
)

// New makes the grammar of a moment. It is an error if nothing may be said.
func New(m Moment) (*Grammar, error) {
	g := &Grammar{Root: ruleRoot}
	var heard []Expansion
	if e, ok := g.reading(m); ok {
		heard = append(heard, e)
	}
	if e, ok := phrases(m.Answers); ok {
		heard = append(heard, g.add(ruleAnswer, e))
	}
	if len(m.Terminals) > 0 {
		heard = append(heard, g.unasked(m))
	}
	if e, ok := phrases(m.Commands); ok {
		heard = append(heard, g.add(ruleCommand, e))
	}
	if len(heard) == 0 {
		return nil, fmt.Errorf("nothing may be said")
	}
	g.add(ruleRoot, any(heard...))
	return g, nil
}

// reading is the number awaited, with a "no" before it where it corrects one.
func (g *Grammar) reading(m Moment) (Expansion, bool) {
	var number Expansion
	switch m.Kind {
	case "volts":
		number = g.add("reading", any(all(optional(word("minus")), g.volts(m.Most)), g.millivolts()))
	case "ohms":
		number = g.add("reading", any(all(g.ohms(), optional(word("ohms"))), all(g.kilohms(), word("k"))))
	case "amps":
		g.decimals()
		g.below(99)
		number = g.add("reading", all(ref("below_99"), optional(ref("point")), optional(word("amperes"))))
	case "min_max":
		half := g.halves(m.Most)
		number = g.add("reading", any(all(half, word("to"), half), all(word("steady"), half)))
	default:
		return Expansion{}, false
	}
	if m.ReadBack {
		return g.add("correction", all(optional(word("no")), number)), true
	}
	return number, true
}

// digit is zero to nine, or one to nine.
func (g *Grammar) digit(from int) Expansion {
	name := map[int]string{0: "digit", 1: "one_to_nine"}[from]
	if _, ok := g.rule(name); ok {
		return ref(name)
	}
	var of []Expansion
	for _, w := range small[from:10] {
		of = append(of, word(w))
	}
	return g.add(name, any(of...))
}

// decimals are "point" and one or two digits.
func (g *Grammar) decimals() Expansion {
	if _, ok := g.rule("point"); ok {
		return ref("point")
	}
	d := g.digit(0)
	return g.add("point", all(word("point"), d, optional(d)))
}

// below is the whole numbers from zero to most, at most 99.
func (g *Grammar) below(most int) Expansion {
	name := fmt.Sprintf("below_%d", most)
	if _, ok := g.rule(name); ok {
		return ref(name)
	}
	var of []Expansion
	for n := 0; n <= min(most, 19); n++ {
		of = append(of, word(small[n]))
	}
	for ten := 2; ten*10 <= most; ten++ {
		rest := min(9, most-ten*10)
		if rest == 9 {
			of = append(of, all(word(tens[ten]), optional(g.digit(1))))
			continue
		}
		of = append(of, word(tens[ten]))
		for d := 1; d <= rest; d++ {
			of = append(of, all(word(tens[ten]), word(small[d])))
		}
	}
	return g.add(name, any(of...))
}

func (g *Grammar) volts(most float64) Expansion {
	point := g.decimals()
	whole := g.below(wholeVolts(most))
	return g.add(ruleVolts, all(any(all(whole, optional(point)), point), optional(word("volts"))))
}

func wholeVolts(most float64) int { return int(min(99, max(1, math.Ceil(most)))) }

// millivolts are said in two words, which is how a recogniser knows them.
func (g *Grammar) millivolts() Expansion {
	whole := g.below(99)
	hundreds := all(g.digit(1), word("hundred"), optional(all(optional(word("and")), whole)))
	return g.add("millivolts", all(any(whole, hundreds), word("milli"), word("volts")))
}

func (g *Grammar) ohms() Expansion {
	point := g.decimals()
	whole := g.below(99)
	hundreds := all(g.digit(1), word("hundred"), optional(all(optional(word("and")), whole)))
	return g.add("ohms", any(all(whole, optional(point)), point, hundreds))
}

func (g *Grammar) kilohms() Expansion {
	return g.add("kilohms", all(g.below(99), optional(all(word("point"), g.digit(0)))))
}

// halves are volts to the half volt: lowest and highest of a reading that moves are no
// finer, and all pairs of finer ones could not be listed.
func (g *Grammar) halves(most float64) Expansion {
	return g.add("half_volts", all(g.below(wholeVolts(most)), optional(all(word("point"), word("five")))))
}

// unasked is volts at a terminal that was not asked for, to one decimal.
func (g *Grammar) unasked(m Moment) Expansion {
	name, ok := phrases(m.Terminals)
	if !ok {
		return word("status")
	}
	number := all(g.below(wholeVolts(m.Most)), optional(all(word("point"), g.digit(0))))
	return g.add("unasked", all(g.add("terminal", name), word("has"), number, optional(word("volts"))))
}
