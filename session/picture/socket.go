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
var cavities = map[string]cavityAt{
	"87": {370, 110, false}, "87a": {370, 200, false}, "86": {210, 190, true}, "85": {530, 190, true}, "30": {370, 290, true},
}

// narrowCavities is the same arrangement drawn closer, for a picture that fits a phone.
var narrowCavities = map[string]cavityAt{
	"87": {180, 100, false}, "87a": {180, 218, false}, "86": {92, 172, true}, "85": {284, 172, true}, "30": {180, 292, true},
}

type cavityAt struct {
	x, y    float64
	upright bool
}

// narrow is the width of the picture of the leads: of a phone's screen, so that its words
// keep their size there.
const narrow = 360.0

// goByMarks is said under every socket face.
const goByMarks = "The places are those of one usual layout; another has 30 and 86 changed over. Go by the marks in the plastic, not by the place."

// Draw draws the face of the socket.
func (k *Socket) Draw() Drawing {
	s := &face{k: k, at: cavities, most: 60}
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
	k    *Socket
	c    canvas
	at   map[string]cavityAt
	most int // characters in a line beside a cavity
}

func (s *face) cavity(t string) {
	at, ok := s.at[t]
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
	for _, line := range wrapped(small, s.most) {
		s.c.words(at.x, below, "middle", line, 12, false)
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
	s := &face{k: &k.Socket, at: narrowCavities, most: 18}
	y := s.lines(22, k.Title, 36, 16, true)
	y = s.lines(y, "State: "+k.Setup+".", 44, 13, true)
	y = k.meter(s, y)
	for _, caution := range k.Cautions {
		y = s.lines(y, "Careful: "+caution, 44, 13, false)
	}
	if slices.ContainsFunc(k.Leads, onSocket) {
		s.c.put(`<g transform="translate(0 %s)">`, n(y-46))
		high := s.c.high
		s.c.box(12, 56, narrow-24, 286, "")
		for _, t := range k.Socket.Terminals {
			s.cavity(t)
		}
		s.c.put(`</g>`)
		s.c.high = high
		s.lines(y+316, goByMarks, 44, 13, false)
	}
	return s.c.svg(safeID("leads-"+k.ID), narrow, Drawing{Title: k.Title, Description: k.describe()})
}

// lines writes a text from the left edge, in lines of at most so many characters, and gives
// where the next line goes.
func (s *face) lines(y float64, text string, most int, size float64, bold bool) float64 {
	for _, line := range wrapped(text, most) {
		s.c.words(12, y, "start", line, size, bold)
		y += size + 4
	}
	return y
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
	const right, tip = 104.0, 184.0 // of the meter, and of the leads
	tags := sheet{k: &Circuit{}}
	at := y + 50
	for _, l := range k.Leads {
		s.c.dot(right-8, at)
		dash := ""
		if l.Kind == "black" {
			dash = "8 5"
		}
		s.c.stroke(right, at, tip, at, 2.5, dash)
		tags.tag(l, tip, at)
		place := wrapped(l.Words, 20)
		for j, line := range place {
			s.c.words(tip+10, at+5+15*float64(j), "start", line, 13, true)
		}
		at += 23 + 15*float64(len(place))
	}
	s.c.body.WriteString(tags.c.body.String())
	if len(k.Leads) == 0 {
		s.c.words(right+12, y+40, "start", "No lead goes anywhere.", 14, false)
	}
	high := max(at-y-20, 106)
	s.c.box(12, y, right-12, high, "")
	for i, line := range wrapped(k.Dial, 10) {
		s.c.words((12+right)/2, y+20+17*float64(i), "middle", line, 14, true)
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
