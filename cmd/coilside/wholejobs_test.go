package main

import (
	"io"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.yaml.in/yaml/v3"

	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/engine/vehicle"
	"coilside/session"
)

// wholeJob is one script: what the customer says, what is told of the circuit, and what is
// hidden in the simulated vehicle that answers.
type wholeJob struct {
	Complaint string         `yaml:"complaint"`
	Hidden    string         `yaml:"hidden"`
	Seed      uint64         `yaml:"seed"`
	Opening   map[string]any `yaml:"opening"`
	Wiring    map[string]string
}

// Twelve whole jobs, played in the technician's words from the complaint to the record: the
// fault is found and mended, the repair is proven, the job closed as fixed, and both records
// say so. They span all complaints, both voltages and both sides of the control.
func TestWholeJobsToTheRecord(t *testing.T) {
	data, err := os.ReadFile("testdata/wholejobs.yaml")
	require.NoError(t, err)
	var jobs []wholeJob
	require.NoError(t, yaml.Unmarshal(data, &jobs))
	require.Len(t, jobs, 12)
	book, err := (&setup{}).loadBook()
	require.NoError(t, err)
	knowledge, err := diagnosis.Compile(book)
	require.NoError(t, err)
	var complaints, spans []string
	for _, w := range jobs {
		s := scenario{ID: w.Hidden, Opening: w.Opening, Wiring: w.Wiring}
		o, err := s.open()
		require.NoError(t, err)
		o.Complaint, o.Seed = w.Complaint, &w.Seed
		complaints, spans = append(complaints, w.Complaint), append(spans, figure(*o.Circuit.SystemVolts)+" "+o.Circuit.ControlSide)
		t.Run(w.Complaint+" "+w.Hidden, func(t *testing.T) {
			wiring, known := s.truth(o)
			v := hiding(t, vehicle.Options{Book: book, Model: knowledge.Model(), Wiring: wiring, Known: known, Faults: []string{w.Hidden}, Seed: w.Seed}, w.Complaint)
			now := time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC)
			service, err := session.New(session.Options{Book: book, Clock: func() time.Time { now = now.Add(2 * time.Minute); return now }})
			require.NoError(t, err)
			opened, err := service.Open(t.Context(), o)
			require.NoError(t, err)
			var said strings.Builder
			p := &player{service: service, vehicle: v, job: opened.Job, rng: rand.New(rand.NewPCG(w.Seed, 77)), out: io.MultiWriter(&said), reply: opened.Reply}
			require.NoError(t, p.work(t.Context()))
			checkRecord(t, service, opened.Job, w, v, said.String())
		})
	}
	for _, complaint := range rank.Complaints {
		assert.Contains(t, complaints, complaint)
	}
	for _, span := range []string{"12 ground", "12 positive", "24 ground", "24 positive"} {
		assert.Contains(t, spans, span)
	}
}

// hiding makes a vehicle of which a customer has that complaint.
func hiding(t *testing.T, o vehicle.Options, complaint string) *vehicle.Vehicle {
	t.Helper()
	first := o.Seed
	for ; o.Seed < first+500; o.Seed++ {
		v, err := vehicle.New(o)
		require.NoError(t, err)
		if v.Complaint() == complaint {
			return v
		}
	}
	require.Fail(t, "no vehicle with that fault makes that complaint")
	return nil
}

func checkRecord(t *testing.T, service *session.Service, job string, w wholeJob, v *vehicle.Vehicle, said string) {
	t.Helper()
	r, err := service.Report(t.Context(), session.ReportRequest{Job: job, Format: "json"})
	require.NoError(t, err)
	record := r.Record
	if !assert.Equal(t, "fixed", record.Outcome) {
		t.Log(said)
		return
	}
	assert.Empty(t, v.Faults(), "the hidden fault is mended")
	assert.True(t, record.Proof.Proven)
	assert.True(t, slices.ContainsFunc(record.Done, func(d session.RecordRepair) bool { return d.Result == "the complaint is gone" }))
	require.NotNil(t, record.Found, "what was found was proved by readings")
	assert.NotEmpty(t, record.Readings)
	assert.NotNil(t, record.Ended)
	if w.Complaint == "intermittent" || w.Complaint == "drops_out_hot" {
		last := record.Proof.Tests[len(record.Proof.Tests)-1].Test
		assert.Contains(t, []string{"watch_wiggle", "watch_wiggle_at_rest", "watch_hot", "watch_hot_at_rest"}, last, "proven under the condition that provoked it")
	}
	for _, whom := range []string{"file", "customer"} {
		page, err := service.Report(t.Context(), session.ReportRequest{Job: job, Format: "html", For: whom})
		require.NoError(t, err)
		assert.True(t, strings.Contains(page.Text, "Signed"), whom)
	}
	page, err := service.Report(t.Context(), session.ReportRequest{Job: job, For: "customer"})
	require.NoError(t, err)
	assert.Contains(t, page.Text, "the circuit works as it should")
}
