package session

import (
	"encoding/xml"
	"errors"
	"html"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// told records one reading taken unasked.
func told(t testing.TB, s *Service, job string, m rules.Measure, setup rules.Setup, a Answer) Reply {
	t.Helper()
	r, err := s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Measure: &m, Setup: &setup, Answer: a})
	require.NoError(t, err)
	return r
}

// drawn gives a picture, and holds every picture to what any must be: well-formed, titled,
// scriptless. With COILSIDE_PICTURES naming a folder it is kept there to be looked at.
func drawn(t *testing.T, s *Service, name string, r PictureRequest) Picture {
	t.Helper()
	p, err := s.Picture(t.Context(), r)
	require.NoError(t, err)
	assert.NotEmpty(t, p.Title)
	assert.NotEmpty(t, p.Description)
	texts := svgTexts(t, p.SVG)
	assert.Contains(t, texts, p.Title)
	if folder := os.Getenv("COILSIDE_PICTURES"); folder != "" {
		require.NoError(t, os.WriteFile(filepath.Join(folder, name+".svg"), []byte(p.SVG), 0o644))
	}
	return p
}

// svgTexts reads an SVG as XML and gives the texts in it.
func svgTexts(t *testing.T, svg string) []string {
	t.Helper()
	var texts []string
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return texts
		}
		require.NoError(t, err)
		if start, ok := token.(xml.StartElement); ok {
			assert.Contains(t, []string{"svg", "title", "desc", "g", "line", "rect", "circle", "path", "text"}, start.Name.Local)
			for _, a := range start.Attr {
				assert.False(t, strings.HasPrefix(a.Name.Local, "on") || strings.Contains(a.Name.Local, "href"), a.Name.Local)
			}
		}
		if chars, ok := token.(xml.CharData); ok && strings.TrimSpace(string(chars)) != "" {
			texts = append(texts, string(chars))
		}
	}
}

var (
	out12 = rules.Setup{Relay: "out", Key: "on", Command: "on"}
	in12  = rules.Setup{Relay: "in", Key: "on", Command: "on"}
)

func volts(red, black string) rules.Measure {
	return rules.Measure{Mode: rules.VoltsDC, Red: red, Black: black}
}

func TestPicturesOfAJob(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	for _, c := range []struct {
		name string
		open OpenRequest
	}{
		{"bare", OpenRequest{Complaint: "dead"}},
		{"numbers", OpenRequest{Complaint: "dead", Label: `<script>alert("x")</script> & van`, Circuit: CircuitSpec{Contact: "changeover", ControlSide: "ground", PowerEnters: "30",
			LoadOn: "87", Labels: "numbers", SystemVolts: number(12.0), Load: LoadSpec{Kind: "motor"}, Driver: "module", CoilPositive: "86", Suppression: "diode"}}},
		{"en_supply", OpenRequest{Complaint: "weak", Circuit: CircuitSpec{Contact: "make", ControlSide: "positive", LoadSide: "supply", Labels: "en",
			SystemVolts: number(24.0), Load: LoadSpec{Kind: "lamp"}, CoilSupply: "battery", PowerEnters: "87", Suppression: "resistor"}}},
		{"shared", OpenRequest{Complaint: "stays_on", Circuit: CircuitSpec{Contact: "break", CoilSupply: "contact_feed", Load: LoadSpec{Kind: "heater"}, LoadSide: "ground"}}},
		{"after", OpenRequest{Complaint: "stays_on", Circuit: CircuitSpec{Contact: "changeover", PowerEnters: "87a", Load: LoadSpec{Kind: "solenoid"}, FeedFuseAt: "after_relay", LoadSide: "ground"}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			job, part := opened(t, s, c.open).Job, 1.0
			if v := c.open.Circuit.SystemVolts; v != nil {
				part = *v / 12
			}
			drawn(t, s, c.name+"-circuit-0", PictureRequest{Job: job, Kind: "circuit"})
			told(t, s, job, volts("battery.positive", "battery.negative"), out12, Answer{Number: number(12.5 * part)})
			told(t, s, job, volts("socket.30", "battery.negative"), out12, Answer{Number: number(12.4 * part)})
			told(t, s, job, volts("back.86", "battery.negative"), in12, Answer{Number: number(12.3 * part)})
			told(t, s, job, volts("back.86", "back.85"), in12, Answer{Number: number(12.2 * part)})
			told(t, s, job, rules.Measure{Mode: rules.Listen}, in12, Answer{Choice: "silent"})
			told(t, s, job, rules.Measure{Mode: rules.Look, At: "feed_fuse"}, in12, Answer{Choice: "sound"})
			for _, kind := range pictureKinds {
				drawn(t, s, c.name+"-"+kind, PictureRequest{Job: job, Kind: kind})
			}
		})
	}
}

// A drawing says what is known in the technician's own marks, and what a suspect is in
// words and shape.
func TestCircuitPictureSaysWhatIsKnown(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := opened(t, s, OpenRequest{Complaint: "dead", Circuit: CircuitSpec{Contact: "make", ControlSide: "ground", PowerEnters: "30", LoadOn: "87",
		Labels: "numbers", SystemVolts: number(12), Load: LoadSpec{Kind: "lamp"}, CoilPositive: "86", Suppression: "none", CoilSupply: "ignition"}}).Job
	p := drawn(t, s, "known-before", PictureRequest{Job: job, Kind: "circuit", Test: "socket_contact_pair_volts"})
	for _, want := range []string{"marked 1", "marked 2", "marked 3", "marked 5", "RED", "BLACK"} {
		assert.Contains(t, svgTexts(t, p.SVG), want)
	}
	assert.Contains(t, p.Description, "red lead on socket cavity 30 (marked 3)")
	assert.Contains(t, p.Description, "black lead on socket cavity 87 (marked 5)")
	assert.NotContains(t, p.SVG, "SUSPECT", "nothing was read yet")

	setup := rules.Setup{Relay: "bench"}
	told(t, s, job, volts("socket.86", "socket.85"), out12, Answer{Number: number(12.3)})
	told(t, s, job, rules.Measure{Mode: rules.Listen}, in12, Answer{Choice: "silent"})
	told(t, s, job, rules.Measure{Mode: rules.Ohms, Red: "relay.85", Black: "relay.86"}, setup, Answer{Over: true})
	r := told(t, s, job, rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}, setup, Answer{Over: true})
	require.NotNil(t, r.Conclusion, "%v %v", r.Suspects, r.Next)
	require.Equal(t, []string{"coil.open"}, r.Conclusion.Suspects)
	p = drawn(t, s, "known-after", PictureRequest{Job: job, Kind: "circuit"})
	texts := svgTexts(t, p.SVG)
	for _, want := range []string{"PROVEN: open", "2: 12.3 V", "3: silent", "5: OL", "!"} {
		assert.Contains(t, texts, want)
	}
	assert.Contains(t, p.Description, "coil (PROVEN: open)")

	socket := drawn(t, s, "known-socket", PictureRequest{Job: job, Kind: "socket"})
	texts = svgTexts(t, socket.SVG)
	for _, want := range []string{"1", "2", "3", "5", "DIN 86, coil, supply side", "DIN 30, supply", "DIN 87, to the load"} {
		assert.Contains(t, texts, want)
	}
	assert.NotContains(t, texts, "4", "a make relay has no 87a")
}

// Every test of the shipped rules whose places are known can be drawn, and every kind of
// picture in every circuit: an odd wiring must not break the drawing.
func TestEveryTestCanBeDrawn(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := opened(t, s, OpenRequest{Complaint: "dead", Circuit: CircuitSpec{Contact: "changeover", ControlSide: "positive", PowerEnters: "30", LoadOn: "87",
		Labels: "en", CoilPositive: "86", SystemVolts: number(24)}}).Job
	for _, test := range book(t).Tests {
		for _, kind := range pictureKinds {
			p := drawn(t, s, "every", PictureRequest{Job: job, Kind: kind, Test: test.ID})
			texts := svgTexts(t, p.SVG)
			if kind == "leads" {
				inFrame(t, p.SVG, test.ID)
			}
			if test.Measure.Red != "" && kind != "socket" {
				assert.Contains(t, texts, "RED", "%s of %s", kind, test.ID)
				assert.Contains(t, texts, "BLACK", "%s of %s", kind, test.ID)
			}
		}
	}
}

// inFrame holds every word of a picture within its frame, a letter taken for 0.6 of the size
// of the type: about as wide as the letters of a bold sans serif are on average (no source).
func inFrame(t *testing.T, svg, name string) {
	t.Helper()
	number := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	wide := number(regexp.MustCompile(`viewBox="0 0 ([\d.]+) `).FindStringSubmatch(svg)[1])
	texts := regexp.MustCompile(`<text x="([-\d.]+)" y="[-\d.]+" text-anchor="(\w+)" font-size="([\d.]+)"[^>]*>([^<]*)<`).FindAllStringSubmatch(svg, -1)
	require.NotEmpty(t, texts, name)
	for _, m := range texts {
		left, long := number(m[1]), 0.6*number(m[3])*float64(utf8.RuneCountInString(html.UnescapeString(m[4])))
		if m[2] == "middle" {
			left -= long / 2
		}
		assert.GreaterOrEqual(t, left, 0.0, "%s: %s", name, m[4])
		assert.LessOrEqual(t, left+long, wide, "%s: %s", name, m[4])
	}
}

func TestPictureRefusals(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := opened(t, s, OpenRequest{Complaint: "dead"}).Job
	for _, c := range []struct {
		r     PictureRequest
		field string
		says  string
	}{
		{PictureRequest{Job: job, Kind: "circle"}, "kind", "circuit"},
		{PictureRequest{Job: job}, "kind", "circuit, socket or leads"},
		{PictureRequest{Job: job, Kind: "leads", Test: "coil_ohm"}, "test", "no test"},
		{PictureRequest{Job: job, Kind: "leads", Test: "coil_drop"}, "test", "not known yet"},
		{PictureRequest{Job: "nowhere", Kind: "leads"}, "job", "no job"},
	} {
		_, err := s.Picture(t.Context(), c.r)
		var e *Error
		require.ErrorAs(t, err, &e, "%+v", c.r)
		assert.Equal(t, c.field, e.Field, e.Message)
		assert.Contains(t, e.Message, c.says)
	}
}
