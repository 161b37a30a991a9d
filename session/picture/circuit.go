package picture

import (
	"fmt"
	"strings"
)

// Circuit is what a drawing of a circuit shows: the coil's path and the load's path
// from supply to ground, what was read on them, and where the leads go next.
type Circuit struct {
	ID    string // tells pictures on one page apart
	Title string
	Coil  Path // may be empty
	Load  Path // may be empty
	// Spare is the contact terminal that leads nowhere here, "" if there is none.
	Spare    string
	Rest     bool              // the load hangs on the rest contact
	Across   string            // kind of the part across the coil: diode, resistor, ""
	LoadKind string            // lamp, motor, heater, solenoid, electronics, ""
	Module   bool              // a module commands the coil
	Volts    string            // "12 V"; "" if not known
	Marks    map[string]string // by terminal: the job's own mark, where it is not the DIN number
	Suspects map[string]Suspect
	Flags    []Flag
	List     bool // the readings are listed below the drawing
	Leads    []Lead
	Setup    string   // how the vehicle stands for the next test, in words
	Notes    []string // what is drawn without being known, and what else there is to say
}

// Path is one path from supply to ground: places with parts between them.
type Path struct {
	Places []string // one more than parts
	Parts  []Part
}

// Part is one element of a path.
type Part struct {
	ID    string
	Kind  string // fuse, wire, joint, key, control, coil, make, rest, load, ground, plug, terminal, source
	Words string
	Label bool // its name is written beside it
}

// Suspect says that something may be wrong with a part.
type Suspect struct {
	Words  string // "suspect 1: open, 62 %"
	Proven bool
}

// Flag is one reading, pinned to where it was taken.
type Flag struct {
	Entry int
	Place string // a place or a part's id; "" = it belongs to no spot
	Other string // the second place, "" where that is battery or chassis
	Value string // "12.4 V"
	Words string // the whole of it, for the list below
	Old   bool   // taken before the last repair
}

// Lead is one thing to put somewhere for the next test.
type Lead struct {
	Place string // place or part id
	Kind  string // red, black, jumper, clamp, look
	Words string // how the place is called
}

// columns of the drawing, in user units
const (
	width    = 740.0
	batteryX = 62.0
	coilX    = 230.0
	loadX    = 510.0
	topRail  = 66.0
	boxLeft  = 128.0
	boxRight = 728.0
	labelMax = 25 // characters of a label's line
)

// Draw draws the circuit.
func (k *Circuit) Draw() Drawing {
	s := &sheet{k: k, at: map[string]spot{}, flags: map[string][]Flag{}, leads: map[string][]Lead{}}
	s.c.words(12, 22, "start", k.Title, 16, true)
	if k.Setup != "" {
		s.c.words(12, 42, "start", "Next test: "+k.Setup+".", 13, false)
	}
	for _, f := range k.Flags {
		s.flags[spotName(f.Place)] = append(s.flags[spotName(f.Place)], f)
		if f.Other != "" {
			s.flags[spotName(f.Other)] = append(s.flags[spotName(f.Other)], Flag{Entry: f.Entry, Value: "to here", Old: f.Old})
		}
	}
	for _, l := range k.Leads {
		s.leads[spotName(l.Place)] = append(s.leads[spotName(l.Place)], l)
	}
	s.draw()
	s.legend()
	return s.c.svg(safeID("circuit-"+k.ID), width, Drawing{Title: k.Title, Description: k.describe()})
}

// spotName is the spot of the drawing that a place is: a terminal touched from behind
// is the same metal as its cavity.
func spotName(place string) string {
	if t, ok := strings.CutPrefix(place, "back."); ok {
		return "socket." + t
	}
	return place
}

// legend lists the readings and what is not known, below the drawing.
func (s *sheet) legend() {
	y := s.c.high + 24
	put := func(text string, bold bool) {
		for _, line := range wrapped(text, 104) {
			s.c.words(12, y, "start", line, 13, bold)
			y += 17
		}
	}
	if s.k.List && len(s.k.Flags) > 0 {
		put("Readings", true)
	}
	for _, f := range s.k.Flags {
		if !s.k.List {
			break
		}
		old := ""
		if f.Old {
			old = " (before the last repair)"
		}
		put(fmt.Sprintf("%d: %s%s", f.Entry, f.Words, old), false)
	}
	for _, note := range s.k.Notes {
		put(note, false)
	}
}

// describe tells the drawing in words.
func (k *Circuit) describe() string {
	var b strings.Builder
	for _, p := range []struct {
		name string
		path *Path
	}{{"Coil", &k.Coil}, {"Load", &k.Load}} {
		if len(p.path.Parts) == 0 {
			continue
		}
		fmt.Fprintf(&b, "%s path from supply to ground: ", p.name)
		var names []string
		for _, part := range p.path.Parts {
			switch {
			case part.Kind == "terminal":
				names = append(names, "terminal "+k.terminal(terminalOf(part.ID)))
			case part.Label:
				name := part.Words
				if suspect, ok := k.Suspects[part.ID]; ok {
					name += " (" + suspect.Words + ")"
				}
				names = append(names, name)
			}
		}
		b.WriteString(strings.Join(names, ", ") + ". ")
	}
	for _, f := range k.Flags {
		fmt.Fprintf(&b, "Reading %d: %s. ", f.Entry, strings.TrimSuffix(f.Words, "."))
	}
	for _, l := range k.Leads {
		fmt.Fprintf(&b, "For the next test: %s %s. ", leadNames[l.Kind], l.Words)
	}
	b.WriteString(strings.Join(k.Notes, " "))
	return strings.TrimSpace(b.String())
}

var leadNames = map[string]string{"red": "red lead on", "black": "black lead on", "jumper": "fused jumper on", "clamp": "measure current at", "look": "look at"}

// terminal calls a terminal by its DIN number and the job's own mark.
func (k *Circuit) terminal(t string) string {
	if mark := k.Marks[t]; mark != "" {
		return t + " (marked " + mark + ")"
	}
	return t
}

func terminalOf(id string) string { return id[strings.LastIndexAny(id, "_.")+1:] }
