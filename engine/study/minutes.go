package study

import (
	"bytes"
	"embed"
	"encoding/json"
	"fmt"
	"maps"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"coilside/rules"
)

//go:embed testdata/minutes.yaml testdata/practice.yaml
var tables embed.FS

// byAccess are minutes for a relay under the bonnet, under the dash, under the vehicle.
type byAccess = [3]float64

// Minutes is what tests cost, from one fixed table that no policy can change.
type Minutes struct {
	Open   map[string]byAccess `yaml:"open"`
	BackTo map[string]byAccess `yaml:"back_to"`
	Change map[string]byAccess `yaml:"change"`
	Do     map[string]byAccess `yaml:"do"`
}

// readTable reads one of the tables that belong to the study. Errors name the file.
func readTable(name string, into any) error {
	data, err := tables.ReadFile(path.Join("testdata", name))
	if err != nil {
		return err
	}
	d := yaml.NewDecoder(bytes.NewReader(data))
	d.KnownFields(true)
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return nil
}

// ReadMinutes reads the table of minutes.
func ReadMinutes() (*Minutes, error) {
	m := &Minutes{}
	return m, readTable("minutes.yaml", m)
}

// Ledger charges the tests of one job: getting at a place is dear the first time and
// cheap later, a change of setup is paid once, and further tests in the same setup at
// the same place cost little.
type Ledger struct {
	table  *Minutes
	access int
	opened map[string]bool
	at     []string // places that leads and hands are at
	setup  rules.Setup
	Total  float64
}

// NewLedger starts beside a vehicle with its relay in and everything off.
func NewLedger(table *Minutes, access int) *Ledger {
	return &Ledger{table: table, access: access, opened: map[string]bool{}, setup: rules.Setup{Relay: "in", Key: "off", Command: "off"}}
}

// Charge adds the minutes of a test to the total and returns them.
func (l *Ledger) Charge(m rules.Measure, s rules.Setup) float64 {
	minutes := l.act(m)
	if m.Mode != rules.Ask {
		at := spots(m, s.Relay != l.setup.Relay)
		minutes += l.change(s)
		for _, spot := range at {
			switch {
			case slices.Contains(l.at, spot):
			case l.opened[spot]:
				minutes += l.table.BackTo[spot][l.access]
			default:
				minutes += l.table.Open[spot][l.access]
				l.opened[spot] = true
			}
		}
		if len(at) > 0 {
			l.at = at
		}
	}
	l.Total += minutes
	return minutes
}

// change is what it takes to come to a setup, which is then the present one.
func (l *Ledger) change(s rules.Setup) float64 {
	minutes, was := 0.0, l.setup
	cost := func(name string) float64 { return l.table.Change[name][l.access] }
	switch {
	case s.Relay == was.Relay:
	case s.Relay == "bench" || was.Relay == "bench":
		minutes += cost("bench")
		if s.Relay == "in" || was.Relay == "in" {
			minutes += cost("relay")
		}
	default:
		minutes += cost("relay")
	}
	if s.Key != was.Key {
		minutes += cost("key")
	}
	if s.Command != was.Command {
		minutes += cost("command")
	}
	if s.Relay == "bench" && s.Coil != was.Coil {
		minutes += cost("coil")
	}
	for _, part := range slices.Compact(slices.Sorted(slices.Values(slices.Concat(s.Unplugged, was.Unplugged)))) {
		if slices.Contains(s.Unplugged, part) != slices.Contains(was.Unplugged, part) {
			minutes += cost("plug")
		}
	}
	now, before := conditions(s), conditions(was)
	for _, id := range slices.Sorted(maps.Keys(l.table.Change)) {
		if now[id] != before[id] {
			minutes += cost(id)
		}
	}
	l.setup = s
	return minutes
}

// conditions are what a setup says beside relay, key, command and parts, such as heat:
// whatever there is, by its name.
func conditions(s rules.Setup) map[string]any {
	s.Relay, s.Key, s.Command, s.Coil, s.Unplugged = "", "", "", "", nil
	all := map[string]any{}
	data, err := json.Marshal(s)
	if err == nil {
		err = json.Unmarshal(data, &all)
	}
	if err != nil {
		panic(err) // a setup is made of words
	}
	delete(all, "relay")
	delete(all, "key")
	delete(all, "command")
	return all
}

// act is what the test itself takes.
func (l *Ledger) act(m rules.Measure) float64 {
	kind := string(m.Mode)
	if m.Mode == rules.AmpsDC && m.How == "series" {
		kind = "amps_in_series"
	}
	minutes := l.table.Do[kind][l.access]
	for _, place := range []string{m.Red, m.Black} {
		if strings.HasPrefix(place, "back.") {
			minutes += l.table.Do["back_probe"][l.access]
		}
	}
	if m.During == "wiggle" {
		minutes += l.table.Do["wiggle"][l.access]
	}
	return minutes
}

// spots are the parts of the vehicle that a test needs to get at. The battery's posts
// are reached by a long lead from anywhere, and count only where nothing else does.
// A relay that is pulled or refitted for it is one of them.
func spots(m rules.Measure, relayMoved bool) []string {
	found := map[string]bool{}
	for _, place := range []string{m.Red, m.Black, m.At, m.From, m.To} {
		if spot := spotOf(place); spot != "" {
			found[spot] = true
		}
	}
	if relayMoved || m.During == "wiggle" || m.Mode == rules.Reseat || m.Mode == rules.Swap {
		found["relay"] = true
	}
	if len(found) > 1 {
		delete(found, "battery")
	}
	var out []string
	for _, spot := range []string{"relay", "fuses", "load", "control", "battery"} {
		if found[spot] {
			out = append(out, spot)
		}
	}
	return out
}

func spotOf(place string) string {
	head, _, _ := strings.Cut(place, ".")
	switch {
	case head == "":
		return ""
	case head == "socket" || head == "back" || head == "relay" || strings.HasPrefix(head, "terminal_"):
		return "relay"
	case strings.HasSuffix(head, "_fuse"):
		return "fuses"
	case strings.HasPrefix(head, "load"):
		return "load"
	case strings.HasPrefix(head, "control"):
		return "control"
	}
	return "battery" // its posts, the body, and what lies on the way
}
