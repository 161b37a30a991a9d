package picture

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// sheet is a circuit being drawn.
type sheet struct {
	k     *Circuit
	c     canvas
	at    map[string]spot // where places of the load's path came to lie
	flags map[string][]Flag
	leads map[string][]Lead
	gap   map[string]float64 // extra wire at a place where the coil's path joins the load's
	joint string             // the place below which the coil's path leaves the load's
}

type spot struct{ x, y float64 }

// section is a stretch of a path on one side of the relay or inside it.
type section struct {
	places []string // one more than parts
	parts  []Part
}

// split cuts a path into what lies above the relay, inside it and below.
func (p *Path) split() (above, inside, below section) {
	first, last := -1, -1
	for i, place := range p.Places {
		if strings.HasPrefix(place, "relay.") {
			if first < 0 {
				first = i
			}
			last = i
		}
	}
	if first < 0 {
		return section{p.Places, p.Parts}, section{}, section{}
	}
	cut := func(from, to int) section { return section{p.Places[from : to+1], p.Parts[from:to]} }
	return cut(0, first), cut(first, last), cut(last, len(p.Parts))
}

// heights
const (
	nodeHigh  = 8.0
	busyHigh  = 26.0
	lineHigh  = 15.0
	innerHigh = 130.0
)

func (s *sheet) nodeHeight(place string) float64 {
	return s.bareHeight(place) + s.gap[place]
}

func (s *sheet) bareHeight(place string) float64 {
	if len(s.flags[place])+len(s.leads[place]) > 0 {
		return busyHigh
	}
	return nodeHigh
}

func (s *sheet) partHeight(p Part) float64 {
	high := map[string]float64{"wire": 34, "ground": 34, "joint": 24, "plug": 14, "terminal": 30, "fuse": 46, "load": 62, "control": 52, "key": 46}[p.Kind]
	return max(high, 24, lineHigh*float64(len(s.labelOf(p)))+6)
}

// height is how much room a section takes. The first place is left out where it is a
// rail or a junction.
func (s *sheet) height(sec section) float64 {
	high := 0.0
	for i, part := range sec.parts {
		high += s.partHeight(part)
		if i > 0 {
			high += s.nodeHeight(sec.places[i])
		}
	}
	return high
}

// nameOf is a part's name, in lines; a contact with a spare one beside it has less room.
func (s *sheet) nameOf(p Part) []string {
	most := labelMax
	if (p.Kind == "make" || p.Kind == "rest") && s.k.Spare != "" {
		most = labelMax - 9
	}
	if !p.Label || p.Kind == "terminal" {
		return nil
	}
	return wrapped(p.Words, most)
}

// labelOf is what is written beside a part, in lines; the suspect's mark last.
func (s *sheet) labelOf(p Part) []string {
	lines := s.nameOf(p)
	for _, f := range s.flags[p.ID] {
		lines = append(lines, flagText(f))
	}
	if suspect, ok := s.k.Suspects[p.ID]; ok {
		lines = append(lines, wrapped(suspect.Words, labelMax)...)
	}
	return lines
}

func flagText(f Flag) string {
	if f.Old {
		return fmt.Sprintf("(%d: %s)", f.Entry, f.Value)
	}
	return fmt.Sprintf("%d: %s", f.Entry, f.Value)
}

// draw lays both columns out so that they meet the relay's box together, and draws them.
func (s *sheet) draw() {
	load, coil := s.k.Load, s.k.Coil
	head, tail := 0, 0 // how many parts at the coil's ends are the load's own
	for head < len(coil.Parts) && head < len(load.Parts) && coil.Parts[head].ID == load.Parts[head].ID {
		head++
	}
	for tail < len(coil.Parts)-head && tail < len(load.Parts)-head &&
		coil.Parts[len(coil.Parts)-1-tail].ID == load.Parts[len(load.Parts)-1-tail].ID {
		tail++
	}
	own := coil
	if len(coil.Parts) > 0 {
		own = Path{coil.Places[head : len(coil.Places)-tail], coil.Parts[head : len(coil.Parts)-tail]}
	}
	la, _, lb := load.split()
	ca, _, cb := own.split()
	s.gap = map[string]float64{}
	if head > 0 {
		s.joint = own.Places[0]
		s.gap[s.joint] = max(0, s.height(ca)+busyHigh-s.height(la.from(s.joint)))
	}
	if tail > 0 {
		end := own.Places[len(own.Places)-1]
		s.gap[end] = max(0, s.height(cb)+busyHigh-s.height(lb.upTo(end)))
	}
	s.roomForSpare(la, lb)
	start := topRail + busyHigh
	boxTop := start + max(s.height(la), s.height(ca))
	if head > 0 {
		boxTop = start + s.height(la)
	}
	boxBottom := boxTop + innerHigh
	bottom := boxBottom + busyHigh + max(s.height(lb), s.height(cb))
	if tail > 0 {
		bottom = boxBottom + busyHigh + s.height(lb)
	}
	s.battery(bottom)
	s.column(load, loadX, boxTop, boxBottom, bottom, false)
	s.joinCoil(own, head, tail, boxTop, boxBottom, bottom)
	if len(load.Parts) > 0 && len(coil.Parts) > 0 {
		s.relayBox(boxTop, boxBottom)
	}
	s.c.down(bottom + 30)
}

// roomForSpare moves the parts beside the spare terminal away from it, where something is
// pinned there.
func (s *sheet) roomForSpare(above, below section) {
	spare := "socket." + s.k.Spare
	if s.k.Spare == "" || len(s.flags[spare])+len(s.leads[spare]) == 0 {
		return
	}
	switch {
	case len(below.places) > 2 && above.places[len(above.places)-1] == "relay.30":
		s.gap[below.places[1]] += busyHigh
	case len(above.places) > 2:
		s.gap[above.places[len(above.places)-2]] += busyHigh
	}
}

// from is the rest of a section below a place, upTo the part of it above one.
func (sec section) from(place string) section {
	i := slices.Index(sec.places, place)
	if i < 0 {
		return section{}
	}
	return section{sec.places[i:], sec.parts[i:]}
}

func (sec section) upTo(place string) section {
	i := slices.Index(sec.places, place)
	if i < 0 {
		return section{}
	}
	return section{sec.places[:i+1], sec.parts[:i]}
}

// joinCoil draws the coil's column between the rails, or between the junctions where it
// shares parts with the load's path.
func (s *sheet) joinCoil(own Path, head, tail int, boxTop, boxBottom, bottom float64) {
	if len(own.Parts) == 0 {
		return
	}
	top, end := topRail, bottom
	if tail > 0 {
		j := s.at[own.Places[len(own.Places)-1]]
		end = j.y
		s.c.line(coilX, end, j.x, end)
		s.c.dot(j.x, end)
	}
	if head > 0 {
		j := s.at[own.Places[0]]
		s.c.line(coilX, j.y, j.x, j.y)
		s.c.dot(j.x, j.y)
		top = j.y
	}
	s.columnFrom(own, coilX, top, boxTop, boxBottom, end, true)
}

// column draws one path from rail to rail.
func (s *sheet) column(p Path, x, boxTop, boxBottom, bottom float64, coil bool) {
	if len(p.Parts) > 0 {
		s.columnFrom(p, x, topRail, boxTop, boxBottom, bottom, coil)
	}
}

func (s *sheet) columnFrom(p Path, x, top, boxTop, boxBottom, bottom float64, coil bool) {
	above, inside, below := p.split()
	if len(inside.places) == 0 { // no relay in this path
		s.run(above, x, top, bottom, false)
		return
	}
	s.run(above, x, top, boxTop, false)
	if coil {
		s.coil(inside, x, boxTop, boxBottom)
	} else {
		s.contact(inside, x, boxTop, boxBottom)
	}
	s.run(below, x, boxBottom, bottom, true)
}

// run draws a section between two heights; what room is left over goes to the wire at
// the rail's end: above the parts, or below them.
func (s *sheet) run(sec section, x, from, to float64, slackBelow bool) {
	y := from
	if !slackBelow {
		y = to - s.height(sec)
		s.c.line(x, from, x, y)
	}
	for i, part := range sec.parts {
		if i > 0 {
			y = s.node(sec.places[i], x, y)
		}
		s.part(part, x, y, y+s.partHeight(part))
		y += s.partHeight(part)
	}
	s.c.line(x, y, x, to)
}

// node draws a place between two parts with what was read there.
func (s *sheet) node(place string, x, y float64) float64 {
	high, bare := s.nodeHeight(place), s.bareHeight(place)
	s.c.line(x, y, x, y+high)
	at := y + bare/2
	if gap := s.gap[place]; gap > 0 && place != s.joint {
		at += gap // the coil's path comes in at the lower end
	}
	s.at[place] = spot{x, at}
	if bare > nodeHigh {
		s.c.dot(x, at)
	}
	s.pin(place, x, at)
	return y + high
}

// pin writes readings to the right of a spot and leads to its left.
func (s *sheet) pin(place string, x, y float64) {
	s.pinAt(place, x+12, x-10, y)
}

func (s *sheet) pinAt(place string, right, left, y float64) {
	at := right
	flags := s.flags[place]
	for _, f := range flags[max(0, len(flags)-3):] {
		text := flagText(f)
		w := 8 + 6.6*float64(utf8.RuneCountInString(text))
		s.c.put(`<rect x="%s" y="%s" width="%s" height="18" rx="9" stroke-width="1.2"/>`, n(at), n(y-9), n(w))
		s.c.words(at+w/2, y+4.5, "middle", text, 12, true)
		at += w + 4
	}
	for _, l := range s.leads[place] {
		left = s.tag(l, left, y)
	}
}

// tag draws where a lead goes, its tip at x and the rest to the left of it.
func (s *sheet) tag(l Lead, x, y float64) float64 { return s.pointer(l, x, y, -1) }

// pointer draws a tag with its tip at x and the rest to the left (side -1) or right (1) of it:
// red has round ends, black square ones.
func (s *sheet) pointer(l Lead, x, y, side float64) float64 {
	name := map[string]string{"red": "RED", "black": "BLACK", "jumper": "JUMPER", "clamp": "AMPS", "look": "LOOK"}[l.Kind]
	fill := map[string]string{"red": "#c62828", "black": "#111111"}[l.Kind]
	if fill == "" {
		fill = "#1f4e8c"
	}
	round := 1.0
	if l.Kind == "red" {
		round = 9
	}
	w := 12 + 8.2*float64(len(name))
	s.c.put(`<path d="M%s %s l%s -5 v10 z" fill="%s"/>`, n(x), n(y), n(10*side), fill)
	s.c.put(`<rect x="%s" y="%s" width="%s" height="18" rx="%s" fill="%s"/>`, n(x+side*(10+w/2)-w/2), n(y-9), n(w), n(round), fill)
	s.c.put(`<text x="%s" y="%s" text-anchor="middle" font-size="12" font-weight="bold" fill="#ffffff" stroke="none">%s</text>`, n(x+side*(10+w/2)), n(y+4.5), name)
	return x + side*(14+w)
}

// battery draws the rails and the battery between them.
func (s *sheet) battery(bottom float64) {
	c := &s.c
	end := batteryX
	for _, p := range []struct {
		path Path
		x    float64
	}{{s.k.Coil, coilX}, {s.k.Load, loadX}} {
		if len(p.path.Parts) > 0 {
			end = p.x
		}
	}
	c.stroke(batteryX, topRail, end, topRail, 3, "")
	c.stroke(batteryX, bottom, end, bottom, 3, "")
	middle := (topRail + bottom) / 2
	c.line(batteryX, topRail, batteryX, middle-6)
	c.stroke(batteryX-18, middle-6, batteryX+18, middle-6, 2, "")
	c.stroke(batteryX-9, middle+6, batteryX+9, middle+6, 5, "")
	c.line(batteryX, middle+6, batteryX, bottom)
	c.words(batteryX-22, middle-8, "end", "+", 14, true)
	c.words(batteryX-22, middle+14, "end", "−", 14, true)
	lines := strings.TrimSpace("battery " + s.k.Volts)
	c.words(10, middle+34, "start", lines, 13, false)
	if suspect, ok := s.k.Suspects["battery"]; ok {
		s.mark(batteryX, middle-16, middle+16, suspect)
		for i, line := range wrapped(suspect.Words, 17) {
			c.words(10, middle+50+15*float64(i), "start", line, 13, true)
		}
	}
	s.rail("battery.positive", "battery +", topRail)
	negative := middle + (bottom-middle)*0.66
	c.dot(batteryX, negative)
	c.words(batteryX-8, negative+4, "end", "post −", 12, false)
	s.pinRight("battery.negative", batteryX, negative)
	s.rail("chassis", "ground (chassis)", bottom)
	c.words(batteryX+8, bottom+16, "start", "ground (chassis)", 13, false)
	s.ground(loadX, bottom)
}

func (s *sheet) rail(place, words string, y float64) {
	if place == "battery.positive" {
		s.c.words(batteryX+8, y-6, "start", words, 13, false)
	}
	s.at[place] = spot{batteryX, y}
	s.c.dot(batteryX, y)
	s.pinRight(place, batteryX, y)
}

// pinRight puts a lead's tag to the right of a spot whose left has no room.
func (s *sheet) pinRight(place string, x, y float64) {
	leads := s.leads[place]
	s.leads[place] = nil
	for _, l := range leads {
		s.c.stroke(x, y, x+10, y+16, 1.5, "")
		s.pointer(l, x+10, y+18, 1)
	}
	s.pinAt(place, x+14, 0, y+18+22*float64(min(1, len(leads))))
}

func (s *sheet) ground(x, y float64) {
	if len(s.k.Load.Parts)+len(s.k.Coil.Parts) == 0 {
		return
	}
	s.c.line(x, y, x, y+8)
	for i, half := range []float64{14, 9, 4} {
		s.c.line(x-half, y+8+5*float64(i), x+half, y+8+5*float64(i))
	}
}
