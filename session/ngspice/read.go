package ngspice

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os/exec"
	"slices"
	"strings"

	"coilside/engine/circuit/netlist"
	"coilside/engine/rank"
	"coilside/rules"
)

// Missing says what is missing where ngspice is not installed, nil where it is.
func Missing() error {
	if _, err := exec.LookPath("ngspice"); err != nil {
		return errors.New("ngspice is not installed; on Debian: apt install ngspice")
	}
	return nil
}

// solve runs one netlist. Reseat and swap are watched with the relay in.
func (v *Vehicle) solve(n *netlist.Numbers, m rules.Measure, s rules.Setup) (netlist.Solved, error) {
	switch m.Mode {
	case rules.Reseat, rules.Swap, rules.Listen:
		m, s.Relay = rules.Measure{Mode: rules.Watch}, "in"
	case rules.MinMax:
		m.Mode = rules.VoltsDC
	case rules.Look:
		m = rules.Measure{Mode: rules.Watch}
	}
	w := &netlist.Writer{N: n, Setup: s, Measure: m, Limits: netlist.AsDrawn}
	text, err := w.Write(fmt.Sprint(m, s))
	if err != nil {
		return netlist.Solved{}, err
	}
	v.Runs++
	run := exec.Command("ngspice", "-b", "/dev/stdin")
	run.Stdin = strings.NewReader(text)
	var out bytes.Buffer
	run.Stdout, run.Stderr = &out, &out
	failed := run.Run()
	r, err := netlist.Parse(out.String())
	if errors.Is(err, netlist.ErrGaveUp) {
		v.GaveUp++
	}
	if err != nil {
		return r, fmt.Errorf("%w (%v): %s", err, failed, fmt.Sprint(m, s))
	}
	return r, nil
}

// say turns what ngspice found into what the technician reads or sees.
func (v *Vehicle) say(m rules.Measure, n *netlist.Numbers, r netlist.Solved) rank.Answer {
	switch m.Mode {
	case rules.Bridge, rules.Watch, rules.Reseat, rules.Swap:
		watched := m
		watched.Mode = rules.Watch
		return rank.Answer{Choice: v.runs(m.Mode, n, watched, r)}
	}
	if r.Armature == "buzz" {
		return rank.Answer{Unsure: true} // the digits jump
	}
	value, note := netlist.Reading(n, m, r)
	switch {
	case note == "OL":
		return rank.Answer{Over: true}
	case m.Mode == rules.TestLamp:
		return rank.Answer{Choice: lamp(value)}
	}
	shown := v.shown(m, value)
	return rank.Answer{Number: &shown}
}

// runs names how the load runs; edges are where eyes put them, give or take.
func (v *Vehicle) runs(mode rules.Mode, n *netlist.Numbers, m rules.Measure, r netlist.Solved) string {
	value, note := netlist.Reading(n, m, r)
	switch {
	case note == "trips":
		return "trips"
	case note == "comes and goes":
		if slices.Contains(rank.Choices(mode), "comes_and_goes") {
			return "comes_and_goes"
		}
		return "weak"
	}
	switch value += 0.02 * (2*v.rng.Float64() - 1); {
	case value > 0.82:
		return "runs"
	case value < 0.3:
		return "off"
	}
	return "weak"
}

func lamp(part float64) string {
	switch {
	case part > 0.78:
		return "bright"
	case part < 0.25:
		return "dark"
	}
	return "dim"
}

// shown is what the display of a 3½-digit meter says, the display of a clamp, or for
// ohms the value with the leads' own.
func (v *Vehicle) shown(m rules.Measure, value float64) float64 {
	digit := 0.01
	switch m.Mode {
	case rules.Ohms:
		value += v.leads
		for digit = 0.1; value > 2000*digit; {
			digit *= 10
		}
	case rules.AmpsDC:
		value *= 1 + 0.02*(2*v.rng.Float64()-1)
		if m.How != "series" {
			digit = 0.1
		}
	default:
		if math.Abs(value) > 20 {
			digit = 0.1
		}
	}
	value = v.gain*value + digit*(v.rng.Float64()-0.5)
	return math.Round(value/digit) * digit
}

// look is how a fuse looks: one that blew or is open shows it nearly always.
func (v *Vehicle) look(m rules.Measure, s rules.Setup) (rank.Answer, error) {
	n, err := v.there(true)
	if err != nil {
		return rank.Answer{}, err
	}
	r, err := v.solve(n, m, s)
	if err != nil {
		return rank.Answer{}, err
	}
	choice := "sound"
	if (n.Open[m.At] || slices.Contains(r.Blown, m.At)) == (v.rng.Float64() < 0.95) {
		choice = "blown"
	}
	return rank.Answer{Choice: choice}, nil
}

// listen is what is heard as the command comes on.
func (v *Vehicle) listen(s rules.Setup) (rank.Answer, error) {
	n, err := v.now(rules.Listen)
	if err != nil {
		return rank.Answer{}, err
	}
	var at [2]string
	for i, command := range []string{"off", "on"} {
		s.Command = command
		r, err := v.solve(n, rules.Measure{Mode: rules.Listen}, s)
		if err != nil {
			return rank.Answer{}, err
		}
		at[i] = r.Armature
	}
	switch {
	case at[1] == "buzz":
		return rank.Answer{Choice: "buzz"}, nil
	case at[0] != at[1]:
		return rank.Answer{Choice: "click"}, nil
	}
	return rank.Answer{Choice: "silent"}, nil
}

// span is the lowest and highest volts while something is provoked: a joint that
// comes and goes shows both of its ways nearly always, and a command both of its.
func (v *Vehicle) span(m rules.Measure, s rules.Setup) (rank.Answer, error) {
	n, err := v.there(true)
	if err != nil {
		return rank.Answer{}, err
	}
	ways := []bool{true}
	if n.Chance < 1 {
		ways = []bool{true, false}
		if v.rng.Float64() > 0.85 {
			ways = []bool{v.rng.Float64() < n.Chance}
		}
	}
	commands := []string{s.Command}
	if m.During == "command" && s.Command == "on" {
		commands = []string{"off", "on"}
	}
	low, high := math.Inf(1), math.Inf(-1)
	for _, there := range ways {
		if n, err = v.there(there); err != nil {
			return rank.Answer{}, err
		}
		for _, s.Command = range commands {
			r, err := v.solve(n, m, s)
			if err != nil {
				return rank.Answer{}, err
			}
			if r.Armature == "buzz" {
				return rank.Answer{Unsure: true}, nil
			}
			value, _ := netlist.Reading(n, rules.Measure{Mode: rules.VoltsDC}, r)
			low, high = math.Min(low, value), math.Max(high, value)
		}
	}
	shown := [2]float64{v.shown(m, low), v.shown(m, high)}
	shown[1] = math.Max(shown[0], shown[1])
	return rank.Answer{MinMax: &shown}, nil
}
