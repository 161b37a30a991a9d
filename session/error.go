package session

// Kind says what sort of refusal an Error is. Kinds are stable: programs may
// act on them.
type Kind string

// The kinds of refusal.
const (
	Invalid  Kind = "invalid"   // a value that cannot be: outside its range, not one of the choices
	NotFound Kind = "not_found" // no such job, test, suspect, entry or ruleset
	Conflict Kind = "conflict"  // the job has moved on since the caller looked, or a key is used for something else
	Unsafe   Kind = "unsafe"    // refused because someone could get hurt or something could burn
	Closed   Kind = "closed"    // the job is closed
	Limit    Kind = "limit"     // more than the service takes: too long, too many
	Rules    Kind = "rules"     // a rulebook that cannot be used; File, Line and Column say where
	Damaged  Kind = "damaged"   // the job's log is not as it was written; File and Line say where
	Storage  Kind = "storage"   // the disk or the database failed; nothing was stored; File says which
	Internal Kind = "internal"  // a fault of ours; the message gives nothing away
)

// Error is a refusal that a caller can act on. Message is one clear sentence;
// the other fields name what it is about and are empty where they don't apply.
type Error struct {
	Kind    Kind
	Message string
	Field   string // the request's field, dotted: circuit.load.amps
	Nearest string // the nearest valid choice to what was given
	Job     string
	Test    string
	File    string // of a rulebook, a log or the database
	Line    int    // from 1; 0 = none
	Column  int    // from 1; 0 = none
}

func (e *Error) Error() string { return e.Message }
