// Package diagnosis holds one job's state of knowledge: the facts given, what
// the rules made of them, the ranking of suspects, the tests worth doing and
// the conclusion. It is pure: the same opening and the same entries in the same
// order give the same answers, byte for byte on one architecture.
package diagnosis

import (
	"coilside/engine/rank"
	"coilside/rules"
)

// Opening is everything said when a job was opened. Facts are by fact id, as
// declared by the rulebook (control_side, load_amps, mounting ...); an absent fact
// is unknown.
type Opening struct {
	Complaint string
	Facts     map[string]rules.Value
	Seed      uint64
}

// Answer is what a test gave.
type Answer = rank.Answer

// Reading is one answered test, asked for or not.
type Reading struct {
	Entry   int    // the log entry it stands for, > 0
	Test    string // "" when taken unasked
	Measure rules.Measure
	Setup   rules.Setup
	Answer  Answer
}

// Repair is one thing done about a suspect and what became of the complaint.
type Repair struct {
	Entry   int
	Suspect string
	Result  string // gone, still_there, changed
	Now     string // what is complained of after it, where it is not the same; "" = not said
}

// Ranked is one suspect of the ranking.
type Ranked struct {
	Suspect     string
	Probability float64 // 0..1; the ranking sums to 1
	Reasons     []Reason
}

// Reason is one thing that moved a suspect: a reading, a rule or the complaint.
type Reason struct {
	Entry    int     // reading, else 0
	Rule     string  // rule id, else ""
	Bits     float64 // log2 of the odds it moved this suspect by against the field; sign = direction
	Words    string
	Expected string // what this suspect predicts for that reading, in words
}

// Proposal is one test worth doing now.
type Proposal struct {
	Test     *rules.Test
	Measure  rules.Measure // roles resolved
	Setup    rules.Setup
	Say      string
	Why      string
	Gain     float64 // bits expected about what to repair
	Minutes  float64 // with the change of setup from where the technician stands
	Cautions []string
	Outcomes []Outcome

	outlook *rank.Outlook // of the test itself
	opening *rank.Outlook // of the test it is worth doing for: itself, or one that it makes safe
	proving float64       // minutes of that one
}

// Outcome is one possible result of a test and what it would make likeliest.
type Outcome struct {
	Words       string // "about 12.4 V", "click"
	Probability float64
	Then        []Ranked // the leading suspects after it, without reasons
}

// Conclusion is what the readings prove.
type Conclusion struct {
	Kind        string // single, pair, tied
	Suspects    []string
	Probability float64
	Proof       []int // entries
	Repair      []string
	Check       []string
	Verify      string // words of the proving test
}
