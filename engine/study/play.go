package study

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
)

// How long a job is played.
const (
	mostTests   = 150
	mostRepairs = 5
)

// Player plays jobs.
type Player struct {
	Knowledge *diagnosis.Knowledge
	Minutes   *Minutes
	Policy    Policy
	Clock     func() float64       // milliseconds since any fixed moment
	Log       func(string, ...any) // each turn in words; nil = not wanted
	// Fit makes the vehicle that answers, and the complaint is its own; nil = the job's vehicle.
	Fit func(*Job) (Answerer, error)
}

// Result is how one job went.
type Result struct {
	Job     *Job
	Tests   int
	Wrong   int // readings that were wrong
	Minutes float64
	Turns   []float64 // ms from an answer to the next test
	Ends    []End
	LogLoss float64 // nats: -ln of what was believed of the truth in the end
	Live    []string

	Exact, Element, Repair bool
}

// End is one conclusion, or the lack of one, and what it is worth.
type End struct {
	Verdict  string // right, true tie, false tie, wrong, none
	Named    []string
	Claimed  float64 // probability that the fault is among those named
	Element  bool    // the first named is in the right element
	Repair   bool    // the first named has the right repair
	SplitBy  string  // of a false tie: what tells it apart
	Faults   []string
	Position int // tests done by then
}

func (e *End) good() bool { return e.Verdict == "right" || e.Verdict == "true tie" }

// play is one job in the making.
type play struct {
	*Player
	job     *Job
	tech    *technician
	current *diagnosis.Case
	choose  Chooser
	done    []vehicle.Taken // since the last repair
	entry   int
	repairs int
	r       *Result
}

// Play plays one job from the complaint to its end.
func (p *Player) Play(j *Job) (*Result, error) {
	rng := rand.New(rand.NewPCG(j.rng.Uint64(), 1))
	q := &play{Player: p, job: j, choose: p.Policy.Start(rng), r: &Result{Job: j}}
	q.tech = &technician{vehicle: j.Vehicle, has: j.Vehicle.Wiring().Has, stratum: j.Stratum, rng: rng, ledger: NewLedger(p.Minutes, j.Access)}
	if p.Fit != nil {
		v, err := p.Fit(j)
		if err != nil {
			return nil, err
		}
		q.tech.vehicle = v
		if says := v.Complaint(); says != "" && len(j.Faults) > 0 {
			j.Complaint = says
		}
	}
	var err error
	q.current, err = p.Knowledge.Open(diagnosis.Opening{Complaint: j.Complaint, Facts: j.Facts, Seed: j.Seed<<20 + uint64(j.Number)})
	if err == nil {
		err = q.run()
	}
	if err != nil {
		return nil, fmt.Errorf("job %d of %s, seed %d, hidden %s: %w", j.Number, j.Stratum.ID, j.Seed, strings.Join(j.Faults, " and "), err)
	}
	q.finish()
	return q.r, nil
}

func (q *play) run() error {
	q.log("hidden: %s; complaint %s; relay under the %s; %s", strings.Join(q.job.Faults, " and "), q.job.Complaint, accesses[q.job.Access], wiringWords(q.job))
	for q.r.Tests < mostTests {
		con := q.current.Conclusion()
		if con != nil {
			over, err := q.conclude(con)
			if over || err != nil {
				return err
			}
			continue
		}
		next, ok := q.choose(q.current)
		if !ok {
			break
		}
		if err := q.test(next); err != nil {
			return fmt.Errorf("%s: %w", next.Test.ID, err)
		}
	}
	q.end(End{Verdict: "none"})
	return nil
}

// test does one test and tells the diagnosis.
func (q *play) test(next diagnosis.Proposal) error {
	for _, place := range q.job.live(next.Measure, next.Setup) {
		q.r.Live = append(q.r.Live, next.Test.ID+" at "+place)
	}
	before := q.tech.ledger.Total
	a, wrong, err := q.tech.answer(next.Measure, next.Setup)
	if err != nil {
		return err
	}
	q.entry++
	q.r.Tests++
	start := q.Clock()
	reading := diagnosis.Reading{Entry: q.entry, Test: next.Test.ID, Measure: next.Measure, Setup: next.Setup, Answer: a}
	if err := q.current.Read(reading); err != nil {
		return err
	}
	if q.current.Conclusion() == nil {
		q.current.Next(1)
	}
	q.r.Turns = append(q.r.Turns, q.Clock()-start)
	q.done = append(q.done, vehicle.Taken{Test: next.Test, Measure: next.Measure, Setup: next.Setup, Answer: a})
	mark := ""
	if wrong {
		mark = "  WRONG READING"
	}
	q.log("%-28s %4.1f min -> %-14s | %s%s", next.Test.ID, q.tech.ledger.Total-before, diagnosis.AnswerWords(next.Measure.Mode, a), leading(q.current, 4), mark)
	return nil
}

// conclude judges a conclusion and, where there are two faults, has it mended. It
// reports whether the job is over.
func (q *play) conclude(con *diagnosis.Conclusion) (over bool, err error) {
	e, err := q.judge(con)
	if err != nil {
		return true, err
	}
	q.end(e)
	if q.job.Stratum.Faults < 2 || len(q.job.Vehicle.Faults()) == 0 || q.repairs == mostRepairs {
		return true, nil
	}
	q.repairs++
	mend := con.Suspects[:1]
	if con.Kind == "pair" {
		mend = con.Suspects
	}
	for _, suspect := range mend {
		if over, err = q.mend(suspect); over || err != nil {
			return over, err
		}
	}
	return false, nil
}

// mend repairs one suspect and tells what became of the complaint.
func (q *play) mend(suspect string) (over bool, err error) {
	before := q.tech.vehicle.Complaint()
	if _, err := q.tech.vehicle.Repair(suspect); err != nil {
		return true, err
	}
	if q.tech.vehicle != Answerer(q.job.Vehicle) { // its twin, by which it is judged
		if _, err := q.job.Vehicle.Repair(suspect); err != nil {
			return true, err
		}
	}
	result := "changed"
	switch q.tech.vehicle.Complaint() {
	case "":
		result = "gone"
	case before:
		result = "still_there"
	}
	q.log("repaired %s: %s, left %v", suspect, result, q.job.Vehicle.Faults())
	if result == "gone" || suspect == "none.found" {
		return true, nil
	}
	q.entry++
	q.done = nil
	return false, q.current.Repair(diagnosis.Repair{Entry: q.entry, Suspect: suspect, Result: result})
}

func (q *play) end(e End) {
	e.Faults, e.Position = q.job.Vehicle.Faults(), q.r.Tests
	q.log("%s: %s at %.3f %s", e.Verdict, strings.Join(e.Named, ", "), e.Claimed, e.SplitBy)
	q.r.Ends = append(q.r.Ends, e)
}

// finish works out what the whole job was worth. Two faults count as found when
// every conclusion was good and both are mended.
func (q *play) finish() {
	r := q.r
	r.Minutes, r.Wrong = q.tech.ledger.Total, q.tech.Wrong
	every := func(is func(*End) bool) bool {
		for i := range r.Ends {
			if !is(&r.Ends[i]) {
				return false
			}
		}
		return q.job.Stratum.Faults < 2 || len(q.job.Vehicle.Faults()) == 0
	}
	r.Exact = every((*End).good)
	r.Element = every(func(e *End) bool { return e.Element })
	r.Repair = every(func(e *End) bool { return e.Repair })
	truth := 0.0
	for _, id := range r.Ends[len(r.Ends)-1].Faults {
		truth = max(truth, q.current.Probability(id))
	}
	if len(q.job.Faults) == 0 {
		truth = q.current.Probability(sound)
	}
	r.LogLoss = -math.Log(max(truth, 1e-6))
}

func (q *play) log(format string, args ...any) {
	if q.Log != nil {
		q.Log(format, args...)
	}
}

// leading says the first few of a ranking.
func leading(c *diagnosis.Case, n int) string {
	live := c.Belief().Live(0)
	var out []string
	for _, h := range live[:min(n, len(live))] {
		out = append(out, fmt.Sprintf("%s %.3f", h.ID(), h.Probability()))
	}
	return strings.Join(out, ", ")
}

func wiringWords(j *Job) string {
	var out []string
	for id, is := range j.Vehicle.Choices() {
		told := ""
		if _, ok := j.Facts[id]; !ok {
			told = " (untold)"
		}
		out = append(out, id+" "+is+told)
	}
	slices.Sort(out)
	return strings.Join(out, ", ")
}
