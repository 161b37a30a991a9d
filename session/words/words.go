// Package words turns what a technician types or says into findings: readings,
// answers, facts and commands. It is pure: it knows the words of the trade and
// what was just asked, and nothing of diagnosis, disk or time.
//
// A Reader never guesses a number. Whatever could mean two things comes back as
// a Question with its choices, and what is not understood comes back as Unread
// with the nearest thing that would be.
package words

import "coilside/rules"

// Context is what the conversation knows when something is said. The zero
// Context is usable: everything left out is unknown.
type Context struct {
	Expected     *Expected    // the test just proposed; nil = none
	Now          *rules.Setup // how the vehicle stands, from the last reading; nil = unknown
	NowSaid      bool         // Now was just said by itself: it goes before what the test asks for
	Asked        *Question    // the question just asked back; nil = none
	Labels       string       // the relay's marks: din, numbers, en, unknown
	SystemVolts  float64      // nominal, 12 or 24; 0 = unknown
	Terminals    []string     // DIN roles this relay has; nil = all five
	CoilPositive string       // coil terminal nearer the supply: 86, 85, unknown
	Complaint    string       // what is complained of now; "same as before" means this
	OpenedFor    string       // what was complained of when the job was opened; "" = Complaint
	LoadKind     string       // motor, lamp, heater, …: another kind named beside a reading is another load; "" = unknown
	Describing   bool         // the circuit is being described: a load's name tells what kind it is
	Cautioned    bool         // a caution that the load may move waits to be accepted
	Opening      bool         // no complaint yet: "never runs" is the complaint, not a reading
	Repairing    string       // suspect whose repair was proposed; "done, works now" means this
	Asks         []Ask        // facts that may be told in words
	Suspects     []Named      // for "why the coil" and "replaced the relay", likeliest first
	Last         []Finding    // what was last understood, newest last, for corrections
	Earlier      []Finding    // readings that stand from before that, newest last, for corrections that name their place
	trying       bool         // what is read is only tried, and nothing need be suggested in its place
	guessed      bool         // a mistyped number was guessed at: another is asked about plainly
}

// Expected is the test just proposed.
type Expected struct {
	ID      string
	Sets    string // fact its answer sets; "" = ID
	Measure rules.Measure
	Setup   rules.Setup
	Kind    string   // number, choice, min_max
	Of      []string // choices
}

// Ask is a fact that may be told in words: "the relay is mounted outside".
type Ask struct {
	Fact  string
	Kind  rules.Kind
	Unit  string   // of a number: volt, ohm, ampere, celsius
	Of    []string // of a choice
	Words string   // "mounting of the relay"
}

// Named is a suspect by its id and its words.
type Named struct {
	ID    string
	Words string
}

// Kinds of Finding.
const (
	KindAnswer    = "answer"    // to the expected test
	KindReading   = "reading"   // taken unasked
	KindFact      = "fact"      // Fact and Value
	KindComplaint = "complaint" // Complaint
)

// Finding is one thing understood for certain. Volts, ohms and amperes are SI.
type Finding struct {
	Kind      string
	Entry     int    // log entry, filled in by the caller for Context.Last; 0 = none
	Test      string // of an answer: id of the expected test
	Measure   rules.Measure
	Setup     rules.Setup
	Answer    Answer
	Fact      string
	Value     rules.Value
	Complaint string
	Words     string   // to read back: "12.4 V at 86, relay out, key on, switched off"
	Assumed   []string // what was not said and was taken from the test asked or from habit
	Hedge     string   // the doubt voiced with it: "bit high maybe"
	Notes     []string // said besides, kept for the record: "the donor relay is proved"
	Confirmed bool     // read back and said to be right
	unplaced  bool     // no place was said with its number
	Warning   string   // why the reading should perhaps not have been taken; the caller decides
}

// Answer is what a test gave: exactly one form. Its fields are those of
// diagnosis.Answer, so that the two convert.
type Answer struct {
	Number *float64    // volts, ohms or amperes
	Over   bool        // OL: open or over range
	Choice string      // one of the test's choices
	MinMax *[2]float64 // volts, lowest and highest
	Unsure bool        // never set here: unsure is a Command
}

// Kinds of Command.
const (
	CmdUnsure  = "unsure"
	CmdSkip    = "skip"    // Reason
	CmdWhy     = "why"     // Suspects named, or none: the proposed test
	CmdElse    = "else"    // other tests
	CmdUndo    = "undo"    // take back the last entry
	CmdCorrect = "correct" // take back Entry; the findings beside it replace it
	CmdStatus  = "status"
	CmdHelp    = "help"
	CmdHow     = "how"    // how the proposed test is done, in more words
	CmdWait    = "wait"   // heard, and nothing found yet: "ok", "hang on", "doing it now"
	CmdRepeat  = "repeat" // say the proposed test again
	CmdRepair  = "repair" // Suspects, Action, Result
	CmdDone    = "done"
	CmdReady   = "ready" // the caution is accepted
	CmdYes     = "yes"
	CmdNo      = "no"
	CmdSetup   = "setup" // Setup: how the vehicle now stands, without a reading
)

// Command is something wanted rather than found.
type Command struct {
	Kind     string
	Reason   string      // skip: in the technician's words
	Places   []string    // skip: the places whose tests are skipped; none = the proposed test
	Entry    int         // correct: the entry that is replaced
	Suspects []string    // why, repair: ids that fit the words, best first, as given on a tie
	Action   string      // repair: in the technician's words
	Result   string      // repair: gone, still_there, changed; "" = not said
	Now      string      // repair: what is complained of after it, where it is not the same; "" = not said
	Setup    rules.Setup // setup: only what was said
}

// Question asks back what could not be settled. Give it back in Context.Asked
// with the answer. No choice fitting, Choices is empty and any words may answer.
type Question struct {
	Text    string
	Choices []Choice
	Heard   string // the utterance it is about
	// Pending is what was heard, is read back in Text and is not stored yet. Choices then
	// holds the one choice that says yes to it.
	Pending []Finding
	// Again tells that it was not answered once already: it is left open where it is not
	// answered now.
	Again   bool
	OfSetup bool // asks how the vehicle stood: a setup alone answers part of it
}

// Choice is one way to take what was said, with what it would then mean.
type Choice struct {
	Words    string
	Findings []Finding
	Commands []Command
}

// NotUnderstood is Unread.Why where nothing more can be said.
const NotUnderstood = "that was not understood"

// AlreadyKept is Unread.Why of a correction that changes nothing.
const AlreadyKept = "it is kept like that already"

// Unread is something that was not understood or not accepted.
type Unread struct {
	Text    string // as heard
	Why     string // one sentence
	Nearest string // something near to it that would be understood; "" where there is none
	Sayable string // what can be said at the moment, where there is none
}

// Result is everything taken from one utterance.
type Result struct {
	Findings  []Finding
	Commands  []Command
	Questions []Question
	Unread    []Unread
	Answered  bool   // it answers Context.Asked, and is nothing said afresh
	Left      string // what Context.Asked was about, where it is left unanswered: it is not kept
}

func (r *Result) empty() bool {
	return len(r.Findings) == 0 && len(r.Commands) == 0 && len(r.Questions) == 0 && len(r.Unread) == 0
}

// standsAlone reports an utterance that is nothing but readings taken unasked, each
// with its place.
func (r *Result) standsAlone() bool {
	if len(r.Findings) == 0 || len(r.Commands)+len(r.Questions)+len(r.Unread) > 0 {
		return false
	}
	for _, f := range r.Findings {
		if f.Kind != KindReading || f.Measure.Red+f.Measure.At+f.Measure.From == "" {
			return false
		}
	}
	return true
}
