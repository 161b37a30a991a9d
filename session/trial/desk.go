// Package trial plays the jobs of the study against a whole service, as a program
// would that can neither read nor speak: it acts on measure and setup of the test
// proposed and on nothing else, and requests and replies pass through JSON.
package trial

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/engine/study"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/session"
)

// Desk is one job of a service. It is a study.Desk.
type Desk struct {
	Service *session.Service
	Job     string // the service's id of it
	book    *rules.Book
	now     reply
}

// reply is all that is taken from what the service says.
type reply struct {
	Next *struct {
		ID      string        `json:"id"`
		Measure rules.Measure `json:"measure"`
		Setup   rules.Setup   `json:"setup"`
	} `json:"next"`
	Conclusion *struct {
		Kind        string   `json:"kind"`
		Suspects    []string `json:"suspects"`
		Probability float64  `json:"probability"`
	} `json:"conclusion"`
	Proof *struct {
		Tests []struct {
			State string `json:"state"`
		} `json:"tests"`
		Proven bool `json:"proven"`
	} `json:"proof_of_repair"`
}

// Open opens a job of the study at a service.
func Open(s *session.Service, book *rules.Book, j *study.Job) (*Desk, error) {
	d := &Desk{Service: s, book: book}
	var opened struct {
		Job   string `json:"job"`
		Reply reply  `json:"reply"`
	}
	err := Through(s.Open, opening(j), &opened)
	d.Job, d.now = opened.Job, opened.Reply
	return d, err
}

// Through makes a call with everything passed through JSON.
func Through[Q, A any](call func(context.Context, Q) (A, error), request map[string]any, reply any) error {
	data, err := json.Marshal(request)
	if err != nil {
		return err
	}
	var q Q
	if err := json.Unmarshal(data, &q); err != nil {
		return err
	}
	a, err := call(context.Background(), q)
	if err != nil {
		return err
	}
	if data, err = json.Marshal(a); err != nil {
		return err
	}
	return json.Unmarshal(data, reply)
}

// ofTheLoad are facts that a job's opening takes as a part of the load.
var ofTheLoad = map[string]string{"load_kind": "kind", "load_hazard": "hazard"}

// notAtTheOpening are facts of a vehicle that no field of the opening takes.
var notAtTheOpening = map[string]bool{"relay_access": true, "power_leaves": true}

// opening says what the study tells of the circuit.
func opening(j *study.Job) map[string]any {
	circuit, load := map[string]any{}, map[string]any{}
	for id, value := range j.Facts {
		var is any = value.Text
		if value.Kind == rules.Number {
			is = value.Number
		}
		switch field, ok := ofTheLoad[id]; {
		case ok:
			load[field] = is
		case !notAtTheOpening[id]:
			circuit[id] = is
		}
	}
	if leaves, ok := j.Facts["power_leaves"]; ok { // the load hangs where power leaves, or where it enters
		if side, ok := j.Facts["load_side"]; ok && side.Text == "ground" {
			circuit["load_on"] = leaves.Text
		}
	}
	load["moves"] = j.Number%2 == 0
	circuit["load"] = load
	return map[string]any{"complaint": j.Complaint, "circuit": circuit, "seed": j.DrawSeed(),
		"label": j.Stratum.ID + " " + strconv.Itoa(j.Number)}
}

// Next is the test that the service proposes.
func (d *Desk) Next() (vehicle.Taken, bool) {
	next := d.now.Next
	if next == nil {
		return vehicle.Taken{}, false
	}
	t, ok := d.book.Test(next.ID)
	return vehicle.Taken{Test: t, Measure: next.Measure, Setup: next.Setup}, ok
}

// Record tells the service the answer.
func (d *Desk) Record(t vehicle.Taken) error {
	return d.call(d.Service.Record, map[string]any{"test": t.Test.ID, "answer": wire(t.Measure.Mode, t.Answer)})
}

// wire is an answer as it goes over the wire. A relay that never pulled over can't be
// watched letting go, and drop_out takes no OL.
func wire(mode rules.Mode, a diagnosis.Answer) any {
	switch {
	case a.Unsure, a.Over && mode == rules.DropOut:
		return "unsure"
	case a.Number != nil:
		return *a.Number
	case a.MinMax != nil:
		return map[string]float64{"min": a.MinMax[0], "max": a.MinMax[1]}
	case a.Over:
		return "OL"
	}
	return a.Choice
}

// Conclusion is what the service concludes, nil until it does.
func (d *Desk) Conclusion() (*study.Conclusion, error) {
	c := d.now.Conclusion
	if c == nil {
		return nil, nil
	}
	if len(c.Suspects) == 0 {
		return nil, fmt.Errorf("a conclusion that names nothing")
	}
	return &study.Conclusion{Kind: c.Kind, Suspects: c.Suspects, Probability: c.Probability}, nil
}

// Repair tells the service what was mended.
func (d *Desk) Repair(suspect, result string) error {
	return d.call(d.Service.Repair, map[string]any{"suspect": suspect, "action": "mended", "result": result})
}

// Prove does the tests that prove the repair, on the vehicle, and reports whether it is
// proven. A reading that speaks against it ends the proof.
func (d *Desk) Prove(v study.Answerer) (bool, error) {
	for d.now.Conclusion == nil && d.now.Next != nil && d.now.Proof != nil && !d.now.Proof.Proven {
		for _, t := range d.now.Proof.Tests {
			if t.State == "failed" {
				return false, nil
			}
		}
		next, _ := d.Next()
		var err error
		if next.Answer, err = v.Answer(next.Measure, next.Setup); err != nil {
			return false, err
		}
		if err := d.Record(next); err != nil {
			return false, err
		}
	}
	return d.now.Proof != nil && d.now.Proof.Proven, nil
}

// Close closes the job: fixed, unproven or abandoned.
func (d *Desk) Close(outcome string) error {
	return d.call(d.Service.Close, map[string]any{"outcome": outcome})
}

// Probability is what the service believes of a suspect, alone or with others.
func (d *Desk) Probability(suspect string) (float64, error) {
	var ranked session.Suspects
	if err := Through(d.Service.Suspects, map[string]any{"job": d.Job, "limit": 200}, &ranked); err != nil {
		return 0, err
	}
	sum := 0.0
	for _, s := range ranked.Suspects {
		if slices.Contains(strings.Split(s.Suspect, " + "), suspect) {
			sum += s.Probability
		}
	}
	return sum, nil
}

// Forbids is unknown to one who only follows the service.
func (d *Desk) Forbids(string) bool { return false }

// call makes a call that writes to the job and takes in the reply.
func (d *Desk) call(call any, request map[string]any) error {
	request["job"] = d.Job
	d.now = reply{}
	switch f := call.(type) {
	case func(context.Context, session.RecordRequest) (session.Reply, error):
		return Through(f, request, &d.now)
	case func(context.Context, session.RepairRequest) (session.Reply, error):
		return Through(f, request, &d.now)
	case func(context.Context, session.CloseRequest) (session.Reply, error):
		return Through(f, request, &d.now)
	}
	return fmt.Errorf("no such call: %T", call)
}
