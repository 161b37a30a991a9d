package picture

import (
	"fmt"
	"slices"
)

// This file draws the parts. The symbols are the usual ones of circuit diagrams: a fuse
// is a box with the wire through it, a lamp a crossed circle, a coil a box with a slash.

// part draws one part of a path between two heights, its name and its mark.
func (s *sheet) part(p Part, x, from, to float64) {
	middle := (from + to) / 2
	switch p.Kind {
	case "fuse":
		s.c.line(x, from, x, to)
		s.c.box(x-8, middle-17, 16, 34, "")
	case "load":
		s.load(x, from, to)
	case "control":
		s.control(x, from, to)
	case "key":
		s.open(x, from, to)
	case "plug":
		s.c.line(x, from, x, middle-4)
		s.c.path(fmt.Sprintf("M%s %s l6 5 6 -5 M%s %s l6 5 6 -5", n(x-6), n(middle-4), n(x-6), n(middle+1)))
		s.c.line(x, middle+6, x, to)
	case "terminal":
		s.terminalAt(terminalOf(p.ID), x, from, to)
	default: // wire, ground, joint
		s.c.line(x, from, x, to)
	}
	s.label(p, x, middle)
	if suspect, ok := s.k.Suspects[p.ID]; ok {
		s.mark(x, from+2, to-2, suspect)
	}
	for _, l := range s.leads[p.ID] {
		s.tag(l, x-24, middle)
	}
}

// label writes a part's name, its readings and its mark to its right.
func (s *sheet) label(p Part, x, middle float64) {
	lines := s.labelOf(p)
	right := x + 32
	if p.Kind == "terminal" {
		right = x + 30
		if mark := s.k.Marks[terminalOf(p.ID)]; mark != "" {
			right += 8 + 7*float64(len("marked "+mark))
		}
	}
	names := len(s.nameOf(p))
	y := middle + 4.5 - lineHigh*float64(len(lines)-1)/2
	for i, line := range lines {
		s.c.words(right, y+lineHigh*float64(i), "start", line, 13, i >= names)
	}
}

// terminalAt draws a terminal: a ring with its DIN number, and the job's own mark beside it.
func (s *sheet) terminalAt(t string, x, from, to float64) {
	middle := (from + to) / 2
	s.c.line(x, from, x, middle-13)
	s.c.circle(x, middle, 13)
	s.c.words(x, middle+4, "middle", t, 11.5, true)
	s.c.line(x, middle+13, x, to)
	if mark := s.k.Marks[t]; mark != "" {
		s.c.words(x+18, middle+4, "start", "marked "+mark, 12, false)
	}
}

func (s *sheet) open(x, from, to float64) {
	middle := (from + to) / 2
	s.c.line(x, from, x, middle-11)
	s.c.line(x, middle+11, x-11, middle-9)
	s.c.line(x, middle+11, x, to)
	s.c.dot(x, middle-11)
	s.c.dot(x, middle+11)
}

// control draws what commands the coil: a switch, or a box where a module does.
func (s *sheet) control(x, from, to float64) {
	if !s.k.Module {
		s.open(x, from, to)
		return
	}
	middle := (from + to) / 2
	s.c.line(x, from, x, middle-20)
	s.c.box(x-20, middle-20, 40, 40, "")
	s.c.line(x, middle-20, x, middle-9)
	s.c.line(x, middle+9, x-8, middle-8)
	s.c.line(x, middle+9, x, to)
}

func (s *sheet) load(x, from, to float64) {
	middle := (from + to) / 2
	s.c.line(x, from, x, middle-19)
	s.c.line(x, middle+19, x, to)
	switch s.k.LoadKind {
	case "lamp":
		s.c.circle(x, middle, 19)
		s.c.path(fmt.Sprintf("M%s %s l27 27 m0 -27 l-27 27", n(x-13.5), n(middle-13.5)))
	case "motor":
		s.c.circle(x, middle, 19)
		s.c.words(x, middle+6, "middle", "M", 18, true)
	case "heater":
		s.c.box(x-11, middle-19, 22, 38, "")
		for _, at := range []float64{-9.5, 0, 9.5} {
			s.c.line(x-11, middle+at, x+11, middle+at)
		}
	case "solenoid":
		s.c.box(x-19, middle-19, 38, 38, "")
		s.c.line(x-19, middle+19, x+19, middle-19)
	default: // electronics, or not known
		s.c.box(x-19, middle-19, 38, 38, "")
		s.c.words(x, middle+5, "middle", map[string]string{"electronics": "E"}[s.k.LoadKind], 15, true)
	}
}

// coil draws the coil with what lies across it, between two heights of the relay's box.
func (s *sheet) coil(sec section, x, top, bottom float64) {
	middle := (top + bottom) / 2
	s.c.line(x, top, x, middle-15)
	s.c.box(x-24, middle-15, 48, 30, "")
	s.c.line(x-24, middle+15, x+24, middle-15)
	s.c.line(x, middle+15, x, bottom)
	if s.k.Across != "" {
		s.across(sec.places[0], x, middle)
	}
	for _, p := range sec.parts {
		s.label(p, x+4, middle-15-7*float64(len(s.labelOf(p))-1)) // above the line that ties the coil to the contact
		if suspect, ok := s.k.Suspects[p.ID]; ok {
			s.mark(x, middle-19, middle+19, suspect)
		}
	}
	s.inner(sec, x, top, bottom)
}

// across draws the resistor or diode beside the coil; a diode's bar points at 86.
func (s *sheet) across(upper string, x, middle float64) {
	left := x - 74
	s.c.line(x, middle-34, left, middle-34)
	s.c.line(x, middle+34, left, middle+34)
	s.c.line(left, middle-34, left, middle-10)
	s.c.line(left, middle+10, left, middle+34)
	if s.k.Across == "diode" {
		tip, base := middle-9, middle+9
		if upper != "relay.86" {
			tip, base = base, tip
		}
		s.c.path(fmt.Sprintf("M%s %s L%s %s L%s %s Z", n(left-9), n(base), n(left+9), n(base), n(left), n(tip)))
		s.c.line(left-9, tip, left+9, tip)
		s.c.line(left, middle-10, left, middle+10)
	} else {
		s.c.box(left-6, middle-10, 12, 20, "")
	}
	if suspect, ok := s.k.Suspects["suppressor"]; ok {
		s.mark(left, middle-14, middle+14, suspect)
		s.c.words(left-14, middle+50, "start", suspect.Words, 12, true)
	}
}

// contact draws the contacts at rest: the moving blade hangs on 30 and lies on the rest
// contact where the relay has one.
func (s *sheet) contact(sec section, x, top, bottom float64) {
	pivot, fixed := top+34, bottom-34
	up := sec.places[0] == "relay.30"
	if !up {
		pivot, fixed = fixed, pivot
	}
	s.c.line(x, top, x, top+34)
	s.c.line(x, bottom-34, x, bottom)
	s.c.dot(x, pivot)
	s.c.dot(x, fixed)
	tip := x - 18
	if s.k.Rest {
		tip = x
	}
	if s.k.Spare != "" {
		s.spare(x+54, top, bottom, fixed)
		if !s.k.Rest {
			tip = x + 54
		}
	}
	end := fixed
	if tip == x-18 { // open: the blade ends short of the contact
		end = fixed + 8*sign(pivot-fixed)
	}
	s.c.stroke(x, pivot, tip, end, 3.5, "")
	right := x
	if s.k.Spare != "" {
		right = x + 44
	}
	for _, p := range sec.parts {
		s.label(p, right, (top+bottom)/2)
		if suspect, ok := s.k.Suspects[p.ID]; ok {
			s.mark(x, min(pivot, fixed)-4, max(pivot, fixed)+4, suspect)
		}
	}
	s.c.stroke(coilX+24, (top+bottom)/2, (x+tip)/2, (pivot+end)/2, 1.2, "5 4") // the coil moves it
	s.inner(sec, x, top, bottom)
}

func sign(v float64) float64 {
	if v < 0 {
		return -1
	}
	return 1
}

// spare draws the contact that leads nowhere, with its terminal.
func (s *sheet) spare(x, top, bottom, fixed float64) {
	edge, out := bottom, bottom+34
	if fixed < (top+bottom)/2 {
		edge, out = top, top-34
	}
	s.c.line(x, fixed, x, edge)
	s.c.dot(x, fixed)
	s.terminalAt(s.k.Spare, x+62, (edge+out)/2-13, (edge+out)/2+13)
	s.c.line(x, edge, x+50, (edge+out)/2-3)
	s.pinAt("relay."+s.k.Spare, x+10, x-8, (fixed+edge)/2)
	place := "socket." + s.k.Spare
	s.at[place] = spot{x + 62, (edge + out) / 2}
	s.pinAt(place, x+52, x+46, (edge+out)/2+out-edge)
}

// inner pins what was read on the relay's own blades.
func (s *sheet) inner(sec section, x, top, bottom float64) {
	if len(sec.places) == 0 {
		return
	}
	s.pin(sec.places[0], x, top+16)
	if len(sec.places) > 1 {
		s.pin(sec.places[len(sec.places)-1], x, bottom-16)
	}
}

// relayBox frames the relay.
func (s *sheet) relayBox(top, bottom float64) {
	s.c.box(boxLeft, top, boxRight-boxLeft, bottom-top, "9 6")
	s.c.words(boxRight-8, bottom-8, "end", "relay", 13, false)
	y := top + 18
	for _, id := range []string{"relay", "armature"} {
		if suspect, ok := s.k.Suspects[id]; ok {
			word := map[string]string{"relay": "the relay itself", "armature": "moving part"}[id]
			s.warning(coilX+62, y+1)
			for _, line := range wrapped(word+": "+suspect.Words, 26) {
				s.c.words(coilX+76, y, "start", line, 13, true)
				y += lineHigh
			}
		}
	}
	y = top + 18
	for _, f := range append(slices.Clone(s.flags["relay"]), s.flags["armature"]...) {
		s.c.words(boxRight-8, y, "end", flagText(f), 12, true)
		y += 16
	}
	for _, l := range s.leads["relay"] {
		s.tag(l, boxRight-8, bottom-30)
	}
}

// mark frames a suspect: a heavy dashed frame (solid where it is proven) and a warning triangle.
func (s *sheet) mark(x, from, to float64, suspect Suspect) {
	dash := ` stroke-dasharray="4 5"`
	if suspect.Proven {
		dash = ""
	}
	s.c.put(`<rect x="%s" y="%s" width="52" height="%s" rx="8" stroke-width="3.5"%s/>`, n(x-26), n(from), n(to-from), dash)
	s.warning(x-40, (from+to)/2)
}

func (s *sheet) warning(x, y float64) {
	s.c.put(`<path d="M%s %s l11 19 h-22 z" fill="#ffd54f"/>`, n(x), n(y-10))
	s.c.put(`<text x="%s" y="%s" text-anchor="middle" font-size="13" font-weight="bold" fill="#111111" stroke="none">!</text>`, n(x), n(y+6.5))
}
