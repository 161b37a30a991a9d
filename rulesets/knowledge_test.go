package rulesets_test

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// firstList is every fault the circuit of one relay can have, by element.
var firstList = map[string]string{
	"battery": "discharged resistive", "feed_fuse": "open", "coil_fuse": "open",
	"feed_wire": "open resistive short_to_ground", "coil_wire": "open resistive short_to_ground",
	"control":      "open resistive stuck_closed",
	"control_wire": "open resistive short_to_ground short_to_supply",
	"coil_ground":  "open resistive", "coil": "open shorted_turns resistive",
	"armature": "weak stuck_open stuck_closed", "contact": "open resistive welded",
	"rest_contact": "open resistive welded", "suppressor": "shorted", "relay": "wrong_part",
	"terminal_30": "loose resistive", "terminal_85": "loose resistive", "terminal_86": "loose resistive",
	"terminal_87": "loose resistive", "terminal_87a": "loose resistive",
	"load_wire": "open resistive short_to_ground short_to_supply",
	"load":      "open shorted overcurrent", "load_ground": "open resistive", "none": "found",
}

// secondList is what the surroundings and heat add to it.
var secondList = map[string]string{
	"feed_fuse": "resistive wrong_rating cycling", "coil_fuse": "resistive", "feed_splice": "open resistive",
	"shared_ground": "open resistive", "backfeed": "other_circuit", "box": "leakage", "board_joint": "open_hot",
	"coil": "open_hot", "armature": "weak_hot", "contact": "resistive_loaded", "relay": "layout_30_86_changed",
	"terminal_30": "pushed_back", "terminal_85": "pushed_back", "terminal_86": "pushed_back",
	"terminal_87": "pushed_back", "terminal_87a": "pushed_back", "suppressor": "reversed open",
	"control": "not_commanded current_limited pulsed thermal_off leaky fail_safe", "load": "resistive unloaded thermal_cutout",
	"charging": "under over", "tap": "overload backfeed short", "socket": "miswired",
}

func TestEverySuspectIsThereAndCanBeMended(t *testing.T) {
	book := relayBook(t)
	for _, list := range []map[string]string{firstList, secondList} {
		everyOne(t, book, list)
	}
}

func everyOne(t *testing.T, book *rules.Book, list map[string]string) {
	for element, faults := range list {
		for fault := range strings.FieldsSeq(faults) {
			id := element + "." + fault
			s, ok := book.Suspect(id)
			if assert.True(t, ok, "suspect %s", id) {
				assert.NotEmpty(t, s.Repair.Do, id)
				assert.NotEmpty(t, s.Repair.Check, id)
				assert.NotEmpty(t, s.Repair.Verify, id)
			}
		}
	}
}

// A new relay mends every fault inside it, so these suspects must not be split
// by further tests.
func TestRelayFaultsShareOneRepair(t *testing.T) {
	book := relayBook(t)
	inside := []string{"coil", "armature", "contact", "rest_contact", "suppressor", "relay"}
	for _, s := range book.Suspects {
		want := s.Element
		for _, element := range inside {
			if s.Element == element {
				want = "relay"
			}
		}
		switch s.ID {
		case "suppressor.reversed":
			want = "socket" // another relay of the part dies of it too
		case "control.not_commanded", "control.fail_safe":
			want = "request" // another driver is asked for no more
		case "load.unloaded":
			want = "driven" // the load itself is sound
		}
		assert.Equal(t, want, s.Repair.Class, s.ID)
	}
}

// Two tests with the same leads in the same state would be offered twice.
func TestNoTestIsWrittenTwice(t *testing.T) {
	book := relayBook(t)
	seen := map[string]string{}
	for _, test := range book.Tests {
		if test.Proof {
			continue // the same measurement under another condition, and never offered beside it
		}
		key := fmt.Sprintf("%+v %+v", test.Measure, test.Setup)
		if other, twice := seen[key]; twice {
			t.Errorf("%s and %s measure the same", other, test.ID)
		}
		seen[key] = test.ID
	}
}

func TestEveryTestIsCompleteAndPlain(t *testing.T) {
	book := relayBook(t)
	for _, test := range book.Tests {
		assert.Contains(t, []string{"in", "out", "bench"}, test.Setup.Relay, test.ID)
		assert.Contains(t, []string{"on", "off"}, test.Setup.Key, test.ID)
		assert.Contains(t, []string{"on", "off"}, test.Setup.Command, test.ID)
		for _, part := range test.Setup.Unplugged {
			assert.Contains(t, []string{"tap", "load", "control"}, part, test.ID)
			assert.False(t, slices.ContainsFunc(test.Measure.Places(), func(place string) bool { return strings.HasPrefix(place, part+"_part") }), "%s: that it is unplugged follows from its places", test.ID)
		}
		assert.NotEmpty(t, test.Tool, test.ID)
		assert.NotEmpty(t, test.Words, test.ID)
		for i, minutes := range test.Minutes {
			assert.Positive(t, minutes, test.ID)
			assert.GreaterOrEqual(t, minutes, test.Minutes[0], "%s: access %d is not quicker than under the bonnet", test.ID, i)
		}
		plain(t, test.ID, test.Say, 190)
		plain(t, test.ID, test.Why, 120)
		for _, caution := range test.Cautions {
			plain(t, test.ID, caution, 120)
		}
	}
}

// Where the leads go decides the state of the relay: a socket cavity can only be
// reached with the relay out, its back only with the relay in.
func TestPlacesFitTheirSetup(t *testing.T) {
	book := relayBook(t)
	state := map[string]string{"socket": "out", "back": "in", "relay": "bench"}
	for _, test := range book.Tests {
		for _, place := range test.Measure.Places() {
			prefix, _, _ := strings.Cut(place, ".")
			if want := state[prefix]; want != "" {
				assert.Equal(t, want, test.Setup.Relay, "%s at %s", test.ID, place)
			}
		}
		assert.Equal(t, test.Setup.Relay == "bench", test.Setup.Coil != "", "%s: the coil is set on the bench only", test.ID)
	}
}

func TestEveryRuleSaysWhyAndWhence(t *testing.T) {
	book := relayBook(t)
	for _, rule := range book.Rules {
		plain(t, rule.ID, rule.Because, 130)
		assert.NotEmpty(t, rule.Source, rule.ID)
		for _, a := range rule.Then {
			if a.Say != "" {
				plain(t, rule.ID, a.Say, 175)
			}
		}
	}
	for _, p := range book.Parameters {
		assert.NotEmpty(t, p.Source, p.ID)
	}
}

// The figures as published; the source stands in the parameter itself.
func TestPublishedFigures(t *testing.T) {
	book := relayBook(t)
	for _, want := range []struct {
		id, source string
		value      float64
	}{
		{"ground_drop_limit", "T-4", 0.1},
		{"feed_drop_limit", "T-4", 0.2},
		{"contact_drop_limit", "T-4", 0.3},
		{"contact_drop_limit_10a", "data sheet", 0.2},
		{"contact_limit_amps", "data sheet", 10},
		{"coil_circuit_drop_limit_12", "TM 5-2420-230-24-2", 1.0},
		{"coil_circuit_drop_limit_24", "TM 5-2420-230-24-2", 2.0},
		{"battery_half_12", "TM 5-3805-262-20", 12.2},
		{"battery_full_12", "TM 5-3805-262-20", 12.6},
		{"battery_full_24", "TM 5-2420-230-24-1", 25.2},
		{"relay_overload_factor", "ISO 8820-3", 1.35},
		{"dry_contact_amps", "IEC 61810-7", 0.1},
	} {
		p, ok := book.Parameter(want.id)
		require.True(t, ok, want.id)
		assert.InDelta(t, want.value, p.Value, 1e-12, want.id)
		assert.Contains(t, p.Source, want.source, want.id)
	}
}

// Complaints weigh at least the suspects that can bring them about.
func TestComplaintsCoverTheirSuspects(t *testing.T) {
	book := relayBook(t)
	require.Len(t, book.Complaints, 8)
	for _, c := range book.Complaints {
		assert.GreaterOrEqual(t, len(c.Priors), 5, c.ID)
		for pattern, weight := range c.Priors {
			assert.Positive(t, weight, "%s: %s", c.ID, pattern)
		}
	}
}

var (
	doubleSpace = regexp.MustCompile(`\s\s|\s[.,;:]`)
	role        = regexp.MustCompile(`\{[^}]*\}`)
)

// plain checks that a sentence for a technician is short, ends properly and is
// free of names that only the files know.
func plain(t *testing.T, id, text string, longest int) {
	t.Helper()
	if !assert.NotEmpty(t, text, id) {
		return
	}
	assert.LessOrEqual(t, utf8.RuneCountInString(text), longest, "%s: %q", id, text)
	assert.Regexp(t, `[.?]$`, text, id)
	assert.NotContains(t, role.ReplaceAllString(text, ""), "_", id)
	assert.NotRegexp(t, doubleSpace, text, id)
}

// A suspect says what to do, what to look at while there, and which test proves the repair; and
// what asks for a cause asks for it, so that the new part does not go the way of the old.
func TestEverySuspectSaysHowToMendAndProve(t *testing.T) {
	book := relayBook(t)
	for _, s := range book.Suspects {
		assert.NotEmpty(t, s.Repair.Do, s.ID)
		assert.NotEmpty(t, s.Repair.Check, s.ID)
		assert.NotEmpty(t, s.Repair.Verify, s.ID)
	}
	for pattern, cause := range map[string]string{"*_fuse.open": "what blew it", "*.welded": "why it welded", "terminal_*.resistive": "where the water came from"} {
		ids := book.MatchSuspects(pattern)
		require.NotEmpty(t, ids, pattern)
		for _, id := range ids {
			s, _ := book.Suspect(id)
			assert.Contains(t, strings.Join(s.Repair.Check, "; "), cause, id)
		}
	}
}
