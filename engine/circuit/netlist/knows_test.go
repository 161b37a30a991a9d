package netlist

import (
	"testing"

	"coilside/rules"
)

func TestKnows(t *testing.T) {
	plain := rules.Effect{To: "coil", Open: true}
	held := rules.Effect{To: "control", Hold: "upside_down"}
	for _, c := range []struct {
		effects []rules.Effect
		want    bool
	}{
		{nil, true}, {[]rules.Effect{plain}, true}, {[]rules.Effect{{OneOf: []rules.Effect{plain, plain}}}, true},
		{[]rules.Effect{held}, false}, {[]rules.Effect{plain, {AllOf: []rules.Effect{held}}}, false},
	} {
		if got := Knows(c.effects); got != c.want {
			t.Errorf("%+v: %v, want %v", c.effects, got, c.want)
		}
	}
}
