package session

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"coilside/engine/diagnosis"
	"coilside/session/picture"
)

// JobRecord is the record of a job: what a shop files, and what its customer's page is
// made of. All of it follows from the log.
type JobRecord struct {
	Job       string     `json:"job"`
	Label     string     `json:"label"`
	Complaint string     `json:"complaint"` // in words
	Opened    time.Time  `json:"opened"`
	Ended     *time.Time `json:"ended"` // null while the job is open
	State     string     `json:"state"`
	Outcome   string     `json:"outcome"` // "" while the job is open
	Ending    string     `json:"ending"`  // how it ended and why, a sentence

	Known       []Known        `json:"known"` // of the circuit
	Readings    []RecordLine   `json:"readings"`
	Found       *Finding       `json:"found"` // null where nothing was proved
	Done        []RecordRepair `json:"done"`
	Proof       *Proof         `json:"proof_of_repair"` // of the last repair, null if none helped
	NotExcluded []Suspect      `json:"not_excluded"`
	Cautions    []string       `json:"cautions"`

	Ruleset string   `json:"ruleset"` // name
	Rules   string   `json:"rules"`   // content hash
	Engine  string   `json:"engine"`
	Notes   []string `json:"notes"` // about the replay
}

// Known is one thing that was told or looked up about the circuit.
type Known struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

// RecordLine is one entry of the log that says something of the vehicle, and what it meant.
type RecordLine struct {
	Entry     int       `json:"entry"`
	Time      time.Time `json:"time"`
	Words     string    `json:"words"`
	Said      string    `json:"said,omitempty"`
	Meant     string    `json:"meant"` // what it did to the ranking; "" if nothing was shown
	Notes     []string  `json:"notes"`
	TakenBack bool      `json:"taken_back"`
}

// Finding is what was proved when the repair was begun, or now where none was.
type Finding struct {
	Kind        string   `json:"kind"` // single, pair, tied
	Suspects    []string `json:"suspects"`
	Words       string   `json:"words"`
	Probability float64  `json:"probability"`
	Proof       []string `json:"proof"` // the readings that bear it out and what each is worth
	Entries     []int    `json:"entries"`
}

// RecordRepair is one thing that was done.
type RecordRepair struct {
	Entry   int       `json:"entry"`
	Time    time.Time `json:"time"`
	Suspect string    `json:"suspect"`
	Words   string    `json:"words"`  // what was wrong
	Action  string    `json:"action"` // what was done, as said; else what the rules say to do
	Result  string    `json:"result"` // what became of the complaint, in words
	Look    []string  `json:"look"`   // what to look at while there, so that it does not come back
}

// record gathers the record of a job.
func (s *Service) record(j *job) (JobRecord, error) {
	sum := j.summary()
	r := JobRecord{Job: j.id, Label: sum.Label, Complaint: j.complaintWords(), Opened: sum.Opened, State: sum.State, Outcome: sum.Outcome,
		Known: j.knownOfCircuit(), Readings: j.recordLines(), Done: []RecordRepair{}, Proof: j.proof(), NotExcluded: []Suspect{},
		Ruleset: j.base.book.Name, Rules: j.log[0].Rules, Engine: j.log[0].Engine, Notes: nonNil(slices.Clone(j.notes))}
	for _, e := range standing(j.log) {
		switch e.Kind {
		case kindClosed:
			r.Ended, r.Ending = &e.Time, sentence(e.Words)
		case kindRepaired:
			r.Done = append(r.Done, j.recordRepair(e))
		}
	}
	at, err := j.before(j.lastRepair())
	if err != nil {
		return r, err
	}
	r.Found = j.finding(at)
	r.NotExcluded = j.notExcluded(at, r.Found)
	r.Cautions = j.recordCautions(at)
	return r, nil
}

// lastRepair is the entry of the last repair; the log's end
// where there is none.
func (j *job) lastRepair() int {
	last := len(j.log) + 1
	for _, e := range standing(j.log) {
		if e.Kind == kindRepaired {
			last = e.Entry
		}
	}
	return last
}

// before is the case as it stood before an entry.
func (j *job) before(entry int) (*diagnosis.Case, error) {
	if entry > len(j.log) {
		return j.c, nil
	}
	c, err := j.base.open(j.opening())
	if err != nil {
		return nil, j.unreplayable(j.log[0], err)
	}
	for i, e := range j.log[1 : entry-1] {
		if err := apply(c, j.log[:i+1], e); err != nil {
			return nil, j.unreplayable(e, err)
		}
	}
	return c, nil
}

// knownOfCircuit lists what is known of the circuit: what was told, and what readings made
// sure, which says so.
func (j *job) knownOfCircuit() []Known {
	out := []Known{}
	if l, err := j.layout(); err == nil && l != nil {
		for _, w := range j.base.book.Circuits[0].Wiring {
			is := l.sure(w.ID)
			if is == "" {
				continue
			}
			if _, told := j.fact(w.ID); !told {
				is += " (by the readings)"
			}
			out = append(out, Known{Name: strings.ReplaceAll(w.ID, "_", " "), Value: strings.ReplaceAll(is, "_", " ")})
		}
	}
	for _, id := range []string{"labels", "driver", "load_amps", "coil_ohms", "load_hazard", "mounting", "exposed", "temperature_c", "sealed", "rated_amps", "part"} {
		if v, ok := j.fact(id); ok {
			text := factText(v)
			if text == "" {
				text = map[bool]string{true: "yes", false: "no"}[v.Bool]
			}
			if f, declared := j.base.book.Fact(id); declared && f.Unit != "" {
				text += " " + unitSigns[f.Unit]
			}
			out = append(out, Known{Name: strings.ReplaceAll(id, "_", " "), Value: strings.ReplaceAll(text, "_", " ")})
		}
	}
	return out
}

// recordLines are the entries that say something of the vehicle, in order.
func (j *job) recordLines() []RecordLine {
	out := []RecordLine{}
	gone := taken(j.log)
	before := []Shown(nil)
	for _, e := range j.log {
		if e.Kind == kindReading || e.Kind == kindFact || e.Kind == kindSkipped || e.Kind == kindStands || e.Kind == kindAccepted {
			line := RecordLine{Entry: e.Entry, Time: e.Time, Words: sentence(e.Words), Said: e.Said, Notes: nonNil(e.Notes), TakenBack: gone[e.Entry]}
			if e.Kind == kindSkipped && e.Skipped.Reason != "" {
				line.Words = sentence(e.Words + " (" + e.Skipped.Reason + ")")
			}
			if e.Kind != kindStands && e.Kind != kindAccepted && !gone[e.Entry] {
				line.Meant = j.meaning(before, e.Shown)
				if p := j.provedBy(e.Entry); p != nil {
					line.Meant = "It belongs to the proof of the repair: " + p.state() + "."
				}
			}
			out = append(out, line)
		}
		if e.Shown != nil {
			before = e.Shown
		}
	}
	return out
}

// meaning says what an entry did to the ranking, from the rankings shown before and after it.
func (j *job) meaning(before, after []Shown) string {
	if len(after) == 0 {
		return ""
	}
	was := map[string]float64{}
	for _, s := range before {
		was[s.Suspect] = s.Probability
	}
	most, moved := 0.0, after[0]
	for _, s := range after {
		if d := s.Probability - was[s.Suspect]; d > most {
			most, moved = d, s
		}
	}
	first := after[0]
	lead := "Likeliest then: " + j.suspectWords(first.Suspect) + ", " + percent(first.Probability) + "."
	if most < 0.02 {
		return "It changed little. " + lead
	}
	from := ", up to "
	if p, shown := was[moved.Suspect]; shown {
		from = ", from " + percent(p) + " to "
	}
	text := "It spoke for: " + j.suspectWords(moved.Suspect) + from + percent(moved.Probability) + "."
	if moved.Suspect != first.Suspect {
		text += " " + lead
	}
	return text
}

func (j *job) recordRepair(e Entry) RecordRepair {
	r := RecordRepair{Entry: e.Entry, Time: e.Time, Suspect: e.Repaired.Suspect, Words: j.suspectWords(e.Repaired.Suspect),
		Action: e.Repaired.Action, Result: resultWords[e.Repaired.Result], Look: []string{}}
	if s, ok := j.base.book.Suspect(e.Repaired.Suspect); ok {
		if r.Action == "" {
			r.Action = withMarks(j.fillRoles(s.Repair.Do), j.labels())
		}
		for _, check := range s.Repair.Check {
			r.Look = append(r.Look, withMarks(j.fillRoles(check), j.labels()))
		}
	}
	return r
}

// finding is what a case has proved, with the readings that bear it out.
func (j *job) finding(c *diagnosis.Case) *Finding {
	got := c.Conclusion()
	if got == nil || !j.readAnything() {
		return nil
	}
	f := &Finding{Kind: got.Kind, Suspects: got.Suspects, Probability: got.Probability, Proof: []string{}, Entries: nonNil(got.Proof)}
	names := make([]string, len(got.Suspects))
	for i, id := range got.Suspects {
		names[i] = j.suspectWords(id)
	}
	f.Words = joined(names, map[string]string{"tied": "or"}[got.Kind])
	if got.Kind != "tied" {
		f.Words = joined(names, "and")
	}
	id := strings.Join(got.Suspects, " + ")
	if got.Kind == "tied" {
		id = got.Suspects[0]
	}
	why, err := c.Explain(id)
	if err != nil {
		return f
	}
	for _, reason := range why.Reasons {
		if slices.Contains(got.Proof, reason.Entry) {
			f.Proof = append(f.Proof, strconv.Itoa(reason.Entry)+": "+j.reasonWords(reason))
		}
	}
	return f
}

// notExcluded are the suspects that the readings left possible besides what was found.
func (j *job) notExcluded(c *diagnosis.Case, found *Finding) []Suspect {
	out := []Suspect{}
	for _, r := range c.Ranking() {
		if r.Probability < 0.01 || len(out) == mostShown {
			break
		}
		if found != nil && (slices.Contains(found.Suspects, r.Suspect) || strings.Join(found.Suspects, " + ") == r.Suspect) {
			continue
		}
		out = append(out, Suspect{Suspect: r.Suspect, Words: j.suspectWords(r.Suspect), Probability: r.Probability, Because: []string{}})
	}
	return out
}

// recordCautions are the cautions of the tests that were done, of the rules, and those accepted.
func (j *job) recordCautions(c *diagnosis.Case) []string {
	out := []string{}
	add := func(text string) { out = appendNew(out, sentence(withMarks(text, j.labels()))) }
	for _, e := range standing(j.log) {
		switch {
		case e.Kind == kindAccepted:
			add("Accepted: " + e.Accepted)
		case e.Kind == kindReading && e.Reading.Test != "":
			if t, ok := j.base.book.Test(e.Reading.Test); ok {
				for _, caution := range t.Cautions {
					add(caution)
				}
			}
		}
	}
	for _, caution := range slices.Concat(c.Cautions(), j.now().cautions) {
		add(caution)
	}
	return append(out, "Local codes and licensed practice come first. Airbag and high-voltage systems are for qualified persons only.")
}

// drawRecord draws the circuit with all readings on it, and what was found or repaired marked.
func (j *job) drawRecord(r JobRecord) (picture.Drawing, error) {
	marks := map[string]picture.Suspect{}
	if r.Found != nil {
		word := map[string]string{"tied": "ONE OF THESE: "}[r.Found.Kind]
		for _, id := range r.Found.Suspects {
			if element, fault, ok := strings.Cut(id, "."); ok && id != noFault {
				marks[element] = picture.Suspect{Words: cmpOr(word, "FOUND: ") + strings.ReplaceAll(fault, "_", " "), Proven: word == ""}
			}
		}
	}
	for _, d := range r.Done {
		if element, fault, ok := strings.Cut(d.Suspect, "."); ok {
			marks[element] = picture.Suspect{Words: "REPAIRED: " + strings.ReplaceAll(fault, "_", " "), Proven: true}
		}
	}
	k, err := j.circuitPicture(nil)
	if err != nil {
		return picture.Drawing{}, err
	}
	if len(marks) > 0 {
		k.Suspects = marks
	}
	k.Flags, k.List = j.allFlags(), false
	return k.Draw(), nil
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

func (f *Finding) sure() string {
	return fmt.Sprintf("%s (%s)", sentence(f.Words), percent(f.Probability))
}
