package main

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"

	"coilside/engine/circuit"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/session"

	"go.yaml.in/yaml/v3"
)

//go:embed scenarios.yaml
var scenarioFile []byte

// scenario is one invented job of the demonstration.
type scenario struct {
	ID      string            `yaml:"id"`
	Title   string            `yaml:"title"`
	Story   string            `yaml:"story"`
	Opening map[string]any    `yaml:"opening"`
	Wiring  map[string]string `yaml:"wiring"`
	Faults  []string          `yaml:"faults"`
}

func scenarios() ([]scenario, error) {
	var file struct {
		Scenarios []scenario `yaml:"scenarios"`
	}
	d := yaml.NewDecoder(bytes.NewReader(scenarioFile))
	d.KnownFields(true)
	if err := d.Decode(&file); err != nil {
		return nil, fmt.Errorf("the scenarios cannot be read: %w", err)
	}
	return file.Scenarios, nil
}

// open is the opening as a call takes it, without the complaint.
func (s scenario) open() (session.OpenRequest, error) {
	var o session.OpenRequest
	text, err := json.Marshal(s.Opening)
	if err != nil {
		return o, err
	}
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&o); err != nil {
		return o, fmt.Errorf("scenario %s: %w", s.ID, err)
	}
	return o, nil
}

// hide makes the scenario's vehicle with a fault picked by seed, and gives the
// complaint a customer would bring. A fault that shows nothing on the vehicle the
// seed makes is passed over for the next.
func (s scenario) hide(book *rules.Book, model *circuit.Model, seed uint64) (*vehicle.Vehicle, string, error) {
	o, err := s.open()
	if err != nil {
		return nil, "", err
	}
	wiring, known := s.truth(o)
	for i := range uint64(len(s.Faults)) {
		fault := s.Faults[(seed+i)%uint64(len(s.Faults))]
		v, err := vehicle.New(vehicle.Options{Book: book, Model: model, Wiring: wiring, Known: known, Faults: []string{fault}, Seed: seed})
		if err != nil {
			return nil, "", fmt.Errorf("scenario %s: %w", s.ID, err)
		}
		if complaint := v.Complaint(); complaint != "" {
			return v, complaint, nil
		}
	}
	return nil, "", fmt.Errorf("scenario %s: no fault shows with seed %d", s.ID, seed)
}

// truth is the wiring and the numbers that are fixed: what the opening says and
// what is true beside it.
func (s scenario) truth(o session.OpenRequest) (map[string]string, map[string]float64) {
	wiring, known := map[string]string{}, map[string]float64{}
	c := o.Circuit
	for id, v := range map[string]string{
		"contact": c.Contact, "control_side": c.ControlSide, "power_enters": c.PowerEnters, "load_side": c.LoadSide,
		"coil_supply": c.CoilSupply, "coil_positive": c.CoilPositive, "feed_fuse_at": c.FeedFuseAt,
		"suppression": c.Suppression, "load_kind": c.Load.Kind,
	} {
		if v != "" {
			wiring[id] = v
		}
	}
	if c.SystemVolts != nil {
		wiring["system_volts"] = fmt.Sprint(*c.SystemVolts)
	}
	if c.Load.Amps != nil {
		known["load_amps"] = *c.Load.Amps
	}
	for id, v := range s.Wiring {
		wiring[id] = v
	}
	return wiring, known
}
