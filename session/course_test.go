package session

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func courseOpened(t *testing.T, s *Service, o OpenRequest) Opened {
	t.Helper()
	opened, err := s.Open(t.Context(), o)
	require.NoError(t, err)
	return opened
}

func said(t *testing.T, s *Service, job, text string) Reply {
	t.Helper()
	r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: job}, Text: text})
	require.NoError(t, err)
	return r
}

// A program that acts on measure, setup and supply alone has a relay identified, for
// some arrangements with and without a diode.
func TestProgramIdentifiesARelay(t *testing.T) {
	s, err := New(Options{Book: book(t), Journal: jobsIn(t, t.TempDir())})
	require.NoError(t, err)
	for _, roles := range []string{"30 85 86 87 87a", "87a 86 30 85 87", "85 87 87a 30 86"} {
		for _, diode := range []bool{false, true} {
			five := OpenRequest{Purpose: "identify"}
			five.Circuit.Contact = "changeover"
			opened := courseOpened(t, s, five)
			reply := opened.Reply
			for range 30 {
				if reply.Next == nil {
					break
				}
				reply, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: opened.Job}, Test: reply.Next.ID, Answer: readPins(t, *reply.Next, strings.Fields(roles), diode)})
				require.NoError(t, err)
			}
			require.Nil(t, reply.Next, reply.Text)
			require.Equal(t, "proven", reply.Result.Identify.State)
			for i, pin := range reply.Result.Identify.Terminals {
				is := strings.Fields(roles)[i]
				coil := func(d string) bool { return d == "85" || d == "86" }
				assert.True(t, pin.DIN == is || !diode && coil(pin.DIN) && coil(is), "%s: %s is %s", roles, pin.Pin, pin.DIN)
			}
		}
	}
}

// readPins reads a relay whose pins are roles, in order, as a meter would.
func readPins(t *testing.T, n Test, roles []string, diode bool) Answer {
	t.Helper()
	at := func(place string) string { return roles[strings.Index("abcde", strings.TrimPrefix(place, "pin."))] }
	a, b := at(n.Measure.Red), at(n.Measure.Black)
	pair := func(p, q string) bool { return a == p && b == q || a == q && b == p }
	value := math.Inf(1)
	on := n.Setup.Coil == "energised"
	if n.Supply != nil {
		require.LessOrEqual(t, n.Supply.Amps, 0.3)
		plus, minus := at(n.Supply.Positive), at(n.Supply.Negative)
		require.True(t, plus == "85" && minus == "86" || plus == "86" && minus == "85", "power on %s and %s", plus, minus)
		require.False(t, on && diode && plus == "85", "power through the diode")
	}
	switch {
	case n.Measure.Mode == "volts_dc" && diode && a == "85":
		value = 0.7
	case n.Measure.Mode == "volts_dc":
		value = 4.3
	case pair("85", "86"):
		value = 84
	case pair("30", "87") && on, pair("30", "87a") && !on:
		value = 0.3
	}
	if math.IsInf(value, 1) {
		return Answer{Over: true}
	}
	return Answer{Number: &value}
}

// Each purpose by plain words, with what is understood and what comes of it.
func TestCoursesInPlainWords(t *testing.T) {
	s, err := New(Options{Book: book(t)})
	require.NoError(t, err)
	type line struct{ say, understood string }
	for _, c := range []struct {
		purpose string
		lines   []line
		says    []string // in the last reply
	}{
		{"wire", []line{
			{"15 amps over 6 metres, 12 volt motor", "amps: 15 A|length: 6 m|system volts: 12 V|load kind: motor"}, {"no", "critical: no"}, {"yes", "engine space: yes"},
			{"two metres back", "ground length: 2 m"}, {"105 degrees", "insulation: 105 °C"}, {"3", "bundle: 3"}, {"done", "the job is closed"},
		}, []string{"12 AWG", "Fuse: 20 A"}},
		{"wire", []line{{"twenty amps", "amps: 20 A"}, {"20 feet", "length: 6.096 m"}, {"24 volts", "system volts: 24 V"}, {"undo", ""}, {"12", "system volts: 12 V"}}, []string{"Load side"}},
		{"bench", []line{
			{"12", "coil volts: 12 V"}, {"both", "contact: changeover"}, {"24 degrees", "temperature: 24 °C"}, {"eighty-six ohms", "coil ohms: 86 Ω"}, {"85", "nominal ohms: 85 Ω"},
			{"diode", "suppression: diode"}, {"it clicks", "click: click"}, {"pulls in at 7.8 volts", "pull in volts: 7.8 V"}, {"2.1 volts", "drop out volts: 2.1 V"},
			{"10 amps", "working amps: 10 A"}, {"30 millivolts", "working volts: 0.03 V"}, {"OL", "working at rest ohms: OL"}, {"skip", "skipped: Coil at rest: load 30 to 87a the same way. What current flows?"},
			{"open", "rest energised ohms: OL"}, {"OL", "insulation ohms: OL"}, {"9 volts", "lowest supply volts: 9 V"}, {"85 degrees", "hottest: 85 °C"},
		}, []string{"Marginal", "63 °C|64 °C"}},
		{"bench", []line{{"24 volts", "coil volts: 24 V"}, {"87", "contact: make"}, {"77 F", "temperature: 25 °C"}, {"open", "coil ohms: OL"}}, []string{"Bad. Do not fit it", "The coil is open"}},
		{"choose", []line{
			{"12 volts", "system volts: 12 V"}, {"make", "contact: make"}, {"ground side", "control side: ground"}, {"module", "driver: module"}, {"diode", "suppression: diode"},
			{"fan", "load kind: motor"}, {"15 amps", "load amps: 15 A"}, {"engine bay", "mounting: engine bay"}, {"85 degrees", "hottest: 85 °C"}, {"mini", "new relay, size: mini"}, {"mini", "size: mini"},
			{"changed over", "new relay, layout: changed over"},
		}, []string{"Do not fit it", "changed over"}},
		{"identify", []line{
			{"five", "pins: 5"}, {"a to b is 84 ohms", "a to b: 84 Ω"}, {"0.7 volts", "a to b: 0.7 V"}, {"c to d is open", "c to d with the coil on (b plus): OL"}, {"undo", ""}, {"d-e 0.2", "d to e: 0.2 Ω"},
		}, []string{"Next: "}},
	} {
		opened := courseOpened(t, s, OpenRequest{Purpose: c.purpose})
		var r Reply
		for _, l := range c.lines {
			r = said(t, s, opened.Job, l.say)
			var got []string
			for _, u := range r.Understood {
				got = append(got, u.Words)
			}
			if l.understood != "" || len(got) > 0 {
				assert.Equal(t, l.understood, strings.Join(got, "|"), "%s: %q: %s", c.purpose, l.say, r.Text)
			}
		}
		for _, says := range c.says {
			found := false
			for either := range strings.SplitSeq(says, "|") {
				found = found || strings.Contains(r.Text, either)
			}
			assert.True(t, found, "%s: no %q in %s", c.purpose, says, r.Text)
		}
		assert.NotEmpty(t, r.Speech)
	}
}

// An errand is durable: another service on the same folder says what the first one did,
// takes more, and a replay finds no difference. Opened with a key it is found again.
func TestCourseOutlivesTheService(t *testing.T) {
	folder := t.TempDir()
	before := serviceIn(t, folder)
	request := OpenRequest{Purpose: "wire", Label: "horn", Key: "k"}
	opened := courseOpened(t, before, request)
	said(t, before, opened.Job, "15 amps over 6 metres, 12 volts")
	was, err := before.Show(t.Context(), JobRequest{opened.Job})
	require.NoError(t, err)
	after := serviceIn(t, folder)
	now, err := after.Show(t.Context(), JobRequest{opened.Job})
	require.NoError(t, err)
	require.Equal(t, was.Reply, now.Reply)
	require.Equal(t, "wire", now.Purpose)
	require.InDelta(t, 20, now.Reply.Result.Wire.Fuse.Amps, 0)
	again, err := after.Open(t.Context(), request)
	require.NoError(t, err)
	require.Equal(t, opened.Job, again.Job)
	require.Contains(t, said(t, after, opened.Job, "heater").Text, "Load kind: heater")
	replayed, err := after.Replay(t.Context(), opened.Job)
	require.NoError(t, err)
	require.True(t, replayed.Same())
	list, err := after.List(t.Context(), JobsRequest{})
	require.NoError(t, err)
	require.Equal(t, "wire", list.Jobs[0].Purpose)
	for _, format := range []string{"markdown", "html", "json"} {
		report, err := after.Report(t.Context(), ReportRequest{Job: opened.Job, Format: format})
		require.NoError(t, err)
		require.True(t, report.View != nil || strings.Contains(report.Text, "Load side"), format)
	}
}

// What was told at the opening is not asked again; what is taken back is.
func TestCourseTakesTheOpening(t *testing.T) {
	s, err := New(Options{Book: book(t)})
	require.NoError(t, err)
	amps, volts := 15.0, 24.0
	o := OpenRequest{Purpose: "wire"}
	o.Circuit.Load.Amps, o.Circuit.SystemVolts, o.Circuit.Load.Kind = &amps, &volts, "lamp"
	opened := courseOpened(t, s, o)
	require.Equal(t, "wire.length_m", opened.Reply.Next.ID)
	r := said(t, s, opened.Job, "4 m")
	require.Equal(t, "wire.critical", r.Next.ID)
	require.NotNil(t, r.Result.Wire)
	back, err := s.Retract(t.Context(), RetractRequest{Write: Write{Job: opened.Job}, Entry: *r.Entry})
	require.NoError(t, err)
	require.Equal(t, "wire.length_m", back.Next.ID)
	require.Nil(t, back.Result)
	next, err := s.Next(t.Context(), ListRequest{Job: opened.Job, Limit: 2})
	require.NoError(t, err)
	require.Len(t, next.Tests, 2)
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: opened.Job}, Outcome: "fixed"})
	require.ErrorContains(t, err, "no result yet")
}

func TestCourseRefusesWhatCannotBe(t *testing.T) {
	s, err := New(Options{Book: book(t)})
	require.NoError(t, err)
	opened := courseOpened(t, s, OpenRequest{Purpose: "wire"})
	number := func(v float64) Answer { return Answer{Number: &v} }
	write := Write{Job: opened.Job}
	for _, c := range []struct {
		r     RecordRequest
		field string
		says  string
	}{
		{RecordRequest{Write: write, Test: "wire.amps", Answer: number(0)}, "answer", "above 0"},
		{RecordRequest{Write: write, Test: "wire.amps", Answer: number(-5)}, "answer", "above 0"},
		{RecordRequest{Write: write, Test: "wire.length_m", Answer: number(9000)}, "answer", "more than 200"},
		{RecordRequest{Write: write, Test: "wire.system_volts", Answer: number(48)}, "answer", "12 or 24"},
		{RecordRequest{Write: write, Test: "wire.load_kind", Answer: Answer{Choice: "moter"}}, "answer", "motor"},
		{RecordRequest{Write: write, Test: "wire.ampz", Answer: number(5)}, "test", "wire.amps"},
		{RecordRequest{Write: write, Answer: number(5)}, "test", "say what"},
	} {
		_, err := s.Record(t.Context(), c.r)
		e, ok := err.(*Error)
		if assert.True(t, ok, "%v: %v", c.r, err) {
			assert.Equal(t, c.field, e.Field, e.Message)
			assert.Contains(t, e.Message, c.says)
		}
	}
	r := said(t, s, opened.Job, "15000 amps")
	assert.Contains(t, r.Text, "Nothing was stored")
	assert.Empty(t, r.Entries)
	for name, try := range map[string]func(context.Context) error{
		"suspects": func(ctx context.Context) error { _, err := s.Suspects(ctx, ListRequest{Job: opened.Job}); return err },
		"repair": func(ctx context.Context) error {
			_, err := s.Repair(ctx, RepairRequest{Write: write, Suspect: "coil.open", Result: "gone"})
			return err
		},
		"explain": func(ctx context.Context) error {
			_, err := s.Explain(ctx, ExplainRequest{Job: opened.Job, Suspect: "coil.open"})
			return err
		},
		"picture": func(ctx context.Context) error {
			_, err := s.Picture(ctx, PictureRequest{Job: opened.Job, Kind: "socket"})
			return err
		},
		"move": func(ctx context.Context) error {
			_, err := s.MoveRules(ctx, MoveRulesRequest{Write: write})
			return err
		},
	} {
		assert.ErrorContains(t, try(t.Context()), "not to diagnose", name)
	}
	o := OpenRequest{Purpose: "wire"}
	o.Circuit.Load.Hazard = "restraint"
	_, err = s.Open(t.Context(), o)
	require.ErrorContains(t, err, "qualified")
	_, err = s.Open(t.Context(), OpenRequest{Purpose: "wier"})
	require.ErrorContains(t, err, `did you mean "wire"?`)
}

// What begins a conversation tells what kind of job it is.
func TestInterviewHearsThePurpose(t *testing.T) {
	for text, purpose := range map[string]string{
		"which terminal is which": "identify", "I've got an unmarked relay": "identify", "bench test a relay": "bench", "is this relay good": "bench",
		"choose a replacement relay": "choose", "will this relay fit": "choose", "wire 15 amps over 6 metres": "wire", "what wire for a 20 amp pump": "wire",
		"fan never runs": "", "the wire to the fan is hot and the fuse blows": "", "new relay, still dead": "",
	} {
		i, err := NewInterview(book(t))
		require.NoError(t, err)
		i.Answer(text)
		assert.Equal(t, purpose, i.Request().Purpose, text)
		assert.Equal(t, purpose != "", i.Question() == nil, text)
	}
}

// The drawing of a wiring job bears what was worked out; before that it says what is
// missing.
func TestWiringIsDrawn(t *testing.T) {
	s, err := New(Options{Book: book(t)})
	require.NoError(t, err)
	opened := courseOpened(t, s, OpenRequest{Purpose: "wire", Label: "horn <loud>"})
	_, err = s.Picture(t.Context(), PictureRequest{Job: opened.Job, Kind: "circuit"})
	require.ErrorContains(t, err, "How many amps")
	r := said(t, s, opened.Job, "15 amps over 6 metres, 12 volts")
	p, err := s.Picture(t.Context(), PictureRequest{Job: opened.Job, Kind: "circuit"})
	require.NoError(t, err)
	for _, says := range []string{"fuse 20 A", r.Result.Wire.Load.AWG.Size + " AWG", r.Result.Wire.Load.MM2.Size + " mm²", "horn &lt;loud&gt;"} {
		require.Contains(t, p.SVG, says)
	}
}

// Whatever is said, a course neither fails nor loses what it has.
func FuzzCourseTell(f *testing.F) {
	for _, seed := range []string{"a to b is 84", "15 amps over 6 metres", "-5 A", "1e309 V", "OL", "yes no", "done", "undo undo", "a a 3", "°C", "twenty twenty five amps", "\x00", "87a 87"} {
		f.Add(seed, uint8(len(seed)))
	}
	s, err := New(Options{Book: book(f)})
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, text string, which uint8) {
		opened, err := s.Open(t.Context(), OpenRequest{Purpose: coursePurposes[int(which)%len(coursePurposes)]})
		require.NoError(t, err)
		for range 3 {
			r, err := s.Tell(t.Context(), TellRequest{Write: Write{Job: opened.Job}, Text: text})
			if err != nil {
				require.IsType(t, &Error{}, err)
				require.NotEqual(t, Internal, err.(*Error).Kind)
				return
			}
			require.NotEmpty(t, r.Text)
		}
	})
}
