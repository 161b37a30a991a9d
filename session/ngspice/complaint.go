package ngspice

import (
	"coilside/engine/circuit/netlist"
	"coilside/rules"
)

// Complaint is what a customer would say is wrong, "" where nothing shows: from how
// the load runs commanded and not, and with the coil hot.
func (v *Vehicle) Complaint() string {
	n, err := v.there(true)
	if err != nil {
		return ""
	}
	is := v.presents(n)
	if is != "" && n.Chance < 0.85 {
		return "intermittent"
	}
	return is
}

func (v *Vehicle) presents(n *netlist.Numbers) string {
	on, blown := v.watch(n, "on")
	off, _ := v.watch(n, "off")
	switch {
	case blown:
		return "blows_fuse"
	case on == "comes_and_goes" || off == "comes_and_goes":
		return "chatters"
	case off != "off" && on == "off":
		return "inverted"
	case off != "off":
		return "stays_on"
	case on != "runs":
		return map[string]string{"off": "dead", "weak": "weak"}[on]
	}
	if hot, _ := v.watch(n.AtCelsius(95), "on"); hot == "off" {
		return "drops_out_hot"
	}
	return ""
}

// watch is how the load runs under a command in ordinary use, and whether a fuse has
// gone that was whole.
func (v *Vehicle) watch(n *netlist.Numbers, command string) (is string, blown bool) {
	m := rules.Measure{Mode: rules.Watch}
	r, err := v.solve(n, m, rules.Setup{Relay: "in", Key: "on", Command: command})
	if err != nil {
		return "runs", false // shows nothing: such a vehicle is no job
	}
	for _, f := range r.Blown {
		blown = blown || !n.Open[f]
	}
	return v.runs(rules.Watch, n, m, r), blown
}
