package session

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"coilside/rules"
)

// mendedJob is a whole job: an open coil found by readings, mended and proven, and closed.
func mendedJob(t testing.TB, s *Service) string {
	t.Helper()
	job := opened(t, s, OpenRequest{Complaint: "dead", Label: "step van <no. 7> & trailer", Circuit: CircuitSpec{Contact: "make", ControlSide: "ground",
		PowerEnters: "30", LoadOn: "87", Labels: "numbers", SystemVolts: number(12), Load: LoadSpec{Kind: "lamp", Moves: new(bool)}, CoilPositive: "86",
		Suppression: "none", CoilSupply: "ignition"}}).Job
	told(t, s, job, volts("socket.86", "socket.85"), out12, Answer{Number: number(12.3)})
	slip := told(t, s, job, volts("socket.30", "battery.negative"), out12, Answer{Number: number(1.24)})
	_, err := s.Retract(t.Context(), RetractRequest{Write: Write{Job: job}, Entry: *slip.Entry})
	require.NoError(t, err)
	told(t, s, job, rules.Measure{Mode: rules.Listen}, in12, Answer{Choice: "silent"})
	bench := rules.Setup{Relay: "bench"}
	told(t, s, job, rules.Measure{Mode: rules.Ohms, Red: "relay.85", Black: "relay.86"}, bench, Answer{Over: true})
	r := told(t, s, job, rules.Measure{Mode: rules.Ohms, Red: "relay.86", Black: "relay.85"}, bench, Answer{Over: true})
	require.NotNil(t, r.Conclusion)
	r, err = s.Repair(t.Context(), RepairRequest{Write: Write{Job: job}, Suspect: "coil.open", Action: "new relay fitted", Result: "gone"})
	require.NoError(t, err)
	for r.Next != nil {
		a := Answer{Choice: r.ProofOfRepair.Tests[0].Expected}
		r, err = s.Record(t.Context(), RecordRequest{Write: Write{Job: job}, Test: r.Next.ID, Answer: a})
		require.NoError(t, err)
	}
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: job}, Outcome: "fixed"})
	require.NoError(t, err)
	return job
}

func report(t testing.TB, s *Service, job, format, whom string) Report {
	t.Helper()
	r, err := s.Report(t.Context(), ReportRequest{Job: job, Format: format, For: whom})
	require.NoError(t, err)
	return r
}

func TestRecordOfAMendedJob(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := mendedJob(t, s)
	r := report(t, s, job, "json", "").Record
	require.NotNil(t, r)
	require.NotNil(t, r.Found)
	assert.Equal(t, []string{"coil.open"}, r.Found.Suspects, "what was proved before the repair, not what is likely after it")
	assert.GreaterOrEqual(t, r.Found.Probability, 0.9)
	assert.NotEmpty(t, r.Found.Proof)
	assert.Len(t, r.Readings, 6, "five before the repair, one of them taken back, and the proof")
	assert.True(t, r.Readings[1].TakenBack)
	assert.Contains(t, r.Readings[4].Meant, "coil is open")
	assert.Equal(t, "new relay fitted", r.Done[0].Action)
	assert.NotEmpty(t, r.Done[0].Look)
	assert.True(t, r.Proof.Proven)
	assert.Equal(t, "fixed", r.Outcome)
	assert.Contains(t, r.Readings[5].Meant, "proof of the repair: passed")
	assert.Len(t, r.Rules, 64)

	md := report(t, s, job, "markdown", "file").Text
	html := report(t, s, job, "html", "file").Text
	for name, text := range map[string]string{"markdown": md, "html": html} {
		for _, want := range []string{"coil is open", "New relay fitted", "The repair is proven", "Expected", "taken back", "Local codes", r.Rules[:12], "socket cavities for corrosion"} {
			assert.True(t, strings.Contains(text, want), "%s has no %q", name, want)
		}
	}
	assert.Contains(t, html, "REPAIRED: open")
	assert.Contains(t, html, "2: 12.3 V", "the reading stands on the drawing")
	assert.Contains(t, html, "step van &lt;no. 7&gt; &amp; trailer")
	assert.NotContains(t, html, "<no. 7>")
	assert.NotContains(t, strings.ToLower(html), "<script")
}

func TestCustomerPageIsPlain(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := mendedJob(t, s)
	p := report(t, s, job, "json", "customer").Page
	require.NotNil(t, p)
	assert.Equal(t, "The load never runs.", p.Told)
	assert.Equal(t, []string{"New relay fitted."}, p.Done)
	text := report(t, s, job, "markdown", "customer").Text
	assert.Contains(t, text, "the circuit works as it should")
	for _, shoptalk := range []string{"%", "coil.open", "`", "ranking", "suspect", "bits"} {
		assert.NotContains(t, text, shoptalk)
	}
	assert.Contains(t, report(t, s, job, "html", "customer").Text, "New relay fitted.")

	open := opened(t, s, OpenRequest{Complaint: "intermittent"}).Job
	text = report(t, s, open, "markdown", "customer").Text
	for _, want := range []string{"not yet proved", "Nothing was repaired", "still going on"} {
		assert.Contains(t, text, want)
	}
	_, err := s.Repair(t.Context(), RepairRequest{Write: Write{Job: open}, Suspect: "terminal_87.loose", Action: "new receptacle", Result: "gone"})
	require.NoError(t, err)
	_, err = s.Close(t.Context(), CloseRequest{Write: Write{Job: open}, Outcome: "unproven"})
	require.NoError(t, err)
	text = report(t, s, open, "markdown", "customer").Text
	assert.Contains(t, text, "could not prove that the fault is gone")
	file := report(t, s, open, "markdown", "file").Text
	assert.Contains(t, file, "Not proven. The proof is still to be done")
	assert.Contains(t, file, "Closed: unproven")
}

func TestReportRefusals(t *testing.T) {
	s := serviceIn(t, t.TempDir())
	job := opened(t, s, OpenRequest{Complaint: "dead"}).Job
	_, err := s.Report(t.Context(), ReportRequest{Job: job, For: "costumer"})
	require.ErrorContains(t, err, `did you mean "customer"?`)
	_, err = s.Report(t.Context(), ReportRequest{Job: job, Format: "pdf"})
	require.ErrorContains(t, err, "markdown, html or json")
}

var pdfPage = regexp.MustCompile(`/Type\s*/Page[^s]`)

// The HTML prints from a browser: the customer's on one page, the file's on a few.
func TestReportsPrintToPDF(t *testing.T) {
	chromium := ""
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			chromium = path
			break
		}
	}
	if chromium == "" && os.Getenv("COILSIDE_CI") == "" {
		t.Skip("chromium is not installed")
	}
	require.NotEmpty(t, chromium)
	s := serviceIn(t, t.TempDir())
	job := mendedJob(t, s)
	folder := t.TempDir()
	if keep := os.Getenv("COILSIDE_PICTURES"); keep != "" {
		folder = keep
	}
	for _, c := range []struct {
		whom  string
		pages int
	}{{"customer", 1}, {"file", 3}} {
		page, pdf := filepath.Join(folder, c.whom+".html"), filepath.Join(folder, c.whom+".pdf")
		require.NoError(t, os.WriteFile(page, []byte(report(t, s, job, "html", c.whom).Text), 0o644))
		cmd := exec.CommandContext(t.Context(), chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
			"--user-data-dir="+t.TempDir(), "--print-to-pdf="+pdf, "file://"+page)
		out, err := cmd.CombinedOutput()
		require.NoError(t, err, string(out))
		data, err := os.ReadFile(pdf)
		require.NoError(t, err)
		assert.Len(t, pdfPage.FindAll(data, -1), c.pages, c.whom)
	}
}
