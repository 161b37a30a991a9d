// Package rules reads, checks and compiles rulebooks: the knowledge that a
// senior technician edits, kept as YAML files. It knows the language, its types
// and its units; it knows no circuit theory and no diagnosis.
package rules

import "slices"

// Book is one checked rulebook: every layer of rule folders merged, every name
// resolved and every expression compiled. A Book is immutable once loaded and
// safe for concurrent use.
type Book struct {
	Name       string // of the topmost layer
	Hash       string // SHA-256 over the canonical content of all layers, hex
	Facts      []*Fact
	Parameters []*Parameter
	Circuits   []*Circuit
	Complaints []*Complaint
	Suspects   []*Suspect
	Tests      []*Test
	Rules      []*Rule
	Words      []*Synonym
	Tables     []*Table

	index     index
	sources   []SourceLayer
	overrides []Override
	items     map[itemKey]placed
	used      map[string]bool // names that some expression reads
}

// Parameter is a named number of the trade, such as a drop limit, usable in
// every expression. Source says where it was published; "practice" marks common
// practice without a published source.
type Parameter struct {
	ID     string
	Value  float64
	Unit   string
	Source string
	Words  string
	Pos    Pos

	at spots
}

// Kind is the type of a fact's value.
type Kind string

const (
	Bool   Kind = "bool"
	Number Kind = "number"
	Choice Kind = "choice"
	Text   Kind = "text"
)

// Fact is a declared name that rules may read or set. Every test also declares
// the fact its answer sets (Test.Sets), with the type its mode implies.
type Fact struct {
	ID    string
	Kind  Kind
	Unit  string     // of a number: volt, ohm, ampere, celsius, minute, watt, or "" for a bare number
	Range [2]float64 // of a number: inclusive; both 0 = unbounded
	Of    []string   // of a choice: the values it may take
	Words string     // what it is, for reading aloud: "mounting of the relay"
	Pos   Pos

	loose    bool // a number whose unit is not stated: it takes the unit of what it stands beside
	unclear  bool // a choice whose test lacks its answers
	explicit bool // stands under facts
	place    int  // in its column of a Frame
	at       spots
}

// Circuit is one kind of circuit as data: what may vary in its wiring, the
// chains of elements between named nodes, and the values of the elements.
type Circuit struct {
	ID     string
	Words  string
	Wiring []*Wiring      // what may be unknown about the wiring, in order
	Allow  []*Formula     // conditions that every possible wiring meets
	Names  []*DerivedName // roles: a name for a terminal that follows from the wiring
	Vary   []*Quantity    // named unknown numbers, in order; each may use the ones before it
	Parts  []*Element
	Chains []*Chain
	// Surroundings are what lies round the circuit and matters only to a fault that
	// acts on it: shared grounds, neighbours, other ways to be wired.
	Surroundings []*Surrounding
	Pos          Pos

	shaping map[string]bool // see Shaping
	at      spots
}

// Wiring is one discrete unknown of a circuit, with how often the trade meets
// each choice. Shares are relative and need not sum to one.
type Wiring struct {
	ID     string
	Words  string // "what commands the coil"; "" = the id in words
	Of     []string
	Shares []float64 // same length as Of, each >= 0
	Number bool      // formulas see the choice as a number (system volts), not as text
	Unit   string    // of a number; "" = takes the unit of what it is compared with
	Pos    Pos

	at spots
}

// DerivedName gives a name to something that follows from the wiring: either a
// role such as the terminal on the supply side (used as {id} in chains, tests
// and words), or a field of the opening that is not free but follows.
type DerivedName struct {
	ID  string
	Is  *Formula // evaluates to text
	Pos Pos

	at spots
}

// Quantity is an unknown number of the circuit, drawn once a draw.
type Quantity struct {
	ID    string
	Unit  string
	Known string // fact that, when known, pins it (the spread is then KnownSpread about the fact)
	Value Spread
	// KnownSpread is the relative standard deviation of the log-normal about the
	// fact Known when that is known; nil = exactly the fact.
	KnownSpread *Formula
	Pos         Pos

	at spots
}

// Spread says how a number varies. Exactly one form is set:
//
//	Exactly          the number itself
//	About, Spread    log-normal around About, Spread = relative standard deviation
//	About, PlusMinus normal around About, PlusMinus = absolute standard deviation
//	Between          log-even between two numbers > 0
//	Even             even between two numbers
type Spread struct {
	Exactly   *Formula
	About     *Formula
	Spread    *Formula
	PlusMinus *Formula
	Between   []*Formula // nil or two
	Even      []*Formula // nil or two
	Pos       Pos
}

// Element is one part of a circuit. Kind is one of source, wire, joint, fuse,
// key, control, coil, make, rest, suppressor, load, ground, plug.
type Element struct {
	ID     string
	Kind   string
	Words  string
	Values map[string]Spread // by the names its kind takes: ohms, volts, amps, pull_in, drop_out, cold_ohms ...
	Pos    Pos

	at    spots
	order []string // keys of Values as in the file
}

// Chain is a run of elements in series between named nodes, present when the
// wiring meets When. Steps alternate node, element, node ...; the source text is
// "node [element] node [element] node". A node or element may hold {role}
// placeholders.
type Chain struct {
	When  *Formula // nil = always
	Steps []string
	Pos   Pos

	at spots
}

// Surrounding is a piece of circuit that is there only where a fault acts on one of
// its own elements, or rewires the circuit to it. Its chains stand in the place of
// what the circuit's own chains say of the same elements.
type Surrounding struct {
	ID     string
	Words  string
	Chains []*Chain
	Pos    Pos

	at spots
}

// Complaint is what the customer says is wrong, with how often the trade finds
// each suspect behind it.
type Complaint struct {
	ID     string
	Words  string
	Prove  []string           // tests that show the complaint gone under the condition that provoked it, the first that fits the circuit; none = the suspect's own is enough
	Priors map[string]float64 // pattern of suspect ids ("terminal_*.loose") to relative weight, shared by all that match
	Pos    Pos

	// Own is the weight of single suspects that a later layer gave them; it goes
	// before every pattern.
	Own map[string]float64

	at       spots
	patterns []spot // the keys of Priors, in file order
	ownAt    []spot // the keys of Own
}

// Suspect is something that can be wrong: "element.fault".
type Suspect struct {
	ID      string
	Element string
	Fault   string
	Words   string   // "the coil fuse is blown"
	When    *Formula // wirings in which it can occur; nil = all; on an unknown that does not shape the circuit (see Circuit.Shaping) it may hang alone
	Prior   float64  // relative weight where the complaint's own table is silent, > 0
	Does    []Effect // what it does to the circuit; empty = no circuit effect
	Stays   bool     // refitting the relay cures nothing, though a joint is bad
	Repair  Repair
	Pos     Pos

	at spots
}

// Effect is what a suspect does to one element of the circuit.
type Effect struct {
	To       string   // element id
	Open     bool     // the element conducts nothing
	AddOhms  *Spread  // so many ohms in series with it
	ShortTo  string   // "ground" or "supply": its load-side end is joined there through Ohms
	Ohms     *Spread  // of the short
	Join     []string // two places joined through Ohms, or nil
	Hold     string   // closed, open (contacts, control); over, rest (armature); inverted (control); reversed (suppressor)
	Rewire   string   // the surrounding that the circuit is wired like instead
	Pulse    *Spread  // the control conducts this part of the time while commanded, 0..1
	Slow     bool     // of a pulse: the relay's armature follows it
	Only     string   // where the effect is there only sometimes: hot, loaded, engine_off, neighbours_on, tap_on
	Scale    string   // name of the value that is multiplied by By
	By       *Spread  // factor, > 0
	Instead  string   // for a contact: "make" or "rest": behaves as the other kind
	ComesAnd *Spread  // chance, 0..1, that the effect is there at any one reading; nil = always
	OneOf    []Effect // exactly one of these, evenly (YAML one_of)
	AllOf    []Effect // all of these together (YAML all_of)
	Pos      Pos

	at spots
}

// Repair is what to do about a suspect and how to prove it worked.
type Repair struct {
	Do     string   // imperative sentence
	Check  []string // what to look at while there
	Verify string   // test id that proves the repair
	Class  string   // suspects of one class are mended by the same act; default: the element

	at spots
}

// Mode of a measurement; the names are those outside programs use.
type Mode string

const (
	VoltsDC  Mode = "volts_dc"
	Ohms     Mode = "ohms"
	AmpsDC   Mode = "amps_dc"
	MinMax   Mode = "min_max"
	TestLamp Mode = "test_lamp"
	Bridge   Mode = "bridge"
	Watch    Mode = "watch"
	Listen   Mode = "listen"
	Reseat   Mode = "reseat"
	Swap     Mode = "swap"
	Look     Mode = "look"
	PullIn   Mode = "pull_in"
	DropOut  Mode = "drop_out"
	Ask      Mode = "ask"
)

// Measure says what is measured and where the leads go. Places are
// "socket.86", "back.30", "relay.85", "battery.negative", "load.in" and so on.
type Measure struct {
	Mode     Mode   `json:"mode"`
	Red      string `json:"red,omitempty"`
	Black    string `json:"black,omitempty"`
	At       string `json:"at,omitempty"`
	How      string `json:"how,omitempty"`
	During   string `json:"during,omitempty"`
	From     string `json:"from,omitempty"`
	To       string `json:"to,omitempty"`
	Question string `json:"question,omitempty"`
}

// Places lists where the leads or a jumper's ends go; none for what is looked at, heard or asked.
func (m Measure) Places() []string {
	return slices.DeleteFunc([]string{m.Red, m.Black, m.From, m.To}, func(place string) bool { return place == "" })
}

// Setup is the state the circuit is put in for a measurement.
type Setup struct {
	Relay     string   `json:"relay"`               // in, out, bench
	Key       string   `json:"key"`                 // on, off
	Command   string   `json:"command"`             // on, off: the control is asked to run the load
	Coil      string   `json:"coil,omitempty"`      // on the bench: rest, energised
	Unplugged []string `json:"unplugged,omitempty"` // elements unplugged; follows from *_part places. "tap" = wiring that was added later

	Heat       string `json:"heat,omitempty"`       // soaked: after ten minutes of load or warm air; "" = as found
	Engine     string `json:"engine,omitempty"`     // running; "" = off
	Neighbours string `json:"neighbours,omitempty"` // on: other loads on the same feed or ground run; "" = off
}

// Usual leaves out what is said but is so anyway: an engine that is off, neighbours
// that are off.
func (s Setup) Usual() Setup {
	if s.Engine == "off" {
		s.Engine = ""
	}
	if s.Neighbours == "off" {
		s.Neighbours = ""
	}
	return s
}

// Conditions is the part of a setup that few tests ask for, as a key; "" where the
// setup says nothing of it.
func (s Setup) Conditions() string {
	if s.Heat == "" && s.Engine == "" && s.Neighbours == "" {
		return ""
	}
	return " heat " + s.Heat + " engine " + s.Engine + " neighbours " + s.Neighbours
}

// Test is one thing a technician can do and the answer it gives.
type Test struct {
	ID       string
	Measure  Measure
	Setup    Setup
	Sets     string   // fact that the answer sets; default: ID
	When     *Formula // condition on facts of the opening and the wiring under which it makes sense; nil = always
	Say      string   // one plain sentence, imperative; may hold {role} placeholders
	Why      string
	Words    string     // short name: "volts at 86, relay out"
	Minutes  [3]float64 // access: box under bonnet, under dash, under vehicle or behind trim
	Tool     string     // meter, lamp, jumper, clamp, bench_supply, spare_relay, none
	Of       []string   // ask: the answers
	Reads    *Spread    // ask: the number of the sound circuit that the answer, a number too, comes nearest to; about and spread; nil = none
	Expect   []Expect   // hand-given likelihoods, for what the circuit does not predict
	Cautions []string
	Proof    bool // offered only to prove a repair, never to find a fault
	Pos      Pos

	at spots
}

// Expect gives how likely each answer is for the suspects that match.
type Expect struct {
	Suspects []string           // patterns; empty = all others
	Answers  map[string]float64 // choice to probability; the rest is spread evenly over the others
	Number   *Spread            // or, for a number: what it reads
	Pos      Pos

	at    spots
	words []spot // the keys of Answers, in file order
}

// Rule is one piece of experience.
type Rule struct {
	ID      string
	When    *Condition
	Then    []Action
	Because string
	Source  string   // published source, or "practice"
	Safety  bool     // other layers may tighten it, never loosen or switch it off
	Over    []string // rules whose value for the same fact this one replaces
	Late    bool     // reads suspected() or concluded(): fires after the ranking
	Pos     Pos

	at    spots
	reads []int // indexes into Book.Facts, sorted
	sets  []int
	over  []int // indexes into Book.Rules, sorted
	level int
}

// Do names what an action does.
type Do string

const (
	Set     Do = "set"      // Fact, To
	Weigh   Do = "weigh"    // Suspects, By
	RuleOut Do = "rule_out" // Suspects; only what the circuit cannot have
	Require Do = "require"  // Tests: before any conclusion
	Forbid  Do = "forbid"   // Tests
	Prefer  Do = "prefer"   // Tests, By
	Advise  Do = "advise"   // Say
	Caution Do = "caution"  // Say
)

// Action is one effect of a rule that fires.
type Action struct {
	Do       Do
	Fact     string
	To       *Condition // value expression, for Set
	Suspects []string   // resolved ids
	Tests    []string   // resolved ids
	By       float64    // odds factor (weigh) or worth factor (prefer), > 0
	Say      string
	Pos      Pos

	at      spots
	written []string // suspects or tests as written
}

// Synonym maps trade words to a canonical word of the plain-words reader.
type Synonym struct {
	Means string
	Said  []string // Heard too
	Heard []string // what a recogniser of speech listens for
	Pos   Pos
}

// Pos is a place in a rule file. Line and Column count from 1; the zero Pos
// means "no file".
type Pos struct {
	File   string
	Line   int
	Column int
}
