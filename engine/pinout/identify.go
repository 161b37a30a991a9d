package pinout

import (
	"fmt"
	"math"
	"slices"

	"coilside/rules"
)

// Identify says what the readings so far tell of a relay's terminals and which
// reading to take next. The error is a *quantity.FieldError that names the field, or
// a *rules.Error for tables and parameters that cannot be used.
//
// Identified is a relay of which one arrangement is left; proven one of which a
// single mistaken reading could not have feigned it either.
func Identify(book *rules.Book, u Unmarked) (Pinout, error) {
	r, err := u.check(book)
	if err != nil {
		return Pinout{}, err
	}
	out := Pinout{Terminals: []Pin{}, Suppression: "unknown", Taken: len(u.Readings), Doubted: []int{}, Cautions: []string{}}
	plan := r.planner()
	plan.mu.Lock()
	defer plan.mu.Unlock()
	wrong := plan.mistakes(r.reads)
	left := plan.upTo(wrong, 0)
	switch n := left.count(); {
	case n == 0:
		r.doubt(&out, plan, wrong)
	case n == 1:
		err = r.identified(&out, plan, wrong, left)
	default:
		step := plan.plan(left)
		out.State, out.Left, out.Expected = "measuring", n, step.expected
		out.Next = r.test(plan.probes[step.probe], plan, left)
		out.Text = out.Next.Say + "\n" + out.Next.Why
	}
	out.Mistakes = append(out.Mistakes, r.mistakes...)
	if out.Mistakes == nil {
		out.Mistakes = []string{}
	}
	if ohms := r.coilRead(); ohms > 0 {
		out.CoilOhms = &ohms
	}
	out.Assumed = r.assumed
	return out, err
}

// guesses are the arrangements in question.
func (r *relay) guesses() []guess {
	switch {
	case r.form != "unknown":
		return guesses(r.pins, r.form, r.suppression)
	case r.pins == 5:
		return append(guesses(5, changeover, r.suppression), guesses(5, twin, r.suppression)...)
	}
	return append(guesses(4, make1, r.suppression), guesses(4, break1, r.suppression)...)
}

// others are arrangements that were not in question and may be behind readings that
// fit nothing.
func (r *relay) others() []guess {
	if r.pins == 5 {
		return guesses(5, twin, r.suppression)
	}
	return append(guesses(4, make1, r.suppression), guesses(4, break1, r.suppression)...)
}

// mistakes counts, for each guess, the readings that would be mistaken if it were true.
func (p *planner) mistakes(reads []read) []int {
	out := make([]int, len(p.guesses))
	for n, g := range p.guesses {
		out[n] = g.against(reads)
	}
	return out
}

func (g guess) against(reads []read) int {
	n := 0
	for _, x := range reads {
		if g.shows(x.probe) != x.outcome {
			n += x.times
		}
	}
	return n
}

// upTo are the guesses that at most so many readings speak against.
func (p *planner) upTo(wrong []int, most int) set {
	var s set
	for n, w := range wrong {
		if w <= most {
			s.add(n)
		}
	}
	return s
}

// doubt answers readings that no arrangement gives: the one whose mistake would
// explain most is to be read again.
func (r *relay) doubt(out *Pinout, plan *planner, wrong []int) {
	blamed := make([]float64, len(r.reads))
	for n, g := range plan.guesses {
		if wrong[n] != 1 {
			continue
		}
		for i, x := range r.reads {
			if g.shows(x.probe) != x.outcome {
				blamed[i] += g.weight
			}
		}
	}
	worst := -1
	for i, b := range blamed {
		if b > 0 {
			out.Doubted = append(out.Doubted, r.reads[i].index)
			if worst < 0 || b > blamed[worst] {
				worst = i
			}
		}
	}
	if other := r.otherForm(); other != "" {
		out.Text = other + "\n"
	}
	if worst < 0 {
		out.State = "impossible"
		out.Text += "No sound relay of this kind reads so. Either two readings are wrong, or the coil is open, a contact does not close or is welded. Test it on the bench, or start over with clean blades."
		return
	}
	x := r.reads[worst]
	out.State, out.Expected = "doubtful", 1
	out.Mistakes = append(out.Mistakes, fmt.Sprintf("No relay gives these readings: one of them is mistaken, most likely %s (%s).", x.where(), x.words()))
	out.Next = r.again(x)
	out.Text += out.Mistakes[0] + "\n" + out.Next.Say
}

// otherForm says if another form of relay would explain all readings.
func (r *relay) otherForm() string {
	for _, g := range r.others() {
		if g.against(r.reads) > 0 {
			continue
		}
		switch {
		case r.pins == 5 && r.form == changeover:
			return "A relay with two joined terminals 87 and no 87a reads just so."
		case r.pins == 4 && g.rest >= 0 && r.form == make1:
			return "A relay that breaks (87a and no 87) reads just so."
		case r.pins == 4 && g.rest < 0 && r.form == break1:
			return "A relay that makes (87 and no 87a) reads just so."
		}
	}
	return ""
}

// identified names the terminals and goes on to prove them: the next reading is the
// one that most arrangements would fail which one mistaken reading could have hidden.
func (r *relay) identified(out *Pinout, plan *planner, wrong []int, left set) error {
	g := plan.guesses[0]
	for n := range plan.guesses {
		if left.has(n) {
			g = plan.guesses[n]
		}
	}
	out.State, out.Left = "identified", 1
	if err := r.name(out, g); err != nil {
		return err
	}
	rivals := r.rivals(plan, wrong)
	best, most := -1, 0.0
	for i, p := range plan.probes {
		if !g.safe(p) {
			continue
		}
		sum := 0.0
		for _, rival := range rivals {
			if rival.shows(p) != g.shows(p) {
				sum += rival.weight
			}
		}
		if slices.ContainsFunc(r.reads, func(x read) bool { return x.probe == p }) {
			sum /= 2 // who slips once slips there again
		}
		if sum > most+1e-9 {
			best, most = i, sum
		}
	}
	if best < 0 {
		out.State = "proven"
		out.Text = r.result(out, g)
		return nil
	}
	out.Next = r.test(plan.probes[best], plan, left)
	out.Next.Why = "It proves the terminals: were one of the readings a slip, this would show it."
	out.Text = r.result(out, g) + "\nTo prove it: " + out.Next.Say
	return nil
}

// rivals are the arrangements that one mistaken reading, or another form of relay,
// could have hidden.
func (r *relay) rivals(plan *planner, wrong []int) []guess {
	var out []guess
	for n, g := range plan.guesses {
		if wrong[n] == 1 {
			out = append(out, g)
		}
	}
	if r.Contact != "" || r.form != changeover {
		return out
	}
	for _, g := range r.others() {
		if g.against(r.reads) == 0 {
			out = append(out, g)
		}
	}
	return out
}

// across says what lies across the coil: a diode shows by its two directions, a
// resistor only where the coil's own ohms are known.
func (r *relay) across(g guess) string {
	ohms := r.coilRead()
	switch {
	case g.diode > 0:
		return "diode"
	case r.suppression != "unknown":
		return r.suppression
	case r.NominalOhms == nil || ohms == 0:
		return "none_or_resistor"
	}
	table, err := r.book.Table("suppression_resistors", "least", "most")
	if err != nil {
		return "none_or_resistor"
	}
	row, ok := table.Row(fmt.Sprint(r.volts))
	if !ok {
		return "none_or_resistor"
	}
	least, _ := row.Number("least")
	most, _ := row.Number("most")
	at20 := ohms * (234.5 + 20) / (234.5 + r.celsius) // copper; relay application notes
	nominal, spread := float64(*r.NominalOhms), r.tolerance/100
	alone := math.Abs(at20/nominal-1) <= spread
	low, high := nominal*(1-spread), nominal*(1+spread)
	beside := at20 >= low*least/(low+least) && at20 <= high*most/(high+most)
	switch {
	case alone && !beside:
		return "none"
	case beside && !alone:
		return "resistor"
	}
	return "none_or_resistor"
}
