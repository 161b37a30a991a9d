package session

import (
	"fmt"

	"coilside/engine/wire"
	"coilside/session/picture"
)

// wiringPicture draws the circuit that a wiring job has come to: its wires, its fuse and
// its relay, each with its size.
func (j *job) wiringPicture() (picture.Drawing, error) {
	c, err := j.errand()
	if err != nil {
		return picture.Drawing{}, err
	}
	if c.result.Wire == nil {
		return picture.Drawing{}, invalid("job", "job %s has no wires to draw yet: %s", j.id, courseMissing(c))
	}
	w := *c.result.Wire
	kind := ""
	if i := c.find("wire.load_kind"); i >= 0 && c.asks[i].answer != nil {
		kind = c.asks[i].answer.Choice
	}
	volts := ""
	if i := c.find("wire.system_volts"); i >= 0 && c.asks[i].answer != nil {
		volts = c.asks[i].answer.Choice + " V"
	}
	return wiringCircuit(j.id, j.pictureTitle("Wiring"), kind, volts, w).Draw(), nil
}

func courseMissing(c errand) string {
	if open := c.open(); len(open) > 0 {
		return withoutDot(open[0].test.Say)
	}
	return missingWords(c)
}

func wiringCircuit(id, title, kind, volts string, w wire.Sizing) *picture.Circuit {
	if kind == "unknown" {
		kind = ""
	}
	k := &picture.Circuit{ID: id, Title: title, LoadKind: kind, Volts: volts, Notes: []string{
		fmt.Sprintf("Relay: %s, rated %s A or more. Connector: %s.", w.Relay.Size, plain(roundUp(w.Relay.NeededAmps)), w.Connector.Blade),
		fmt.Sprintf("Expect %.2f V lost out and back at %s A with %s AWG.", w.Load.AWG.DropVolts, plain(w.Load.Amps), w.Load.AWG.Size),
		"The control is drawn on the ground side; on the positive side it lies before 86. " + w.Cautions[1],
	}}
	size := func(of string, l wire.Leg) string {
		return fmt.Sprintf("%s %s AWG or %s mm²", of, l.AWG.Size, l.MM2.Size)
	}
	k.Load = picture.Path{Places: []string{"battery.positive", "feed_fuse.out", "socket.30", "relay.30", "relay.87", "socket.87", "load.in", "load.out", "chassis"}, Parts: []picture.Part{
		{ID: "feed_fuse", Kind: "fuse", Words: fmt.Sprintf("fuse %s A, near supply", plain(w.Fuse.Amps)), Label: true},
		{ID: "feed_wire", Kind: "wire", Words: size("feed", w.Load), Label: true},
		{ID: "terminal_30", Kind: "terminal"},
		{ID: "contact", Kind: "make"},
		{ID: "terminal_87", Kind: "terminal"},
		{ID: "load_wire", Kind: "wire", Words: size("load", w.Load), Label: true},
		{ID: "load", Kind: "load", Words: fmt.Sprintf("load, %s A", plain(w.Load.Amps)), Label: true},
		{ID: "load_ground", Kind: "ground", Words: size("ground", w.Load), Label: true},
	}}
	k.Coil = picture.Path{Places: []string{"battery.positive", "coil_fuse.out", "socket.86", "relay.86", "relay.85", "socket.85", "control.in", "control.out", "chassis"}, Parts: []picture.Part{
		{ID: "coil_fuse", Kind: "fuse", Words: "coil's fuse", Label: true},
		{ID: "coil_wire", Kind: "wire", Words: size("coil", w.Coil), Label: true},
		{ID: "terminal_86", Kind: "terminal"},
		{ID: "coil", Kind: "coil"},
		{ID: "terminal_85", Kind: "terminal"},
		{ID: "control_wire", Kind: "wire", Words: size("control", w.Coil), Label: true},
		{ID: "control", Kind: "control", Words: "switch or driver", Label: true},
		{ID: "coil_ground", Kind: "ground"},
	}}
	return k
}

// roundUp is the next whole ampere.
func roundUp(v float64) float64 {
	if w := float64(int(v)); w < v {
		return w + 1
	}
	return v
}
