package netlist

import (
	"errors"
	"fmt"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"coilside/rules"
)

// Solved is what one netlist comes to.
type Solved struct {
	Armature string   // rest, over, buzz
	Blown    []string // fuses open at the end, sorted
	Tripped  bool     // a fuse went after ordinary use, in this very setup
	Values   []float64
}

// ErrGaveUp is a transient that ngspice could not finish.
var ErrGaveUp = errors.New("ngspice gave up")

var printed = regexp.MustCompile(`(?m)^(low|high|stop|used_\w+|end_\w+|read_\d) = (\S+)\s*$`)

// Parse picks the printed values out of the output of ngspice.
func Parse(out string) (Solved, error) {
	got := map[string]float64{}
	for _, m := range printed.FindAllStringSubmatch(out, -1) {
		v, err := strconv.ParseFloat(m[2], 64)
		if err != nil {
			return Solved{}, err
		}
		got[m[1]] = v
	}
	s := Solved{Armature: "rest"}
	low, okLow := got["low"]
	high, okHigh := got["high"]
	if !okLow || !okHigh {
		return s, fmt.Errorf("%w: it printed no position of the armature", ErrGaveUp)
	}
	if got["stop"] < 0.999*readAt/1000 {
		return s, fmt.Errorf("%w at %g s", ErrGaveUp, got["stop"])
	}
	switch {
	case high-low > 0.1:
		s.Armature = "buzz"
	case low > 0.5:
		s.Armature = "over"
	}
	for name, v := range got {
		if fuse, ok := strings.CutPrefix(name, "end_"); ok && v > 0.5 {
			s.Tripped = s.Tripped || got["used_"+fuse] < 0.5
			if fuse != "jumper" {
				s.Blown = append(s.Blown, fuse)
			}
		}
	}
	sort.Strings(s.Blown)
	for i := 0; ; i++ {
		v, ok := got[fmt.Sprintf("read_%d", i)]
		if !ok {
			return s, nil
		}
		s.Values = append(s.Values, v)
	}
}

// Reading turns ngspice's raw values into what the reading is said to be: volts,
// amperes, ohms, lamp volts over nominal volts, or how well the load runs.
func Reading(n *Numbers, m rules.Measure, s Solved) (value float64, note string) {
	switch m.Mode {
	case rules.Ohms:
		if len(s.Values) == 0 || s.Values[0] >= 20e6 {
			return 0, "OL"
		}
	case rules.Bridge, rules.Watch:
		switch {
		case s.Tripped:
			return 0, "trips"
		case s.Armature == "buzz":
			return 0, "comes and goes"
		}
		load := n.Sound[n.First("load")]["ohms"]
		source := n.Sound[n.First("source")]["volts"]
		volts, amps := abs(s.Values[0])/source, abs(s.Values[1])*load/source
		return min(volts, amps), ""
	}
	if len(s.Values) == 0 {
		return 0, ""
	}
	value = s.Values[0]
	if m.Mode == rules.TestLamp {
		value = abs(value) / n.env["system_volts"].(float64)
	}
	return value, ""
}

func abs(v float64) float64 { return max(v, -v) }
