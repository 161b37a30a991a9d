package netlist

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"coilside/rules"
)

// What the netlist's timetable is, in milliseconds. A circuit is first used as
// its owner uses it, which is when a fault blows fuses; then it is dead while the
// technician sets it up; then it is put under power, commanded, and read. The
// armature takes about a millisecond to move and a fuse a tenth of that.
var phases = [...]float64{0, 10, 20, 30, 40, 58}

const (
	used = iota // relay in, key on, plugged in, command off
	usedOn
	dead
	powered // as the setup says, command off
	commanded
	reading
	readAt = 70.0 // ms
)

// Limits change a netlist's devices to see whether they decide what happens.
type Limits struct {
	Fuse, Pull float64 // factors on the fuses' and the armature's limits
	Slack      bool    // the armature lets go below pull-in already
}

// AsDrawn are the limits as they are.
var AsDrawn = Limits{Fuse: 1, Pull: 1}

// Writer writes one circuit in one setup, with one meter on it, for ngspice.
// Nothing of the package under test takes part: fuses and armature are devices of
// the netlist, whose states come out of the simulation.
type Writer struct {
	N       *Numbers
	Setup   rules.Setup
	Measure rules.Measure
	Limits

	out      strings.Builder
	elements map[string][2]string // present ones, by their places
	fuses    []string
	states   []string
	models   int
}

// Present lists the elements that a wiring has, with their places.
func Present(n *Numbers) (map[string][2]string, error) {
	found := map[string][2]string{}
	chains := slices.Clone(n.Circuit.Chains)
	for _, s := range n.Circuit.Surroundings {
		if n.awake[s.ID] {
			chains = append(chains, s.Chains...)
		}
	}
	for _, c := range chains {
		if c.When != nil {
			is, err := c.When.Truth(n.env)
			if err != nil {
				return nil, err
			}
			if !is {
				continue
			}
		}
		for i := 1; i < len(c.Steps); i += 2 {
			found[n.fill(c.Steps[i])] = [2]string{n.fill(c.Steps[i-1]), n.fill(c.Steps[i+1])}
		}
	}
	return found, nil
}

// fill replaces {name} placeholders.
func (n *Numbers) fill(text string) string {
	for id, is := range n.names {
		text = strings.ReplaceAll(text, "{"+id+"}", is)
	}
	return text
}

// spiceName makes a place or an element fit for a netlist.
func spiceName(place string) string {
	if place == "battery.negative" {
		return "0"
	}
	place = strings.Replace(place, "back.", "socket.", 1) // the harness side of the joint
	return strings.ReplaceAll(place, ".", "_")
}

func (w *Writer) linef(format string, args ...any) {
	fmt.Fprintf(&w.out, format+"\n", args...)
}

// ohm prints a number.
func ohm(v float64) string { return fmt.Sprintf("%.12g", v) }

// wave is a source that has one level a phase.
func (w *Writer) wave(name string, levels [len(phases)]float64) {
	var points []string
	for i, v := range levels {
		if i > 0 && v == levels[i-1] {
			continue
		}
		if i > 0 {
			points = append(points, fmt.Sprintf("%gm %s", phases[i], ohm(levels[i-1])))
			points = append(points, fmt.Sprintf("%.3fm %s", phases[i]+0.001, ohm(v)))
			continue
		}
		points = append(points, "0 "+ohm(v))
	}
	if len(points) == 1 {
		w.linef("V%s %s 0 %s", name, name, ohm(levels[0]))
		return
	}
	// The static value is that of the reading.
	w.linef("V%s %s 0 DC %s PWL(%s)", name, name, ohm(levels[reading]), strings.Join(points, " "))
}

// gate is a resistance that is there while a control is above half a volt.
func (w *Writer) gate(from, to, control, against string, ohms float64) {
	w.models++
	w.linef("S%d %s %s %s %s g%d", w.models, from, to, control, against, w.models)
	w.linef(".model g%d sw(ron=%s roff=1e15 vt=0.5 vh=0.1)", w.models, ohm(ohms))
}

// memory is a state: a charge while time runs, and for the reading, which is a
// static solution, the voltage that it had come to.
func (w *Writer) memory(node string) {
	w.states = append(w.states, node)
	w.linef("C%s %s 0 1u", node, node)
	w.linef("Vfix_%s fix_%s 0 0\nSf_%s %s fix_%s static 0 static", node, node, node, node, node)
}

func (w *Writer) resistor(from, to string, ohms float64) {
	w.models++
	w.linef("R%d %s %s %s", w.models, from, to, ohm(ohms))
}

// Write gives the whole netlist.
func (w *Writer) Write(title string) (string, error) {
	var err error
	if w.elements, err = Present(w.N); err != nil {
		return "", err
	}
	w.linef("* %s", title)
	w.controls()
	for _, e := range w.N.Circuit.Parts {
		if ends, ok := w.elements[e.ID]; ok {
			w.element(e, ends)
		}
	}
	w.armature()
	w.faultsAndBench()
	w.meter()
	for i, p := range w.allPlaces() {
		if p != "battery.negative" {
			w.linef("Rl%d %s 0 1e12", i, spiceName(p)) // the leak of its insulation
		}
	}
	w.analysis()
	return w.out.String(), nil
}

func (w *Writer) allPlaces() []string {
	var all []string
	for _, ends := range w.elements {
		all = append(all, ends[0], ends[1])
	}
	slices.Sort(all)
	return slices.Compact(all)
}

func level(on bool) float64 {
	if on {
		return 1
	}
	return 0
}

func (w *Writer) ohms() bool { return w.Measure.Mode == rules.Ohms }

// unplugged tells whether a part is unplugged, by the setup or because the leads
// are on its own terminals.
func (w *Writer) unplugged(part string) bool {
	return slices.Contains(w.Setup.Unplugged, part) ||
		strings.HasPrefix(w.Measure.Red, part+"_part.") || strings.HasPrefix(w.Measure.Black, part+"_part.")
}

// controls writes what people do: key, command, relay, plugs, power.
func (w *Writer) controls() {
	live := level(!w.ohms())
	key, command := level(w.Setup.Key == "on"), level((w.Setup.Command == "on") != w.N.runsAtRest())
	in := level(w.Setup.Relay == "in")
	w.linef("Vstatic static 0 DC 1 PWL(0 0)\n.model static sw(ron=1 roff=1e15 vt=0.5 vh=0.1)")
	w.wave("one", [6]float64{1, 1, 1, 1, 1, 1})
	w.wave("key", [6]float64{1, 1, key, key, key, key})
	w.wave("cmd", [6]float64{0, 1, 0, 0, command, command})
	if on := level(w.Setup.Neighbours == "on"); len(w.N.awake) > 0 {
		w.wave("beside", [6]float64{0, 0, on, on, on, on})
	}
	w.wave("rel", [6]float64{1, 1, in, in, in, in})
	w.wave("run", [6]float64{1, 1, 1, 1, 1, live}) // fuses and armature may move
	w.wave("mtr", [6]float64{0, 0, 0, 0, 0, 1})
	if w.ohms() {
		w.wave("cold", [6]float64{0, 0, 0, 0, 0, 1}) // the meter's current warms no load
	}
	for _, part := range []string{"load", "control"} {
		in := level(!w.unplugged(part))
		w.wave("plug_"+part, [6]float64{1, 1, in, in, in, in})
	}
}

// element writes one element between its places.
func (w *Writer) element(e *rules.Element, ends [2]string) {
	a, b := spiceName(ends[0]), spiceName(ends[1])
	if e.Kind == "fuse" || e.Kind == "coil" || e.Kind == "load" || e.ID == w.ammeterAt() {
		w.linef("Vs_%s %s s_%s 0", e.ID, a, e.ID)
		a = "s_" + e.ID
	}
	if w.N.Open[e.ID] {
		return
	}
	values := w.N.faulty[e.ID]
	ohms := values["ohms"] + w.N.added[e.ID]
	switch e.Kind {
	case "source":
		volts := values["volts"]
		if w.Setup.Engine == "running" {
			volts = max(volts, w.N.faulty["alternator"]["volts"])
		}
		w.wave("emf", [6]float64{values["volts"], values["volts"], 0, volts, volts, level(!w.ohms()) * volts})
		w.linef("Ee e_%s %s emf 0 1", e.ID, a)
		w.resistor("e_"+e.ID, b, ohms)
	case "fuse":
		w.fuses = append(w.fuses, e.ID)
		limit := 1.35 * values["amps"] * w.Fuse
		w.memory("q_" + e.ID)
		w.linef("Bf_%s 0 q_%s I=V(run)*u(I(Vs_%s)^2-%s)*u(1-V(q_%s))*1e-2", e.ID, e.ID, e.ID, ohm(limit*limit), e.ID)
		w.gate(a, b, "one", "q_"+e.ID, ohms)
	case "key":
		w.gate(a, b, "key", "0", ohms)
	case "neighbour":
		w.gate(a, b, "beside", "0", ohms)
	case "terminal":
		w.gate(a, b, "rel", "0", ohms)
	case "plug":
		part, _, _ := strings.Cut(ends[0]+" "+ends[1], "_part.")
		w.gate(a, b, "plug_"+part[strings.LastIndex(part, " ")+1:], "0", ohms)
	case "control":
		w.moving(e, a, b, "cmd", "0", ohms)
	case "make", "rest":
		kind := e.Kind
		if as := w.N.instead[e.ID]; as != "" {
			kind = as
		}
		if kind == "make" {
			w.moving(e, a, b, "x", "0", ohms)
		} else {
			w.moving(e, a, b, "one", "x", ohms)
		}
	case "coil":
		// Copper: proportional to 234.5 + T, and the stated ohms are those at 20 °C.
		w.resistor(a, b, values["ohms"]*(234.5+w.celsius(values["celsius"]))/254.5+w.N.added[e.ID])
	case "suppressor":
		w.suppressor(e, a, b, ohms)
	case "load":
		if !w.ohms() {
			w.resistor(a, b, ohms)
			return
		}
		w.gate(a, b, "one", "cold", ohms)
		w.gate(a, b, "cold", "0", values["ohms"]*values["cold_part"]+w.N.added[e.ID])
	default:
		w.resistor(a, b, ohms)
	}
}

// moving writes a contact that a fault may hold.
func (w *Writer) moving(e *rules.Element, a, b, control, against string, ohms float64) {
	switch w.N.hold[e.ID] {
	case "closed":
		w.resistor(a, b, ohms)
	case "open":
	case "inverted":
		w.linef("Bnot not_%s 0 V=V(key)*(1-V(cmd))", e.ID)
		w.gate(a, b, "not_"+e.ID, "0", ohms)
	default:
		w.gate(a, b, control, against, ohms)
	}
}

// celsius of the coil: at least 95 once it is soaked in heat.
func (w *Writer) celsius(found float64) float64 {
	if w.Setup.Heat != "" {
		return max(found, hotCelsius)
	}
	return found
}

// diode writes one that may conduct: nothing below 0.75 V, then 0.05 ohms.
func (w *Writer) diode(from, to string) {
	w.linef("Sd %s on_d %s %s dd\n.model dd sw(ron=0.05 roff=1e15 vt=0.75 vh=0)\nVd on_d %s 0.75", from, from, to, to)
}

func (w *Writer) suppressor(e *rules.Element, a, b string, ohms float64) {
	switch {
	case w.N.hold[e.ID] == "closed":
		w.resistor(a, b, 0.1)
	case w.N.names["suppression"] != "diode":
		w.resistor(a, b, ohms)
	case w.N.hold[e.ID] == "reversed" && !w.ohms():
		w.diode(a, b)
	case (len(w.N.awake) > 0 || len(w.N.joins) > 0) && !w.ohms():
		w.diode(b, a)
	case !w.ohms(): // an ohmmeter's low test volts never open a diode
		w.linef("Dd %s %s dd\n.model dd d(is=1e-14)", b, a)
	}
}

// armature writes the moving part: a position x from 0 to 1 that lags behind what
// the coil's current asks for. Between pull-in and drop-out it stays.
func (w *Writer) armature() {
	coil := w.N.First("coil")
	_, here := w.elements[coil]
	switch hold := w.N.hold[w.N.First("armature")]; {
	case hold == "over":
		w.linef("Vx x 0 1")
		return
	case hold == "rest" || !here:
		w.linef("Vx x 0 0")
		return
	}
	// The current is what pulls: the stated volts across the sound coil at 20 °C.
	sound := w.N.Sound[coil]["ohms"]
	pull, drop := w.Pull*w.N.faulty[coil]["pull_in"]/sound, w.Pull*w.N.faulty[coil]["drop_out"]/sound
	if w.Slack {
		drop = pull
	}
	// Squares of amperes: their slope has no corner at 0. Half way over, the
	// smaller air gap takes less to hold than the wider one took to close.
	w.memory("x")
	w.linef("Bx 0 x I=V(run)*1e-3*(u(I(Vs_%s)^2-(V(x)>0.5 ? %s : %s))-V(x))", coil, ohm(drop*drop), ohm(pull*pull))
}

// faultsAndBench writes shorts, the bench supply and the jumper.
func (w *Writer) faultsAndBench() {
	for _, s := range w.N.shorts {
		ends, ok := w.elements[s.element]
		if !ok {
			continue
		}
		to := "0"
		if s.to == "supply" {
			to = spiceName(w.elements[w.N.First("source")][1])
		}
		w.resistor(spiceName(ends[1]), to, s.ohms)
	}
	there := Under(w.Setup, w.Measure)
	for i, j := range w.N.joins {
		now := level(there(j.only))
		ordinary := level(j.only == "" || j.only == "tap_on" && there(j.only)) // fuses are renewed once added wiring is off
		w.wave(fmt.Sprintf("join%d", i), [6]float64{ordinary, ordinary, now, now, now, now})
		w.gate(spiceName(j.places[0]), spiceName(j.places[1]), fmt.Sprintf("join%d", i), "0", j.ohms)
	}
	if ends, ok := w.elements[w.N.First("coil")]; ok && w.Setup.Relay == "bench" && w.Setup.Coil == "energised" {
		volts := w.N.env["system_volts"].(float64)
		w.wave("bench", [6]float64{0, 0, 0, volts, volts, volts * level(!w.ohms())})
		w.wave("clips", [6]float64{0, 0, 0, 1, 1, 1})
		w.linef("Eb clip %s bench 0 1", spiceName(ends[1]))
		w.gate("clip", spiceName(ends[0]), "clips", "0", 0.05)
	}
	if w.Measure.Mode == rules.Bridge {
		rating := math.Inf(1)
		if f := w.N.First("fuse"); f != "" {
			rating = w.N.Sound[f]["amps"]
		}
		w.wave("clips", [6]float64{0, 0, 0, 1, 1, 1})
		w.linef("Vs_jumper %s s_jumper 0", spiceName(w.N.fill(w.Measure.From)))
		w.memory("q_jumper")
		w.linef("Bf_jumper 0 q_jumper I=u(I(Vs_jumper)^2-%s)*u(1-V(q_jumper))*1e-2", ohm(math.Pow(1.35*rating*w.Fuse, 2)))
		w.linef("Bj ctl_jumper 0 V=V(clips)*u(0.5-V(q_jumper))")
		w.gate("s_jumper", spiceName(w.N.fill(w.Measure.To)), "ctl_jumper", "0", 0.02)
		w.fuses = append(w.fuses, "jumper")
	}
}
