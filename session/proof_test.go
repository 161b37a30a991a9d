package session

import (
	"encoding/json"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/engine/circuit"
	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
)

// openedFor opens a job about a simulated vehicle, with all told of it that the opening takes.
func openedFor(t testing.TB, s *Service, v *vehicle.Vehicle, complaint string) string {
	t.Helper()
	fields := map[string]any{}
	for _, field := range []string{"driver", "contact", "control_side", "power_enters", "load_on", "load_side", "coil_supply", "coil_positive", "suppression", "feed_fuse_at"} {
		if is, ok := v.Wiring().Choice(field); ok {
			fields[field] = is
		}
	}
	kind, _ := v.Wiring().Choice("load_kind")
	volts, _ := v.Wiring().Choice("system_volts")
	fields["load"] = map[string]any{"kind": kind, "hazard": "none", "moves": false}
	fields["system_volts"] = json.Number(volts)
	data, err := json.Marshal(map[string]any{"complaint": complaint, "circuit": fields})
	require.NoError(t, err)
	var o OpenRequest
	require.NoError(t, json.Unmarshal(data, &o))
	return opened(t, s, o).Job
}

// proved does what the replies ask for after a repair that is said to have helped, until
// nothing more is asked or the repair is disproved, and tells whether it is proven.
func proved(t testing.TB, s *Service, v *vehicle.Vehicle, job, suspect string) (bool, []ProofTest) {
	t.Helper()
	r, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: suspect, Action: "mended", Result: "gone"})
	require.NoError(t, err)
	require.NotNil(t, r.ProofOfRepair)
	require.NotEmpty(t, r.ProofOfRepair.Tests, suspect)
	require.False(t, r.ProofOfRepair.Proven, suspect)
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: job}, Outcome: "fixed"})
	require.ErrorContains(t, err, "can't be closed as fixed", suspect)
	for range 4 {
		open := slices.IndexFunc(r.ProofOfRepair.Tests, func(p ProofTest) bool { return p.State == "open" })
		if open < 0 || slices.ContainsFunc(r.ProofOfRepair.Tests, func(p ProofTest) bool { return p.State == "failed" }) {
			break
		}
		require.NotNil(t, r.Next, suspect)
		require.Equal(t, r.ProofOfRepair.Tests[open].Test, r.Next.ID)
		a, err := v.Answer(r.Next.Measure, r.Next.Setup)
		require.NoError(t, err, "%s after %s", r.Next.ID, suspect)
		if r, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Test: r.Next.ID, Answer: Answer(a)}); err != nil {
			require.NoError(t, err)
		}
	}
	return r.ProofOfRepair.Proven, r.ProofOfRepair.Tests
}

// For every suspect that a circuit can have: where it was mended, the tests that the job asks
// for prove it; where it was not, they do not. What they should give is computed, so a
// vehicle with tolerances of its own must fit it. Seeds are fixed.
func TestProofTellsAMendedFaultFromOneStillThere(t *testing.T) {
	b := book(t)
	k, err := diagnosis.Compile(b)
	require.NoError(t, err)
	s, err := New(Options{Book: b})
	require.NoError(t, err)
	perSuspect, every := uint64(1), 3 // in the ordinary run
	if os.Getenv("COILSIDE_FULL") == "1" {
		perSuspect, every = 3, 1
	}
	var mended, mendedProven, left, leftProven int
	for i, suspect := range b.Suspects {
		if len(suspect.Does) == 0 || i%every != 0 {
			continue
		}
		for seed := range perSuspect {
			v, complaint := complaining(b, k.Model(), suspect.ID, seed)
			if v == nil {
				continue
			}
			job := openedFor(t, s, v, complaint)
			left++
			if proven, tests := proved(t, s, v, job, suspect.ID); proven {
				leftProven++
				t.Logf("%s (%s) still there, but proven by %v", suspect.ID, complaint, tests)
			}
			_, err := v.Repair(suspect.ID)
			require.NoError(t, err)
			job = openedFor(t, s, v, complaint)
			mended++
			if proven, tests := proved(t, s, v, job, suspect.ID); proven {
				mendedProven++
				_, err := s.Close(t.Context(), CloseRequest{Write: Write{Job: job}, Outcome: "fixed"})
				require.NoError(t, err)
			} else {
				t.Logf("%s (%s) mended, but not proven by %v", suspect.ID, complaint, tests)
			}
		}
	}
	t.Logf("mended: %d of %d proven; still there: %d of %d wrongly proven", mendedProven, mended, leftProven, left)
	assert.GreaterOrEqual(t, float64(mendedProven)/float64(mended), 0.95, "measured 0.98")
	assert.LessOrEqual(t, float64(leftProven)/float64(left), 0.05, "measured 0.02")
}

// complaining makes a vehicle with a fault of which a customer would complain; nil where
// no such vehicle is found.
func complaining(b *rules.Book, m *circuit.Model, suspect string, seed uint64) (*vehicle.Vehicle, string) {
	for try := range uint64(60) {
		v, err := vehicle.New(vehicle.Options{Book: b, Model: m, Faults: []string{suspect}, Seed: seed<<20 | try})
		if err != nil {
			return nil, ""
		}
		if complaint := v.Complaint(); complaint != "" {
			return v, complaint
		}
	}
	return nil, ""
}

// Rules without a circuit prove repairs by the tests they name; there is no circuit to draw.
func TestProofAndRecordWithoutACircuit(t *testing.T) {
	b, err := rules.Load(rules.Layer{Name: "lift", FS: os.DirFS("../testdata/nocircuit")})
	require.NoError(t, err)
	s, err := New(Options{Book: b})
	require.NoError(t, err)
	for _, c := range []struct {
		suspect, answer, missing string
	}{
		{"oil.low", "runs", ""},
		{"oil.low", "weak", "sound circuit gives runs"},
		{"filter.blocked", "", "No test at hand proves this repair"},
	} {
		job := opened(t, s, OpenRequest{Complaint: "slow"}).Job
		r, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: c.suspect, Action: "mended", Result: "gone"})
		require.NoError(t, err)
		if c.answer != "" {
			require.NotNil(t, r.Next)
			require.Equal(t, "rises", r.Next.ID)
			r, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Test: r.Next.ID, Answer: Answer{Choice: c.answer}})
			require.NoError(t, err)
		}
		assert.Equal(t, c.missing == "", r.ProofOfRepair.Proven)
		assert.Contains(t, r.ProofOfRepair.Missing, c.missing)
		for _, whom := range forWhoms {
			_, err := s.Report(t.Context(), ReportRequest{Job: job, Format: "html", For: whom})
			require.NoError(t, err)
		}
		for _, kind := range pictureKinds {
			_, err := s.Picture(t.Context(), PictureRequest{Job: job, Kind: kind, Test: "pressure"})
			if kind == "circuit" {
				require.ErrorContains(t, err, "no circuit")
			} else {
				require.NoError(t, err)
			}
		}
		_, err = s.Ask(t.Context(), AskRequest{Job: job, Text: "what should 87 read now?"})
		require.ErrorContains(t, err, "not known")
		_, err = s.Ask(t.Context(), AskRequest{Job: job, Text: "what does 87a do?"})
		require.ErrorContains(t, err, "no table")
	}
}

// A test that speaks against a repair is done once more before the repair is doubted; after
// that one good reading is not enough, two are.
func TestAFailedProofIsDoneOnceMore(t *testing.T) {
	b := book(t)
	k, err := diagnosis.Compile(b)
	require.NoError(t, err)
	s, err := New(Options{Book: b})
	require.NoError(t, err)
	v, complaint := complaining(b, k.Model(), "coil.open", 1)
	require.NotNil(t, v)
	_, err = v.Repair("coil.open")
	require.NoError(t, err)
	mended := func() (string, *Test) {
		job := openedFor(t, s, v, complaint)
		r, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: "coil.open", Action: "mended", Result: "gone"})
		require.NoError(t, err)
		require.NotNil(t, r.Next)
		require.Equal(t, rules.Watch, r.Next.Measure.Mode)
		return job, r.Next
	}
	read := func(job string, test *Test, saw string) Reply {
		r, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Test: test.ID, Answer: Answer{Choice: saw}})
		require.NoError(t, err)
		return r
	}

	job, test := mended()
	r := read(job, test, "off")
	assert.Contains(t, r.Text, "Once more")
	require.NotNil(t, r.Next)
	require.Equal(t, test.ID, r.Next.ID)
	r = read(job, test, "runs")
	assert.False(t, r.ProofOfRepair.Proven, "it may come and go")
	require.NotNil(t, r.Next)
	require.Equal(t, test.ID, r.Next.ID)
	r = read(job, test, "runs")
	assert.True(t, r.ProofOfRepair.Proven)

	job, test = mended()
	read(job, test, "off")
	r = read(job, test, "off")
	assert.Contains(t, r.Text, "So it goes on")
	require.NotNil(t, r.Next)
	assert.NotEqual(t, test.ID, r.Next.ID)
	assert.False(t, r.ProofOfRepair.Proven)
}

// A test that gives what a sound circuit gives proves the repair, also where it is at the end of that and something
// else would give it more often: the job is closed, and not measured on for ever. Invented.
func TestAPassedProofIsProof(t *testing.T) {
	s, err := New(Options{Book: book(t)})
	require.NoError(t, err)
	o, err := s.Open(t.Context(), OpenRequest{Complaint: "weak", Circuit: CircuitSpec{Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadSide: "ground",
		Suppression: "diode", SystemVolts: number(12), Driver: "switch", CoilSupply: "ignition", CoilPositive: "86", Load: LoadSpec{Kind: "lamp", Amps: number(12), Hazard: "none"}}})
	require.NoError(t, err)
	read := func(test string, answer Answer) Reply {
		r, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: o.Job}, Test: test, Answer: answer})
		require.NoError(t, err, test)
		return r
	}
	for _, is := range []struct {
		test   string
		answer Answer
	}{
		{"battery_rest_volts", Answer{Number: number(12.69)}},
		{"feed_drop", Answer{Number: number(0.163)}},
		{"watch_on", Answer{Choice: "weak"}},
		{"socket_87_volts_key_off", Answer{Number: number(0.003)}},
		{"socket_87_ohms_ground", Answer{Number: number(0.3)}},
		{"back_87_volts", Answer{Number: number(5.87)}},
		{"relay_30_87_ohms_energised", Answer{Number: number(0.2)}},
		{"feed_fuse_in_volts", Answer{Number: number(12.57)}},
		{"look_terminal_87", Answer{Choice: "sound"}},
		{"look_terminal_30", Answer{Choice: "sound"}},
		{"reseat_relay", Answer{Choice: "weak"}},
		{"swap_relay", Answer{Choice: "runs"}},
		{"load_volts", Answer{Number: number(5.68)}},
		{"look_relay", Answer{Choice: "sound"}},
		{"ask_hottest", Answer{Choice: "relay"}},
	} {
		read(is.test, is.answer)
	}
	_, err = s.Repair(t.Context(), RepairRequest{Write: Write{Job: o.Job}, Suspect: "contact.resistive_loaded", Action: "new relay", Result: "gone"})
	require.NoError(t, err)
	r := read("contact_drop", Answer{Number: number(0.172)})
	require.NotNil(t, r.ProofOfRepair)
	require.Equal(t, "0.04 to 0.17 V", r.ProofOfRepair.Tests[0].Expected)
	require.True(t, r.ProofOfRepair.Proven, r.ProofOfRepair.Missing)
	read("load_wire_drop", Answer{Number: number(0.191)})
	r = read("load_current_clamp", Answer{Number: number(12.1)})
	require.True(t, r.ProofOfRepair.Proven, "what one reading spoke for, another has explained: %s", r.ProofOfRepair.Missing)
}

func TestWhatAComplaintBecameMustBeAComplaint(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := opened(t, s, plough()).Job
	for _, bad := range []struct {
		result, now, field string
	}{{"changed", "blows_fuze", "now"}, {"gone", "blows_fuse", "result"}} {
		_, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: "feed_fuse.open", Action: "new fuse", Result: bad.result, Now: bad.now})
		var refused *Error
		require.ErrorAs(t, err, &refused)
		require.Equal(t, bad.field, refused.Field)
	}
	_, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: "feed_fuse.open", Action: "new fuse", Result: "still_there", Now: "blows_fuse"})
	require.NoError(t, err)
}
