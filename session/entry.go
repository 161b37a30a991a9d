package session

import (
	"encoding/json"
	"fmt"
	"time"

	"coilside/rules"
)

// Kinds of Entry.
const (
	kindOpened    = "opened"
	kindReading   = "reading"
	kindFact      = "fact"
	kindStands    = "stands"   // how the vehicle stands, said without a reading
	kindAccepted  = "accepted" // the caution of a load that moves was accepted
	kindRetracted = "retracted"
	kindSkipped   = "skipped"
	kindRepaired  = "repaired"
	kindClosed    = "closed"
	kindMoved     = "moved" // to other rules: from here on the whole job is seen as they see it
)

// Entry is one line of a job's log. The log is the only truth of a job;
// everything else is computed from it. Exactly one of the fields below the blank
// line is set, by Kind.
type Entry struct {
	Entry  int       `json:"entry"` // number in the job, from 1
	Kind   string    `json:"kind"`
	Turn   int       `json:"turn"` // first entry of the call or utterance that made it
	Time   time.Time `json:"time"`
	Engine string    `json:"engine"`          // version that made Shown
	Rules  string    `json:"rules"`           // content hash of the rules that made Shown
	Said   string    `json:"said,omitempty"`  // the utterance it came from
	Words  string    `json:"words,omitempty"` // what was understood, to read back
	Notes  []string  `json:"notes,omitempty"` // doubts and remarks that came with it
	Owner  string    `json:"owner,omitempty"` // of the opening: the front end whose job it is; "" = nobody's own
	Shown  []Shown   `json:"shown,omitempty"` // the ranking shown after it; with the last entry of an utterance

	Opened    *OpenRequest `json:"opened,omitempty"`
	Reading   *Reading     `json:"reading,omitempty"`
	Fact      *FactTold    `json:"fact,omitempty"`
	Stands    *rules.Setup `json:"stands,omitempty"`
	Accepted  string       `json:"accepted,omitempty"` // the caution
	Retracted []int        `json:"retracted,omitempty"`
	Skipped   *Skipped     `json:"skipped,omitempty"`
	Repaired  *Repaired    `json:"repaired,omitempty"`
	Closed    string       `json:"closed,omitempty"` // outcome
	Proven    bool         `json:"proven,omitempty"` // of closed: the repair was proven
	Moved     *RulesMove   `json:"moved,omitempty"`
}

// Shown is one line of a ranking as it was shown.
type Shown struct {
	Suspect     string  `json:"suspect"`
	Probability float64 `json:"probability"`
}

// Reading is one answered test, asked for or not.
type Reading struct {
	Test    string        `json:"test,omitempty"`
	Measure rules.Measure `json:"measure,omitzero"`
	Setup   rules.Setup   `json:"setup,omitzero"`
	Answer  Answer        `json:"answer"`
}

// FactTold is a fact given outside a test.
type FactTold struct {
	Fact  string    `json:"fact"`
	Value FactValue `json:"value"`
}

// FactValue is a fact's value: in JSON true, false, a number or a text.
type FactValue rules.Value

// Skipped is a test that can't or won't be done.
type Skipped struct {
	Test   string `json:"test"`
	Reason string `json:"reason,omitempty"`
}

// Repaired is what was done about a suspect and what became of the complaint.
type Repaired struct {
	Suspect string        `json:"suspect"`
	Action  string        `json:"action,omitempty"`
	Result  string        `json:"result"`
	Now     string        `json:"now,omitempty"`   // what is complained of after it, where it is not the same
	Proof   []ChosenProof `json:"proof,omitempty"` // tests that prove it, chosen when it was said to have helped
}

// ChosenProof is one test that proves a repair, and what it must give. It is kept in the log,
// so that what is read later does not change what was asked for.
type ChosenProof struct {
	Test    string        `json:"test"`
	Measure rules.Measure `json:"measure"`
	Low     float64       `json:"low"`              // of a number: V, ohms or A
	High    float64       `json:"high"`             //
	Over    bool          `json:"over,omitempty"`   // OL
	Choice  string        `json:"choice,omitempty"` // of a choice
	Free    bool          `json:"free,omitempty"`   // the circuit does not decide it: any answer will do
}

// MarshalJSON writes the value alone.
func (v FactValue) MarshalJSON() ([]byte, error) {
	switch v.Kind {
	case rules.Bool:
		return json.Marshal(v.Bool)
	case rules.Number:
		return json.Marshal(v.Number)
	}
	return json.Marshal(v.Text)
}

// UnmarshalJSON reads a value back. A text and a choice look alike: both come
// back as a choice, and the rulebook says which the fact is.
func (v *FactValue) UnmarshalJSON(data []byte) error {
	var any any
	if err := json.Unmarshal(data, &any); err != nil {
		return err
	}
	switch value := any.(type) {
	case bool:
		*v = FactValue{Kind: rules.Bool, Bool: value}
	case float64:
		*v = FactValue{Kind: rules.Number, Number: value}
	case string:
		*v = FactValue{Kind: rules.Choice, Text: value}
	default:
		return fmt.Errorf("a fact's value must be true, false, a number or a text, not %s", short(string(data)))
	}
	return nil
}

// record is one line of the journal: what one call wrote, all or nothing.
type record struct {
	Key     string  `json:"key,omitempty"`
	Call    string  `json:"call,omitempty"` // fingerprint of the keyed call
	Entries []Entry `json:"entries"`
	Reply   *Reply  `json:"reply,omitempty"` // of a keyed call, to give again
}

// taken lists the entries that were taken back.
func taken(log []Entry) map[int]bool {
	gone := map[int]bool{}
	for _, e := range log {
		for _, n := range e.Retracted {
			gone[n] = true
		}
	}
	return gone
}

// standing lists the entries that count: not taken back and no taking back.
func standing(log []Entry) []Entry {
	gone := taken(log)
	var out []Entry
	for _, e := range log {
		if !gone[e.Entry] && e.Kind != kindRetracted {
			out = append(out, e)
		}
	}
	return out
}
