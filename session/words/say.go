package words

import (
	"math"
	"strconv"
	"strings"

	"coilside/rules"
)

// say is the sentence read back for a finding.
func (c *call) say(f Finding) string {
	switch f.Kind {
	case KindFact:
		return c.factWords(f)
	case KindComplaint:
		return "complaint: " + strings.ReplaceAll(f.Complaint, "_", " ")
	}
	head := c.sayMeasure(f.Measure, f.Answer)
	if f.Measure.Mode == rules.Ask {
		return head
	}
	if f.Hedge != "" {
		head = "about " + head
	}
	if f.Answer.Choice != "" || f.Answer.Over || f.Measure.Mode == rules.PullIn || f.Measure.Mode == rules.DropOut {
		head = strings.TrimPrefix(head, "about ")
	}
	return head + saySetup(f.Setup, f.Measure.Mode)
}

func (c *call) sayMeasure(m rules.Measure, a Answer) string {
	v := sayAnswer(m.Mode, a)
	switch m.Mode {
	case rules.VoltsDC, rules.MinMax, rules.TestLamp:
		if m.Mode == rules.TestLamp {
			v = "lamp " + v
		}
		if m.During != "" {
			v += " " + duringWords[m.During]
		}
		if reference(m.Black) {
			return v + " at " + c.spotName(m.Red)
		}
		return v + " from " + c.spotName(m.Red) + " to " + c.spotName(m.Black)
	case rules.Ohms:
		return v + " between " + c.spotName(m.Red) + " and " + c.spotName(m.Black)
	case rules.AmpsDC:
		return v + " at " + c.spotName(m.At)
	case rules.Bridge:
		return "bridged " + c.spotName(m.From) + " to " + c.spotName(m.To) + ": " + v
	case rules.Watch:
		if m.During != "" {
			return v + " " + duringWords[m.During]
		}
		return v
	case rules.Listen:
		return "relay: " + v
	case rules.Reseat:
		return "relay taken out and put back: " + v
	case rules.Swap:
		return "another relay fitted: " + v
	case rules.Look:
		return placeName(m.At) + ": " + v
	case rules.PullIn:
		return "pulls in at " + v
	case rules.DropOut:
		return "drops out at " + v
	}
	return v
}

func sayAnswer(m rules.Mode, a Answer) string {
	switch {
	case a.Over && (m == rules.PullIn || m == rules.DropOut):
		return "no voltage, never"
	case a.Over:
		return "OL (open)"
	case a.MinMax != nil:
		return formatNumber(a.MinMax[0]) + " to " + formatNumber(a.MinMax[1]) + " V"
	case a.Number != nil:
		return sayNumber(m, *a.Number)
	}
	return strings.ReplaceAll(a.Choice, "_", " ")
}

// sayNumber writes a number with its unit, in milli or kilo where that reads
// better.
func sayNumber(m rules.Mode, v float64) string {
	u := map[rules.Mode]string{rules.Ohms: "Ω", rules.AmpsDC: "A"}[m]
	if u == "" {
		u = "V"
	}
	switch a := math.Abs(v); {
	case a >= 1e6 && u == "Ω":
		return formatNumber(v/1e6) + " MΩ"
	case a >= 1e3 && u == "Ω":
		return formatNumber(v/1e3) + " kΩ"
	case a > 0 && a < 0.1:
		return formatNumber(v*1e3) + " m" + u
	}
	return formatNumber(v) + " " + u
}

func formatNumber(v float64) string {
	s := strconv.FormatFloat(v, 'g', 10, 64)
	if p, err := strconv.ParseFloat(s, 64); err == nil && math.Abs(p) < 1e15 && math.Abs(p) >= 1e-9 {
		s = strconv.FormatFloat(p, 'f', -1, 64)
	}
	return strings.Replace(s, "-", "−", 1)
}

func saySetup(s rules.Setup, m rules.Mode) string {
	switch m {
	case rules.Reseat, rules.Swap, rules.Look, rules.PullIn, rules.DropOut:
		return ""
	}
	if s.Relay == "bench" {
		if s.Coil == "energised" {
			return ", on the bench, coil energised" + ConditionWords(s)
		}
		return ", on the bench" + ConditionWords(s)
	}
	out := ""
	if s.Relay != "" {
		out += ", " + relayWords[s.Relay]
	}
	if s.Key != "" {
		out += ", key " + s.Key
	}
	if s.Command != "" && m != rules.Listen {
		out += ", switched " + s.Command
	}
	return out + ConditionWords(s)
}

// spotName is a place in words, with the job's own mark beside a terminal.
func (c *call) spotName(place string) string {
	r := role(place)
	if r == "" {
		return placeName(place)
	}
	if m := markOf(r, c.ctx.Labels); m != "" {
		return r + " (marked " + strings.ToUpper(m) + ")"
	}
	return r
}

var placeNames = map[string]string{
	"battery.positive": "battery positive", "battery.negative": "battery negative", "chassis": "the chassis",
	"load.in": "the load's supply side", "load.out": "the load's ground side",
	"feed_fuse.in": "the supply side of the load's fuse", "feed_fuse.out": "the load side of the load's fuse",
	"coil_fuse.in": "the supply side of the coil's fuse", "coil_fuse.out": "the far side of the coil's fuse",
	"control.in": "the supply side of the control", "control.out": "the ground side of the control",
	"load_ground_point": "the load's ground point", "coil_ground_point": "the coil's ground point",
	"load_part.in": "the unplugged load's supply terminal", "load_part.out": "its ground terminal",
	"control_part.in": "the unplugged control's supply terminal", "control_part.out": "its far terminal",
	"feed_fuse": "the load's fuse", "coil_fuse": "the coil's fuse", "load": "the load", "control": "the control", "battery": "the battery",
}

func placeName(place string) string {
	if n, ok := placeNames[place]; ok {
		return n
	}
	return strings.NewReplacer(".", " ", "_", " ").Replace(place)
}

// placeWords names places as far as they were said.
func (c *call) placeWords(refs []placeRef) string {
	var out []string
	for _, p := range refs {
		for _, s := range p.spots {
			switch {
			case s.role != "":
				out = append(out, c.spotName("socket."+s.role))
			case s.abs != "":
				out = append(out, placeName(s.abs))
			default:
				out = append(out, "the "+strings.ReplaceAll(s.part, "_", " "))
			}
		}
	}
	return strings.Join(out, " and ")
}

func upper(s string) string {
	if s == "" || s[0] >= 0x80 {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
