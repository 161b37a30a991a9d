package page_test

import (
	"context"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
	"coilside/rulesets"
	"coilside/session"
	"coilside/transport"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func loadShipped() (*rules.Book, error) {
	return rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
}

var (
	shipped   = sync.OnceValues(loadShipped)
	knowledge = sync.OnceValues(func() (*diagnosis.Knowledge, error) {
		book, err := shipped()
		if err != nil {
			return nil, err
		}
		return diagnosis.Compile(book)
	})
)

// line is a listener that can be cut, as a network is.
type line struct {
	net.Listener

	mu   sync.Mutex
	down bool
	all  []net.Conn
}

func (l *line) Accept() (net.Conn, error) {
	for {
		conn, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		l.mu.Lock()
		down := l.down
		if !down {
			l.all = append(l.all, conn)
		}
		l.mu.Unlock()
		if !down {
			return conn, nil
		}
		_ = conn.Close()
	}
}

// cut ends all connections and lets none in until mend.
func (l *line) cut() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.down = true
	for _, conn := range l.all {
		_ = conn.Close()
	}
	l.all = nil
}

func (l *line) mend() {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.down = false
}

// shop is a service without a disk, and the line to it.
type shop struct {
	url  string
	line *line
	jobs *session.Service
}

func openShop(t *testing.T, with ...func(*transport.Options)) *shop {
	t.Helper()
	book, err := shipped()
	require.NoError(t, err)
	jobs, err := session.New(session.Options{Book: book, Reload: loadShipped, MostResident: 1})
	require.NoError(t, err)
	l, err := transport.Listen("127.0.0.1:0", false)
	require.NoError(t, err)
	s := &shop{line: &line{Listener: l}, jobs: jobs}
	o := transport.Options{Service: jobs, Listener: s.line, Log: zerolog.New(io.Discard), Limits: transport.DefaultLimits}
	for _, change := range with {
		change(&o)
	}
	server := transport.New(o)
	s.url = server.URL()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- server.Serve(ctx) }()
	t.Cleanup(func() {
		stop()
		select {
		case <-done:
		case <-time.After(time.Minute):
			assert.Fail(t, "the server did not stop")
		}
	})
	return s
}

// view is a job as the service has it.
func (s *shop) view(t *testing.T, job string) session.JobView {
	t.Helper()
	view, err := s.jobs.Show(t.Context(), session.JobRequest{Job: job})
	require.NoError(t, err)
	return view
}

// fan is an invented job: a fan fed by a relay, all of its wiring known.
func fan(moves bool) session.OpenRequest {
	volts, ohms, amps, seed := 12.0, 85.0, 15.0, uint64(7)
	return session.OpenRequest{Complaint: "dead", Label: "parcel van, radiator fan (invented)", Seed: &seed, Circuit: session.CircuitSpec{
		Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadOn: "87", LoadSide: "ground", Labels: "din", Suppression: "none", SystemVolts: &volts,
		Driver: "switch", CoilOhms: &ohms, CoilSupply: "ignition", CoilPositive: "86", FeedFuseAt: "before_relay",
		Load: session.LoadSpec{Kind: "motor", Amps: &amps, Moves: &moves, Hazard: "none"},
	}}
}

// fanWiring is that fan as the simulated vehicle takes it.
var fanWiring = map[string]string{
	"contact": "make", "control_side": "ground", "power_enters": "30", "load_side": "ground", "suppression": "none", "system_volts": "12",
	"coil_supply": "ignition", "coil_positive": "86", "feed_fuse_at": "before_relay", "load_kind": "motor",
}

// newVehicle hides a fault in that fan.
func newVehicle(t *testing.T, fault string) *vehicle.Vehicle {
	t.Helper()
	k, err := knowledge()
	require.NoError(t, err)
	v, err := vehicle.New(vehicle.Options{Book: k.Book(), Model: k.Model(), Wiring: fanWiring, Known: map[string]float64{"load_amps": 15}, Faults: []string{fault}, Seed: 3})
	require.NoError(t, err)
	require.Equal(t, "dead", v.Complaint())
	return v
}

// open opens a job over the service itself.
func (s *shop) open(t *testing.T, o session.OpenRequest) session.Opened {
	t.Helper()
	opened, err := s.jobs.Open(t.Context(), o)
	require.NoError(t, err)
	return opened
}
