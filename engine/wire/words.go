package wire

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"coilside/engine/inrush"
	"coilside/engine/quantity"
	"coilside/rules"
)

// parts picks the relay and the connector.
func (p *plan) parts(fuse Fuse) (RelaySize, Connector, error) {
	needed, err := inrush.Rating(p.book, p.kind, p.amps)
	if err != nil {
		return RelaySize{}, Connector{}, err
	}
	column := fmt.Sprintf("amps_%s", quantity.Plain(p.volts))
	relay, err := p.smallest("relay_sizes", column, needed.Amps)
	if err != nil {
		return RelaySize{}, Connector{}, err
	}
	blade, err := p.smallest("blades", "amps", max(p.amps, fuse.Amps/p.overLoad))
	if err != nil {
		return RelaySize{}, Connector{}, err
	}
	return RelaySize{Size: relay, NeededAmps: needed.Amps, Because: needed.Because},
		Connector{Blade: blade, Because: fmt.Sprintf("the contact's blades carry %s A for long", quantity.Plain(p.amps))}, nil
}

// smallest gives the key of the row with the least amperes that suffice.
func (p *plan) smallest(id, column string, amps float64) (string, error) {
	table, err := p.book.Table(id, column)
	if err != nil {
		return "", err
	}
	rows := slices.Clone(table.Rows)
	of := func(r *rules.Row) float64 { a, _ := r.Number(column); return a }
	slices.SortStableFunc(rows, func(a, b *rules.Row) int { return cmp.Compare(of(a), of(b)) })
	for _, r := range rows {
		if of(r) >= amps {
			return r.Key, nil
		}
	}
	return "", &quantity.FieldError{Field: "amps",
		Message: fmt.Sprintf("amps is %s A: nothing in the table %q is rated for the %s A that this load needs", quantity.Plain(p.amps), id, quantity.Plain(amps))}
}

// options tells what the other published limits of the drop would give.
func (p *plan) options(out *Sizing, awg, metric []size) {
	for _, id := range []string{"wire_drop_critical", "wire_drop_other"} {
		limit, _ := p.book.Parameter(id)
		if limit.Value == p.percent {
			continue
		}
		other := *p
		other.percent = limit.Value
		factor, _ := p.factor()
		leg := other.leg(p.amps, p.length+p.back)
		a, noAWG := other.choose(leg, awg, factor, out.Fuse.Amps/p.overWire)
		m, noMetric := other.choose(leg, metric, factor, out.Fuse.Amps/p.overWire)
		if noAWG == nil && noMetric == nil {
			out.Options = append(out.Options, LegOther{DropPercent: limit.Value, AWG: a.Size, MM2: m.Size, Source: limit.Source})
		}
	}
}

func (p *plan) words(out *Sizing) {
	w := out.Load
	lines := []string{
		fmt.Sprintf("Load side: %s AWG or %s mm². %s.", w.AWG.Size, w.MM2.Size, decided(w.AWG.Because, p.percent)),
		fmt.Sprintf("Expect %s V lost out and back at %s A with %s AWG (%s %%), %s V with %s mm².",
			two(w.AWG.DropVolts), quantity.Plain(p.amps), w.AWG.Size, quantity.Plain(w.AWG.DropPct), two(w.MM2.DropVolts), w.MM2.Size),
		fmt.Sprintf("Fuse: %s A, as near to the supply as you can.", quantity.Plain(out.Fuse.Amps)),
		fmt.Sprintf("Coil side: %s AWG or %s mm².", out.Coil.AWG.Size, out.Coil.MM2.Size),
		fmt.Sprintf("Relay: %s, rated %s A or more; %s.", out.Relay.Size, quantity.Plain(out.Relay.NeededAmps), out.Relay.Because),
		fmt.Sprintf("Connector: %s.", out.Connector.Blade),
	}
	for _, o := range out.Options {
		lines = append(lines, fmt.Sprintf("With %s %% of drop allowed it would be %s AWG or %s mm².", quantity.Plain(o.DropPercent), o.AWG, o.MM2))
	}
	if len(p.taken) > 0 {
		lines = append(lines, "Not said, so I took it that "+strings.Join(p.taken, "; ")+".")
	}
	out.Text = strings.Join(lines, "\n")
	if w.AWG.ConductorC > 70 {
		out.Notes = append(out.Notes, fmt.Sprintf("The wire gets %s °C warm. Keep it off what cannot bear that.", quantity.Plain(w.AWG.ConductorC)))
	}
	if p.kind == "motor" || p.kind == "solenoid" {
		out.Notes = append(out.Notes, "This load kicks back when it is switched off. Where electronics share the supply, put a diode or resistor across it.")
	}
	out.Cautions = []string{
		"Ground off the battery before you join wires to it.",
		"Local codes and the vehicle maker's own rules come first. Fuel, brakes, steering, restraints and high voltage are for licensed people.",
		"Grommets through metal, no sharp edges, strain relief at both ends.",
	}
	out.Sources = sourcesOf(p.book, "circular_mil_factor", "wire_drop_critical", "ampacity_ambient", "copper_resistivity", "fuse_over_wire")
	for _, id := range []string{"ampacity", "metric_wire", "bundle", "inrush", "relay_overload"} {
		if t, err := p.book.Table(id); err == nil && t.Source != "" {
			out.Sources = append(out.Sources, t.Words+": "+t.Source)
		}
	}
}

func decided(because string, percent float64) string {
	return map[string]string{
		"drop":     fmt.Sprintf("The drop decides: %s %% is allowed", quantity.Plain(percent)),
		"heat":     "The wire warms up and then loses more: that decides",
		"ampacity": "The current it must carry decides",
		"fuse":     "The fuse decides: the wire must outlast it",
		"strength": "Thinner wire would do but breaks too easily",
	}[because]
}

func two(v float64) string { return fmt.Sprintf("%.2f", v) }
