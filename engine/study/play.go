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
	Clock     func() float64       // milliseconds, of which differences are taken
	Log       func(string, ...any) // each turn in words; nil = not wanted
	// Fit makes the vehicle that answers, and the complaint is its own; nil = the job's vehicle.
	Fit  func(*Job) (Answerer, error)
	Mend bool // what is concluded is mended, and the job goes on, also where there is one fault
	// Seat opens a job at another desk than the diagnosis itself; nil = there.
	Seat func(*Job) (Desk, error)
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
	Truth    float64 // what was believed of the truth
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
	desk    Desk
	done    []vehicle.Taken // since the last repair
	repairs int
	r       *Result
}

// Play plays one job from the complaint to its end.
func (p *Player) Play(j *Job) (*Result, error) {
	rng := rand.New(rand.NewPCG(j.rng.Uint64(), 1))
	q := &play{Player: p, job: j, r: &Result{Job: j}}
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
	if p.Seat != nil {
		q.desk, err = p.Seat(j)
	} else {
		q.desk, err = openCase(p.Knowledge, j, p.Policy.Start(rng))
	}
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
		con, err := q.desk.Conclusion()
		if err != nil {
			return err
		}
		if con != nil {
			over, err := q.conclude(con)
			if over || err != nil {
				return err
			}
			continue
		}
		next, ok := q.desk.Next()
		if !ok {
			break
		}
		if err := q.test(next); err != nil {
			return fmt.Errorf("%s: %w", next.Test.ID, err)
		}
	}
	return q.end(End{Verdict: "none"})
}

// test does one test and tells the diagnosis.
func (q *play) test(next vehicle.Taken) error {
	for _, place := range q.job.live(next.Measure, next.Setup) {
		q.r.Live = append(q.r.Live, next.Test.ID+" at "+place)
	}
	before := q.tech.ledger.Total
	a, wrong, err := q.tech.answer(next.Measure, next.Setup)
	if err != nil {
		return err
	}
	q.r.Tests++
	next.Answer = a
	start := q.Clock()
	if err := q.desk.Record(next); err != nil {
		return err
	}
	q.r.Turns = append(q.r.Turns, q.Clock()-start)
	q.done = append(q.done, next)
	mark := ""
	if wrong {
		mark = "  WRONG READING"
	}
	q.log("%-28s %4.1f min -> %-14s | %s%s", next.Test.ID, q.tech.ledger.Total-before, diagnosis.AnswerWords(next.Measure.Mode, a), q.leading(4), mark)
	return nil
}

// conclude judges a conclusion and, where there are two faults, has it mended. It
// reports whether the job is over.
func (q *play) conclude(con *Conclusion) (over bool, err error) {
	e, err := q.judge(con)
	if err != nil {
		return true, err
	}
	if err := q.end(e); err != nil {
		return true, err
	}
	if q.job.Stratum.Faults < 2 && !q.Mend || len(q.job.Vehicle.Faults()) == 0 || q.repairs == mostRepairs {
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
	if suspect == sound {
		return true, nil
	}
	q.done = nil
	return result == "gone", q.desk.Repair(suspect, result)
}

// end notes a conclusion, and what was believed of the truth by then.
func (q *play) end(e End) error {
	truths := q.job.Vehicle.Faults()
	if len(q.job.Faults) == 0 {
		truths = []string{sound}
	}
	e.Faults, e.Position = q.job.Vehicle.Faults(), q.r.Tests
	for _, id := range truths {
		p, err := q.desk.Probability(id)
		if err != nil {
			return err
		}
		e.Truth = max(e.Truth, p)
	}
	q.log("%s: %s at %.3f %s", e.Verdict, strings.Join(e.Named, ", "), e.Claimed, e.SplitBy)
	q.r.Ends = append(q.r.Ends, e)
	return nil
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
		return q.job.Stratum.Faults < 2 && !q.Mend || len(q.job.Vehicle.Faults()) == 0
	}
	r.Exact = every((*End).good)
	r.Element = every(func(e *End) bool { return e.Element })
	r.Repair = every(func(e *End) bool { return e.Repair })
	r.LogLoss = -math.Log(max(r.Ends[len(r.Ends)-1].Truth, 1e-6))
}

func (q *play) log(format string, args ...any) {
	if q.Log != nil {
		q.Log(format, args...)
	}
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
