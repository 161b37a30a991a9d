package main

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A whole job by sound: what the technician says is spoken by espeak-ng, recognised by
// pocketsphinx with the grammar of the moment, and sent as text; the fault is found,
// mended and proven, and the job is closed as fixed.
func TestAJobBySound(t *testing.T) {
	needed(t, "python3", "espeak-ng", "sox", "pocketsphinx_continuous")
	right, said := 0, 0
	type hidden struct {
		scenario string
		seed     uint64
	}
	jobs := []hidden{{"van_fan", 2}, {"plough_lights", 4}}
	if os.Getenv("COILSIDE_FULL") != "" {
		jobs = append(jobs, hidden{"minibus_blower", 2}) // a hundred utterances
	}
	for _, s := range jobs {
		t.Run(s.scenario, func(t *testing.T) {
			service := serveFor(t)
			bench := newWorkbench(t, s.scenario, s.seed)
			out := playClient(t, t.TempDir(), nil, "python3", filepath.Join(clientFolder(t), "voice.py"), service, bench.url)
			t.Log(strings.TrimSpace(out))
			first, _, _ := strings.Cut(out, "\n")
			job, proven, _ := strings.Cut(first, " ")
			assert.Contains(t, strings.Fields(proven), bench.hidden[0], "the fault that was hidden")
			assert.Empty(t, bench.vehicle.Complaint(), "it was mended")
			var view struct{ State, Outcome string }
			call(t, service, "job.show", `{"job":"`+job+`"}`, &view)
			assert.Equal(t, "closed fixed", view.State+" "+view.Outcome)
			m := regexp.MustCompile(`(\d+) of (\d+) words`).FindStringSubmatch(out)
			require.NotNil(t, m, out)
			var r, n int
			_, err := fmt.Sscan(m[1]+" "+m[2], &r, &n)
			require.NoError(t, err)
			right, said = right+r, said+n
		})
	}
	t.Logf("%d of %d words recognised right", right, said)
	assert.GreaterOrEqual(t, 100*right, 90*said, "words recognised right")
}
