package picture

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"
)

// Socket is the face of a relay socket.
type Socket struct {
	ID        string
	Title     string
	Terminals []string          // DIN numbers of the cavities it has
	Marks     map[string]string // by terminal: the job's own mark
	Roles     map[string]string // by terminal: what it does here, "supply", "to the load"
	Flags     []Flag            // at socket.T, back.T or relay.T
	Leads     []Lead
	Suspects  map[string]Suspect // by terminal
	Notes     []string
}

// cavities are where the cavities lie in the usual arrangement of the cube relay, seen
// from the side that the relay plugs into, and whether the blade stands upright. From
// memory; a second arrangement changes 30 and 86 over, so the drawing says to go by
// the marks.
var cavities = map[string]struct {
	x, y    float64
	upright bool
}{
	"87": {370, 110, false}, "87a": {370, 200, false}, "86": {210, 190, true}, "85": {530, 190, true}, "30": {370, 290, true},
}

// goByMarks is said under every socket face.
const goByMarks = "The places are those of one usual layout; another has 30 and 86 changed over. Go by the marks in the plastic, not by the place."

// Draw draws the face of the socket.
func (k *Socket) Draw() Drawing {
	s := &face{k: k}
	s.c.words(12, 22, "start", k.Title, 16, true)
	s.c.box(100, 56, 540, 296, "")
	for _, t := range k.Terminals {
		s.cavity(t)
	}
	y := 376.0
	for _, f := range k.Flags {
		for _, line := range wrapped(fmt.Sprintf("%d: %s", f.Entry, f.Words), 104) {
			s.c.words(12, y, "start", line, 13, false)
			y += 17
		}
	}
	for _, note := range append(slices.Clone(k.Notes), goByMarks) {
		for _, line := range wrapped(note, 104) {
			s.c.words(12, y, "start", line, 13, false)
			y += 17
		}
	}
	return s.c.svg(safeID("socket-"+k.ID), width, Drawing{Title: k.Title, Description: k.describe()})
}

type face struct {
	k *Socket
	c canvas
}

func (s *face) cavity(t string) {
	at, ok := cavities[t]
	if !ok {
		return
	}
	w, h := 46.0, 12.0
	if at.upright {
		w, h = h, w
	}
	s.c.box(at.x-w/2, at.y-h/2, w, h, "")
	mark := s.k.Marks[t]
	name, small := t, s.k.Roles[t]
	if mark != "" {
		name, small = mark, strings.TrimSuffix("DIN "+t+", "+small, ", ")
	}
	top := at.y - h/2
	s.c.words(at.x, top-8, "middle", name, 20, true)
	below := at.y + h/2 + 15
	if small != "" {
		s.c.words(at.x, below, "middle", small, 12, false)
		below += 15
	}
	if suspect, ok := s.k.Suspects[t]; ok {
		s.c.put(`<circle cx="%s" cy="%s" r="36" stroke-width="3.5" stroke-dasharray="4 5"/>`, n(at.x), n(at.y))
		s.c.words(at.x, below, "middle", "! "+suspect.Words, 12, true)
		below += 15
	}
	var texts []string
	for _, f := range s.k.Flags {
		if terminalOf(f.Place) == t {
			texts = append(texts, flagText(f))
		}
	}
	for _, text := range texts[max(0, len(texts)-2):] {
		s.c.words(at.x, below, "middle", text, 12, true)
		below += 15
	}
	s.lead(t, at.x-w/2, at.y)
}

func (s *face) lead(t string, x, y float64) {
	tags := sheet{k: &Circuit{}}
	for _, l := range s.k.Leads {
		if terminalOf(l.Place) == t && strings.Contains(l.Place, ".") {
			x = tags.tag(l, x-4, y)
		}
	}
	s.c.body.WriteString(tags.c.body.String())
}

func (k *Socket) describe() string {
	var parts []string
	for _, t := range k.Terminals {
		name := "cavity " + t
		if mark := k.Marks[t]; mark != "" {
			name += " marked " + mark
		}
		if role := k.Roles[t]; role != "" {
			name += ", " + role
		}
		parts = append(parts, name)
	}
	text := "Socket seen from the side the relay plugs into: " + strings.Join(parts, "; ") + "."
	for _, l := range k.Leads {
		text += fmt.Sprintf(" For the next test: %s %s.", leadNames[l.Kind], l.Words)
	}
	for _, f := range k.Flags {
		text += fmt.Sprintf(" Reading %d: %s.", f.Entry, strings.TrimSuffix(f.Words, "."))
	}
	return text + " " + goByMarks
}

// Test is where the leads go for one test.
type Test struct {
	ID    string
	Title string // the test in words
	Say   string
	Mode  string // volts_dc, ohms and so on
	Dial  string // what the meter is set to: "volts DC"
	Setup string
	Leads []Lead
	// Socket is the face drawn where a lead goes to it.
	Socket   Socket
	Cautions []string
}

// Draw draws the meter and its leads, and the socket's face where they go there.
func (k *Test) Draw() Drawing {
	s := &face{k: &k.Socket}
	y := 22.0
	for _, line := range wrapped(k.Title, 84) {
		s.c.words(12, y, "start", line, 16, true)
		y += 20
	}
	for _, line := range wrapped(k.Say, 104) {
		s.c.words(12, y, "start", line, 13, false)
		y += 17
	}
	s.c.words(12, y, "start", "State: "+k.Setup+".", 13, true)
	y = k.meter(s, y+16)
	for _, caution := range k.Cautions {
		for i, line := range wrapped("Careful: "+caution, 100) {
			s.c.words(12, y, "start", line, 13, i == 0)
			y += 17
		}
	}
	if slices.ContainsFunc(k.Leads, onSocket) {
		inner := canvas{}
		f := &face{k: &k.Socket, c: inner}
		f.c.box(100, 56, 540, 296, "")
		for _, t := range k.Socket.Terminals {
			f.cavity(t)
		}
		s.c.put(`<g transform="translate(0 %s)">`, n(y-46))
		s.c.body.WriteString(f.c.body.String())
		s.c.put(`</g>`)
		y += 320
		for _, line := range wrapped(goByMarks, 104) {
			s.c.words(12, y, "start", line, 13, false)
			y += 17
		}
	}
	return s.c.svg(safeID("leads-"+k.ID), width, Drawing{Title: k.Title, Description: k.describe()})
}

func onSocket(l Lead) bool {
	for _, at := range []string{"socket.", "back.", "relay."} {
		if strings.HasPrefix(l.Place, at) {
			return true
		}
	}
	return false
}

// meter draws the meter and one line for each lead to the place it goes to.
func (k *Test) meter(s *face, y float64) float64 {
	rows := max(2, len(k.Leads))
	high := 30 + 38*float64(rows)
	s.c.box(30, y, 150, high, "")
	s.c.words(105, y+24, "middle", k.Dial, 15, true)
	tags := sheet{k: &Circuit{}}
	for i, l := range k.Leads {
		at := y + 50 + 38*float64(i)
		s.c.dot(172, at)
		dash := ""
		if l.Kind == "black" {
			dash = "8 5"
		}
		s.c.stroke(180, at, 300, at, 2.5, dash)
		tags.tag(l, 300, at)
		for j, line := range wrapped(l.Words, 56) {
			s.c.words(312, at+5+15*float64(j), "start", line, 14, true)
		}
	}
	s.c.body.WriteString(tags.c.body.String())
	if len(k.Leads) == 0 {
		s.c.words(200, y+40, "start", "No lead goes anywhere for this test.", 14, false)
	}
	return y + high + 24
}

func (k *Test) describe() string {
	parts := []string{k.Say, "State: " + k.Setup + "."}
	for _, l := range k.Leads {
		name := leadNames[l.Kind]
		first, size := utf8.DecodeRuneInString(name)
		parts = append(parts, strings.ToUpper(string(first))+name[size:]+" "+l.Words+".")
	}
	for _, caution := range k.Cautions {
		parts = append(parts, "Careful: "+caution)
	}
	return strings.Join(parts, " ")
}
