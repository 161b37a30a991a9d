package study

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"coilside/engine/diagnosis"
	"coilside/engine/vehicle"
	"coilside/rules"
)

// mostDraws is how many vehicles are drawn until one complains.
const mostDraws = 5000

// accesses are where one gets at the relay, in the order of every table of minutes.
var accesses = []string{"bonnet", "dash", "under"}

// Job is one vehicle brought in, and what was said when the job was opened.
type Job struct {
	Stratum   Stratum
	Seed      uint64
	Number    int
	Vehicle   *vehicle.Vehicle
	Faults    []string
	Complaint string
	Facts     map[string]rules.Value
	Access    int      // 0 bonnet, 1 dash, 2 under
	Silent    []string // faults drawn before this one that caused no complaint

	rng *rand.Rand
}

// Dealer draws jobs.
type Dealer struct {
	Knowledge *diagnosis.Knowledge
	Can       func(*rules.Suspect) bool // suspects that the answering vehicle can have; nil = all
}

// Deal draws the job of that number: first the circuit, then the truth, evenly over
// the suspects of the stratum that can occur in that circuit, then the sizes of the
// fault, log-evenly over the ranges that the rulebook states. A fault that causes no
// complaint is noted and another circuit drawn. The same arguments give the same job.
func (d *Dealer) Deal(s Stratum, seed uint64, number int) (*Job, error) {
	name := fnv.New64a()
	name.Write([]byte(s.ID))
	j := &Job{Stratum: s, Seed: seed, Number: number}
	j.rng = rand.New(rand.NewPCG(seed, name.Sum64()+uint64(number)))
	for range mostDraws {
		ok, err := j.draw(d)
		if err != nil {
			return nil, fmt.Errorf("job %d of %s, seed %d: %w", number, s.ID, seed, err)
		}
		if ok {
			j.Access = j.rng.IntN(len(accesses))
			j.tell(d.Knowledge.Book())
			return j, nil
		}
	}
	return nil, fmt.Errorf("job %d of %s, seed %d: none of %d vehicles complains", number, s.ID, seed, mostDraws)
}

// draw makes one vehicle; false where it can't be a job.
func (j *Job) draw(d *Dealer) (bool, error) {
	k := d.Knowledge
	o := vehicle.Options{Book: k.Book(), Model: k.Model(), Flat: true, Seed: j.rng.Uint64()}
	v, err := vehicle.New(o)
	if err != nil {
		return false, err
	}
	j.Faults = nil
	if o.Faults = j.truth(d, v); len(o.Faults) < j.Stratum.Faults {
		return false, nil
	}
	o.Wiring, o.Seed = v.Choices(), j.rng.Uint64()
	if v, err = vehicle.New(o); err != nil {
		return false, err
	}
	j.Vehicle, j.Faults, j.Complaint = v, o.Faults, v.Complaint()
	if len(o.Faults) == 0 { // what made the customer come lies elsewhere
		all := k.Book().Complaints
		j.Complaint = all[j.rng.IntN(len(all))].ID
		return true, nil
	}
	if j.Complaint == "" {
		if len(o.Faults) == 1 {
			j.Silent = append(j.Silent, o.Faults[0])
		}
		return false, nil
	}
	return eachComplains(o)
}

// truth draws the faults, evenly over those that the circuit can have.
func (j *Job) truth(d *Dealer, v *vehicle.Vehicle) []string {
	k := d.Knowledge
	var possible []string
	for _, s := range k.Book().Suspects {
		if f, ok := k.Model().Fault(s.ID); ok && j.Stratum.hides(s) && (d.Can == nil || d.Can(s)) && k.Model().Possible(f, v.Wiring()) {
			possible = append(possible, s.ID)
		}
	}
	j.rng.Shuffle(len(possible), func(a, b int) { possible[a], possible[b] = possible[b], possible[a] })
	return slices.Clone(possible[:min(j.Stratum.Faults, len(possible))])
}

// eachComplains reports whether any one of two faults goes on to cause a complaint
// when the other is mended, so that no one repair mends both.
func eachComplains(o vehicle.Options) (bool, error) {
	if len(o.Faults) < 2 {
		return true, nil
	}
	for _, mended := range o.Faults {
		v, err := vehicle.New(o)
		if err != nil {
			return false, err
		}
		if _, err := v.Repair(mended); err != nil {
			return false, err
		}
		if len(v.Faults()) != len(o.Faults)-1 || v.Complaint() == "" {
			return false, nil
		}
	}
	return true, nil
}

// tell sets what is said of the circuit: its wiring, but for the share that stays
// unknown; no danger; and where one gets at the relay. The system's volts are
// always said.
func (j *Job) tell(book *rules.Book) {
	j.Facts = map[string]rules.Value{"load_hazard": choice("none")}
	if _, ok := book.Fact("relay_access"); ok {
		j.Facts["relay_access"] = choice(accesses[j.Access])
	}
	wiring := book.Circuits[0].Wiring
	untold := map[string]bool{}
	for n, i := range j.rng.Perm(len(wiring)) {
		untold[wiring[i].ID] = n < int(math.Round(j.Stratum.Untold*float64(len(wiring)))) && wiring[i].ID != "system_volts"
	}
	for _, w := range wiring {
		is, _ := j.Vehicle.Wiring().Choice(w.ID)
		delete(j.Facts, w.ID)
		number, err := strconv.ParseFloat(is, 64)
		switch {
		case untold[w.ID]:
		case w.Number && err == nil:
			j.Facts[w.ID] = rules.Value{Kind: rules.Number, Number: number}
		default:
			j.Facts[w.ID] = choice(is)
		}
	}
}

func choice(text string) rules.Value { return rules.Value{Kind: rules.Choice, Text: text} }
