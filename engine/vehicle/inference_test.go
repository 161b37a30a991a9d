package vehicle

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"coilside/engine/diagnosis"
	"coilside/engine/rank"
	"coilside/rules"
	"coilside/rulesets"
)

// What inference costs and how exact it is, on circuits of which nothing is known
// but 12 V and the complaint. Rankings are held against those of far more draws.

const inferenceReport = "../../testdata/inference/report.md"

// referenceTimes is how many times the usual draws the reference has.
const referenceTimes = 50

// scale is how much of the study is done.
type scale struct {
	jobs, readings, reference int
	draws                     []int
}

// unknownJob is a job on a wholly unknown circuit: a vehicle and what was read.
type unknownJob struct {
	vehicle   *Vehicle
	complaint string
	truth     string
	done      []Taken
}

// unknownJobs plays jobs until each has so many readings; jobs that end sooner are
// left out.
func unknownJobs(t *testing.T, k *diagnosis.Knowledge, n, readings int) []unknownJob {
	t.Helper()
	var out []unknownJob
	for seed, truth := range truths(k.Book(), 10*n) {
		if len(out) == n {
			break
		}
		v, err := New(Options{Book: k.Book(), Model: k.Model(), Faults: []string{truth}, Seed: uint64(seed) + 1e6,
			Wiring: map[string]string{"system_volts": "12"}})
		require.NoError(t, err)
		j := unknownJob{vehicle: v, complaint: v.Complaint(), truth: truth}
		if j.complaint == "" || !j.read(t, k, readings, uint64(seed)) {
			continue
		}
		out = append(out, j)
	}
	require.Len(t, out, n)
	return out
}

// read takes the tests that the diagnosis asks for.
func (j *unknownJob) read(t *testing.T, k *diagnosis.Knowledge, readings int, seed uint64) bool {
	t.Helper()
	c, err := k.Open(diagnosis.Opening{Complaint: j.complaint, Seed: seed, Facts: map[string]rules.Value{"system_volts": {Kind: rules.Number, Number: 12}}})
	require.NoError(t, err)
	for len(j.done) < readings && c.Conclusion() == nil {
		ps := c.Next(1)
		if len(ps) == 0 {
			return false
		}
		p := ps[0]
		a, err := j.vehicle.Answer(p.Measure, p.Setup)
		require.NoError(t, err)
		j.done = append(j.done, Taken{p.Test, p.Measure, p.Setup, a})
		require.NoError(t, c.Read(diagnosis.Reading{Entry: len(j.done), Test: p.Test.ID, Measure: p.Measure, Setup: p.Setup, Answer: a}))
	}
	return len(j.done) == readings
}

// step is where a belief stands after the opening or after a reading.
type step struct {
	ranking   map[string]float64
	solves    int
	took      time.Duration
	particles int // over all suspects
	leading   float64
}

// infer feeds a job's readings to a belief of so many draws.
func (j *unknownJob) infer(t *testing.T, k *diagnosis.Knowledge, draws int, seed uint64) []step {
	t.Helper()
	start := time.Now()
	b, err := rank.Open(rank.Opening{Book: k.Book(), Model: k.Model(), Complaint: j.complaint,
		Wiring: map[string]string{"system_volts": "12"}, Seed: seed, Draws: draws})
	require.NoError(t, err)
	out := []step{stepOf(b, time.Since(start))}
	for i, d := range j.done {
		start = time.Now()
		require.NoError(t, b.Read(rank.Reading{ID: i + 1, Measure: d.Measure, Setup: d.Setup, Answer: d.Answer, Test: d.Test}))
		out = append(out, stepOf(b, time.Since(start)))
	}
	return out
}

func stepOf(b *rank.Belief, took time.Duration) step {
	s := step{ranking: map[string]float64{}, solves: b.Solves(), took: took}
	for _, h := range b.Ranking() {
		s.ranking[h.ID()] = h.Probability()
		n, counting := h.Draws()
		s.particles += n
		s.leading += h.Probability() * counting
	}
	return s
}

// unlike is half the sum of the differences of two rankings: the most by which any
// group of suspects differs in probability, 0..1.
func unlike(a, b map[string]float64) float64 {
	ids := map[string]bool{}
	for id := range a {
		ids[id] = true
	}
	for id := range b {
		ids[id] = true
	}
	sum := 0.0
	for id := range ids {
		sum += math.Abs(a[id]-b[id]) / 2
	}
	return sum
}

// study is what one number of draws costs and gives, over all jobs and readings.
type study struct {
	draws                     int
	opens, turns              []float64 // ms
	openSolves, turnSolves    []float64
	particles, leading        []float64
	errorAt, errorEnd, topped []float64 // total variation; whether the leader is the reference's
}

func (s *study) add(own, reference []step) {
	for i := range own {
		ms := own[i].took.Seconds() * 1000
		if i == 0 {
			s.opens, s.openSolves = append(s.opens, ms), append(s.openSolves, float64(own[i].solves))
		} else {
			s.turns, s.turnSolves = append(s.turns, ms), append(s.turnSolves, float64(own[i].solves-own[i-1].solves))
			s.leading = append(s.leading, own[i].leading)
			s.errorAt = append(s.errorAt, unlike(own[i].ranking, reference[i].ranking))
		}
	}
	last := len(own) - 1
	s.particles = append(s.particles, float64(own[last].particles))
	s.errorEnd = append(s.errorEnd, unlike(own[last].ranking, reference[last].ranking))
	same := 0.0
	if leader(own[last].ranking) == leader(reference[last].ranking) {
		same = 1
	}
	s.topped = append(s.topped, same)
}

func leader(ranking map[string]float64) string {
	best := ""
	for id, p := range ranking {
		if best == "" || p > ranking[best] || p == ranking[best] && id < best {
			best = id
		}
	}
	return best
}

func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

func quantile(v []float64, part float64) float64 {
	v = slices.Clone(v)
	slices.Sort(v)
	return v[min(int(part*float64(len(v))), len(v)-1)]
}

// The ranking of the usual number of draws is close to that of many more. The long
// version writes testdata/inference/report.md:
//
//	COILSIDE_FULL=1 go test ./engine/vehicle -run CostOfInference -timeout 60m
func TestCostOfInference(t *testing.T) {
	k := knowledge(t)
	what := scale{jobs: 2, readings: 3, reference: 6 * rank.DefaultDraws, draws: []int{rank.DefaultDraws}}
	if full() {
		what = scale{jobs: 20, readings: 6, reference: referenceTimes * rank.DefaultDraws, draws: []int{16, 32, 64, 128, 256}}
	}
	jobs := unknownJobs(t, k, what.jobs, what.readings)
	studies, reference := make([]study, len(what.draws)), study{draws: what.reference}
	for i, n := range what.draws {
		studies[i].draws = n
	}
	for i := range jobs {
		many := jobs[i].infer(t, k, what.reference, 1e9+uint64(i))
		reference.add(jobs[i].infer(t, k, what.reference, 2e9+uint64(i)), many)
		line := fmt.Sprintf("%s (%s), error at the end:", jobs[i].truth, jobs[i].complaint)
		for s := range studies {
			studies[s].add(jobs[i].infer(t, k, studies[s].draws, uint64(i)), many)
			line += fmt.Sprintf(" %d draws %.3f,", studies[s].draws, studies[s].errorEnd[i])
		}
		t.Logf("%s reference again %.3f", line, reference.errorEnd[i])
	}
	report := writeReport(t, k, what, jobs, studies, &reference)
	t.Log(report)
	for _, s := range studies {
		if s.draws == rank.DefaultDraws {
			require.Less(t, mean(s.errorEnd), 0.15, "mean total variation of the ranking at the end")
		}
	}
	if full() {
		require.NoError(t, os.WriteFile(inferenceReport, []byte(report), 0o644))
	}
}

// coldOpening is what the very first job of a fresh rulebook takes, and the next.
func coldOpening(t *testing.T, j *unknownJob) (compile, cold, warm time.Duration) {
	t.Helper()
	book, err := rules.Load(rules.Layer{Name: "relay", FS: rulesets.Relay()})
	require.NoError(t, err)
	start := time.Now()
	k, err := diagnosis.Compile(book)
	require.NoError(t, err)
	compile = time.Since(start)
	cold = j.infer(t, k, rank.DefaultDraws, 1)[0].took
	warm = j.infer(t, k, rank.DefaultDraws, 1)[0].took
	return compile, cold, warm
}

// byLuckAlone is how many of so many draws from the prior still count after a job's
// readings, for the true suspect, when draws are only weighted and never renewed.
func byLuckAlone(t *testing.T, k *diagnosis.Knowledge, j *unknownJob, draws int) float64 {
	t.Helper()
	rng := rand.New(rand.NewPCG(1, 2))
	normals := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = rng.NormFloat64()
		}
		return out
	}
	all, err := k.Model().Wirings(map[string]string{"system_volts": "12"})
	require.NoError(t, err)
	f, _ := k.Model().Fault(j.truth)
	ws, _ := all.Possible(f)
	require.NotNil(t, ws)
	var logs []float64
	for range draws {
		v := &Vehicle{book: k.Book(), model: k.Model(), wiring: ws.Pick(normals(ws.Dims())), faults: []hidden{{f, normals(f.Dims)}}}
		v.draw, err = k.Model().Draw(v.wiring, nil, normals(k.Model().Dims()))
		require.NoError(t, err)
		require.NoError(t, v.assemble())
		logs = append(logs, v.logLikelihood(j.done))
	}
	return counting(logs)
}

func (v *Vehicle) logLikelihood(done []Taken) float64 {
	sum := 0.0
	for i := range done {
		d := &done[i]
		switch is, asked := v.wiring.Choice(d.Test.Sets); {
		case d.Answer.Unsure:
		case asked && is != d.Answer.Choice:
			sum += math.Log(0.01)
		case asked:
		case v.model.Asked(d.Test) != nil:
			of := v.model.Asked(d.Test)
			sum += math.Log(of.Shares(of.In(v.draw))[slices.Index(d.Test.Of, d.Answer.Choice)])
		default:
			sum += math.Log(v.likelihood(d))
		}
	}
	return sum
}

func counting(logs []float64) float64 {
	top := slices.Max(logs)
	sum, squares := 0.0, 0.0
	for _, l := range logs {
		w := math.Exp(l - top)
		sum += w
		squares += w * w
	}
	return sum * sum / squares
}

// writeReport puts the study in words.
func writeReport(t *testing.T, k *diagnosis.Knowledge, what scale, jobs []unknownJob, studies []study, reference *study) string {
	t.Helper()
	ws, err := k.Model().Wirings(map[string]string{"system_volts": "12"})
	require.NoError(t, err)
	compile, cold, warm := coldOpening(t, &jobs[0])
	var luck []float64
	for i := range jobs {
		luck = append(luck, byLuckAlone(t, k, &jobs[i], what.reference)*float64(rank.DefaultDraws)/float64(what.reference))
	}
	var b strings.Builder
	fmt.Fprintf(&b, reportHead, what.jobs, what.readings, ws.Count(), len(k.Book().Suspects), what.reference, what.reference/rank.DefaultDraws, rank.DefaultDraws)
	fmt.Fprintf(&b, "| draws a suspect | solves to open | solves a reading | open, ms | reading, ms: median, 90 %% | particles at the end | effective draws of a suspect, by its probability: mean, lowest tenth | error after a reading: mean, 90 %% | error at the end: mean, worst | same leader at the end |\n")
	fmt.Fprintf(&b, "|---:|---:|---:|---:|---:|---:|---:|---:|---:|---:|\n")
	for i := range studies {
		b.WriteString(studies[i].row())
	}
	b.WriteString(reference.row())
	asked := float64(ws.Count() * len(k.Book().Suspects) * rank.DefaultDraws)
	fmt.Fprintf(&b, reportTail, round(compile), round(cold), round(warm), quantile(luck, 0.5), rank.DefaultDraws, quantile(luck, 0.1), asked/1e6,
		reasons(studies), circuitOf(jobs))
	return b.String()
}

// reasons says what the table says about the usual number of draws.
func reasons(studies []study) string {
	at := slices.IndexFunc(studies, func(s study) bool { return s.draws == rank.DefaultDraws })
	usual := &studies[at]
	out := fmt.Sprintf("The usual number is a choice between waiting and luck. With %d draws a reading takes %.0f ms at\nthe median, and the ranking strays by %.3f on the mean after a reading, and by %.3f at the\nend.",
		usual.draws, quantile(usual.turns, 0.5), mean(usual.errorAt), mean(usual.errorEnd))
	for i := range studies {
		if s := &studies[i]; i != at {
			out += fmt.Sprintf("\nWith %d it would be %.0f ms, %.3f and %.3f.", s.draws, quantile(s.turns, 0.5), mean(s.errorAt), mean(s.errorEnd))
		}
	}
	return out + fmt.Sprintf(`
At %d draws half of the jobs end within %.3f and the worst is off by %.2f: the mean is made
by a few jobs, where several readings together pin the size of a poor joint. Known wiring
leaves less to guess and is quicker and closer.`, usual.draws, quantile(usual.errorEnd, 0.5), slices.Max(usual.errorEnd))
}

// circuitOf lists what was hidden, so that the study can be read.
func circuitOf(jobs []unknownJob) string {
	var out []string
	for _, j := range jobs {
		out = append(out, j.truth+" ("+j.complaint+")")
	}
	return strings.Join(out, ", ")
}

func round(d time.Duration) string {
	return fmt.Sprintf("%.1f ms", d.Seconds()*1000)
}

func (s *study) row() string {
	row := fmt.Sprintf("| %d | %.0f | %.0f | %.0f | %.0f, %.0f | %.0f | %.0f, %.0f |", s.draws, mean(s.openSolves), mean(s.turnSolves),
		quantile(s.opens, 0.5), quantile(s.turns, 0.5), quantile(s.turns, 0.9), mean(s.particles), mean(s.leading), quantile(s.leading, 0.1))
	return row + fmt.Sprintf(" %.3f, %.3f | %.3f, %.3f | %.0f %% |\n", mean(s.errorAt), quantile(s.errorAt, 0.9), mean(s.errorEnd),
		slices.Max(s.errorEnd), 100*mean(s.topped))
}

const reportHead = `# What inference costs

Written by ` + "`COILSIDE_FULL=1 go test ./engine/vehicle -run CostOfInference -timeout 60m`" + `.

%d jobs of %d readings on simulated vehicles with one hidden fault. The diagnosis knows
12 V and the complaint, and nothing of the wiring: %d shapes of network are possible, and
%d suspects. The readings are the ones that it asked for itself. Every row feeds the
same readings to the joint inference, with another number of draws a suspect; the errors
are the total variation of the whole ranking (half the sum of the differences in
probability over all suspects, 0 to 1) from the ranking by %d draws, %d times the usual %d,
with another seed; the last row is the reference with a third seed, so its error is what is
left of luck in the reference itself. A solve is one factoring of a network. Times are of
one processor.

`

const reportTail = `
A fresh rulebook is compiled in %s; its first job opens in %s, the same job again in
%s. Only the networks of the wirings met so far are kept between jobs.

Weighting draws from the prior and nothing else would not do: after the readings of a job
a median of %.1f of %d draws of the true suspect would still count, and in one job of ten
%.2f or fewer. One draw for every wiring, suspect and guess would be %.1f million circuits
before the first reading.

## What was chosen

A suspect is carried by a small cloud of particles. A particle is one complete guess: a
wiring, a value for everything that varies, and a size of the fault. All suspects take their
numbers from the same Latin hypercube, so that they differ by their fault and not by their
luck. A cloud whose readings leave few particles any weight grows from 64 to 256, hears the
readings again, and is renewed: the reading is let in by degrees, the particles are copied
in proportion to their weights, and each copy makes a move that leaves the posterior as it
is. The moves of all clouds use the same random numbers. Suspects that expect the same of
a reading share one estimate of its likelihood, so that a reading that has nothing to do
with them tells nothing apart.

%s

Hidden in the jobs: %s.
`
