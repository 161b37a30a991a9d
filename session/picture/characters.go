package picture

import (
	"strings"
	"unicode/utf8"
)

// The face of the socket in characters: three columns of cells in a frame.
const (
	cellWide = 22
	frame    = 3*cellWide + 2
)

// faceRows is how the cavities lie: 86 and 85 beside, 87, 87a and 30 in the middle.
var faceRows = [][3]string{{"", "87", ""}, {"86", "87a", "85"}, {"", "30", ""}}

// Characters draws the face of the socket in plain characters, at most 70 wide, for a
// terminal.
func (k *Socket) Characters() string {
	edge := "+" + strings.Repeat("-", frame) + "+"
	lines := []string{k.Title, edge}
	for _, row := range faceRows {
		cells := [3][]string{}
		tall := 1
		for i, t := range row {
			cells[i] = k.cell(t)
			tall = max(tall, len(cells[i]))
		}
		for y := range tall {
			line := ""
			for _, c := range cells {
				text := ""
				if y < len(c) {
					text = c[y]
				}
				line += centred(text, cellWide)
			}
			lines = append(lines, "| "+line+" |")
		}
		lines = append(lines, "|"+strings.Repeat(" ", frame)+"|")
	}
	lines[len(lines)-1] = edge
	lines = append(lines, wrapped("Seen from the side the relay plugs into. "+goByMarks, frame+2)...)
	for _, note := range k.Notes {
		lines = append(lines, wrapped(note, frame+2)...)
	}
	return strings.Join(lines, "\n")
}

// cell is what is written of one cavity: its mark, the lead that goes there, what it does,
// the last two readings, and a suspicion.
func (k *Socket) cell(t string) []string {
	there := false
	for _, has := range k.Terminals {
		there = there || has == t
	}
	if !there {
		return nil
	}
	name := t
	if mark := k.Marks[t]; mark != "" {
		name = mark + " (DIN " + t + ")"
	}
	out := []string{"[ " + name + " ]"}
	for _, l := range k.Leads {
		if terminalOf(l.Place) == t && strings.Contains(l.Place, ".") {
			out = append(out, "> "+strings.ToUpper(l.Kind)+" <")
		}
	}
	if role := k.Roles[t]; role != "" {
		out = append(out, role)
	}
	var texts []string
	for _, f := range k.Flags {
		if terminalOf(f.Place) == t {
			texts = append(texts, flagText(f))
		}
	}
	out = append(out, texts[max(0, len(texts)-2):]...)
	if s, ok := k.Suspects[t]; ok {
		out = append(out, wrapped("! "+s.Words, cellWide-2)...)
	}
	return out
}

func centred(text string, wide int) string {
	if r := []rune(text); len(r) > wide-1 {
		text = string(r[:wide-2]) + "…"
	}
	gap := wide - utf8.RuneCountInString(text)
	return strings.Repeat(" ", gap/2) + text + strings.Repeat(" ", gap-gap/2)
}
