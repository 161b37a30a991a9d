package session

import (
	"time"

	"coilside/rules"
)

// This file is the whole vocabulary that callers of a Service see. The JSON
// names are the ones outside programs rely on.

// OpenRequest opens a job. Everything but the complaint may be left out; what
// is left out is unknown and stays unknown until a reading or an answer tells.
type OpenRequest struct {
	Circuit     CircuitSpec     `json:"circuit,omitzero"`
	Complaint   string          `json:"complaint,omitempty"`
	Environment EnvironmentSpec `json:"environment,omitzero"`
	Relay       RelaySpec       `json:"relay,omitzero"`
	Tools       map[string]bool `json:"tools,omitempty"` // by name (clamp, spare_relay ...): whether it is at hand; one left out counts as at hand
	Label       string          `json:"label,omitempty"`
	Ruleset     string          `json:"ruleset,omitempty"`
	Purpose     string          `json:"purpose,omitempty"` // diagnose if left out
	Seed        *uint64         `json:"seed,omitempty"`    // fixes the draws; the same for all jobs if left out
	Key         string          `json:"key,omitempty"`
}

// CircuitSpec describes the circuit of a job; every field may be left out.
type CircuitSpec struct {
	Contact      string   `json:"contact,omitempty"`       // make, break, changeover
	ControlSide  string   `json:"control_side,omitempty"`  // ground, positive, unknown
	PowerEnters  string   `json:"power_enters,omitempty"`  // 30, 87, 87a, unknown
	LoadOn       string   `json:"load_on,omitempty"`       // 30, 87, 87a
	LoadSide     string   `json:"load_side,omitempty"`     // ground, supply
	Labels       string   `json:"labels,omitempty"`        // din, numbers, en, unknown
	Suppression  string   `json:"suppression,omitempty"`   // none, resistor, diode, unknown
	SystemVolts  *float64 `json:"system_volts,omitempty"`  // 12 or 24
	Load         LoadSpec `json:"load,omitzero"`           //
	Driver       string   `json:"driver,omitempty"`        // switch, module, unknown
	CoilOhms     *float64 `json:"coil_ohms,omitempty"`     // nominal, > 0
	CoilSupply   string   `json:"coil_supply,omitempty"`   // ignition, battery, contact_feed
	CoilPositive string   `json:"coil_positive,omitempty"` // 86, 85, unknown
	FeedFuseAt   string   `json:"feed_fuse_at,omitempty"`  // before_relay, after_relay
}

// LoadSpec describes the load.
type LoadSpec struct {
	Kind   string   `json:"kind,omitempty"`   // lamp, motor, heater, solenoid, electronics, unknown
	Amps   *float64 `json:"amps,omitempty"`   // rated, > 0
	Moves  *bool    `json:"moves,omitempty"`  // something moves when it runs
	Hazard string   `json:"hazard,omitempty"` // none, starting, fuel, lifting, brakes_or_steering, restraint, high_voltage, unknown
}

// EnvironmentSpec says where the relay lives.
type EnvironmentSpec struct {
	Exposed      *bool    `json:"exposed,omitempty"`
	TemperatureC *float64 `json:"temperature_c,omitempty"`
	Mounting     string   `json:"mounting,omitempty"`
}

// RelaySpec says what is known of the relay fitted.
type RelaySpec struct {
	Sealed    *bool    `json:"sealed,omitempty"`
	RatedAmps *float64 `json:"rated_amps,omitempty"`
	Part      string   `json:"part,omitempty"`
}

// Opened is the answer to OpenRequest.
type Opened struct {
	Job   string `json:"job"`
	Reply Reply  `json:"reply"`
}

// Write holds what every call that writes may carry.
type Write struct {
	Job   string `json:"job"`
	Key   string `json:"key,omitempty"`    // the same key again gives the same reply and writes nothing
	IfSeq *int   `json:"if_seq,omitempty"` // refused as a conflict if the job has moved on
}

// TellRequest is what the technician typed or said.
type TellRequest struct {
	Write
	Text   string `json:"text"`
	Spoken bool   `json:"spoken,omitempty"` // numbers heard are pending until confirmed
}

// RecordRequest is a reading in structured form: of a test, or unasked.
type RecordRequest struct {
	Write
	Test    string         `json:"test,omitempty"`
	Measure *rules.Measure `json:"measure,omitempty"`
	Setup   *rules.Setup   `json:"setup,omitempty"`
	Answer  Answer         `json:"answer"`
}

// RetractRequest takes an entry back; all that followed from it goes.
type RetractRequest struct {
	Write
	Entry int `json:"entry"`
}

// SkipRequest says that a test can't or won't be done now.
type SkipRequest struct {
	Write
	Test   string `json:"test"`
	Reason string `json:"reason,omitempty"`
}

// RepairRequest says what was done and what became of the complaint.
type RepairRequest struct {
	Write
	Suspect string `json:"suspect"`
	Action  string `json:"action"`
	Result  string `json:"result"`        // gone, still_there, changed
	Now     string `json:"now,omitempty"` // what is complained of after it, where it is not the same
}

// CloseRequest ends a job.
type CloseRequest struct {
	Write
	Outcome string `json:"outcome"` // fixed, unproven, abandoned
}

// ListRequest asks for up to Limit of a job's tests or suspects, 1 to 1000; 0 = a default.
type ListRequest struct {
	Job   string `json:"job"`
	Limit int    `json:"limit,omitempty"`
}

// ExplainRequest asks for the chain of reasons behind exactly one of its fields.
type ExplainRequest struct {
	Job     string `json:"job"`
	Suspect string `json:"suspect,omitempty"`
	Test    string `json:"test,omitempty"`
	Entry   *int   `json:"entry,omitempty"`
}

// ReportRequest asks for the record of a job.
type ReportRequest struct {
	Job    string `json:"job"`
	Format string `json:"format,omitempty"` // markdown (default), html, json
	For    string `json:"for,omitempty"`    // file (default), customer
}

// JobRequest names a job.
type JobRequest struct {
	Job string `json:"job"`
}

// Reply is the assistant's answer to anything that was said or recorded.
type Reply struct {
	Entry         *int         `json:"entry"`   // the entry made, null if none
	Entries       []int        `json:"entries"` // all entries made; one utterance may make several
	Seq           int          `json:"seq"`     // the job's running number
	Text          string       `json:"text"`    // for a screen
	Speech        string       `json:"speech"`  // one or two short sentences for a voice, in words as people say them
	SSML          string       `json:"ssml"`    // the same as SSML 1.1
	Understood    []Understood `json:"understood"`
	Question      *Question    `json:"question"` // asked back when something was ambiguous
	Next          *Test        `json:"next"`     // the one test proposed
	Suspects      []Suspect    `json:"suspects"`
	Conclusion    *Conclusion  `json:"conclusion"`
	ProofOfRepair *Proof       `json:"proof_of_repair"` // null unless a repair helped and the job is open
	Cautions      []string     `json:"cautions"`
	Advice        []string     `json:"advice"`

	Result *CourseResult `json:"result,omitempty"` // of a job that is not a diagnosis
}

// Understood is one thing taken from an utterance, in words and in structure.
type Understood struct {
	Entry   *int           `json:"entry"`
	Words   string         `json:"words"`
	Test    string         `json:"test,omitempty"`
	Measure *rules.Measure `json:"measure,omitempty"`
	Setup   *rules.Setup   `json:"setup,omitempty"`
	Answer  *Answer        `json:"answer,omitempty"`
	Fact    string         `json:"fact,omitempty"`
}

// Question asks back when an utterance could mean several things.
type Question struct {
	Text    string   `json:"text"`
	Choices []string `json:"choices"`
}

// Test is one proposed test.
type Test struct {
	ID       string        `json:"id"`
	Say      string        `json:"say"`
	Why      string        `json:"why"`
	Measure  rules.Measure `json:"measure"`
	Setup    rules.Setup   `json:"setup"`
	Minutes  float64       `json:"minutes"`
	Gain     float64       `json:"gain"` // expected gain, bits
	Cautions []string      `json:"cautions"`
	Accept   string        `json:"accept,omitempty"` // the caution to accept first, as the load may move; left out where none is
	Leads    []LeadAt      `json:"leads"`
	Answers  AnswerKind    `json:"answers"`
	Supply   *Supply       `json:"supply,omitempty"` // a bench supply that is on meanwhile
}

// Supply is where a bench supply is connected and what it is limited to.
type Supply struct {
	Positive string  `json:"positive"`
	Negative string  `json:"negative"`
	Volts    float64 `json:"volts"`
	Amps     float64 `json:"amps"`
}

// LeadAt says in words where one lead of a test goes.
type LeadAt struct {
	Lead  string `json:"lead"` // red, black, jumper, clamp, look
	Place string `json:"place"`
	Words string `json:"words"`
}

// AnswerKind says what answers a test takes.
type AnswerKind struct {
	Kind string   `json:"kind"` // number, choice, min_max
	Unit string   `json:"unit,omitempty"`
	Of   []string `json:"of,omitempty"`
}

// Suspect is one line of the ranking, likeliest first.
type Suspect struct {
	Suspect     string   `json:"suspect"`
	Words       string   `json:"words"`
	Probability float64  `json:"probability"` // 0..1
	Because     []string `json:"because"`
}

// Conclusion says what is proven.
type Conclusion struct {
	Kind        string   `json:"kind"` // single, pair, tied
	Suspects    []string `json:"suspects"`
	Probability float64  `json:"probability"`
	Repair      string   `json:"repair"`
	Verify      string   `json:"verify"`
	Expected    string   `json:"expected"` // what the verifying test gives in a sound circuit; "" if not computed
	Proof       []int    `json:"proof"`    // entries that prove it
}

// Tests is the answer to ListRequest for tests: best first.
type Tests struct {
	Job   string `json:"job"`
	Seq   int    `json:"seq"`
	Tests []Test `json:"tests"`
}

// Suspects is the answer to ListRequest for suspects: likeliest first.
type Suspects struct {
	Job      string    `json:"job"`
	Seq      int       `json:"seq"`
	Suspects []Suspect `json:"suspects"`
}

// Explanation is the chain of reasons behind a suspect, a test or an entry.
type Explanation struct {
	Job         string       `json:"job"`
	Of          string       `json:"of"` // suspect, test, entry
	Suspect     string       `json:"suspect,omitempty"`
	Test        string       `json:"test,omitempty"`
	Entry       *int         `json:"entry,omitempty"`
	Text        string       `json:"text"`
	Probability *float64     `json:"probability,omitempty"` // of the suspect
	Reasons     []Reason     `json:"reasons"`
	Outcomes    []Prediction `json:"outcomes,omitempty"` // of the test
}

// Reason is one thing that moved a suspect.
type Reason struct {
	Suspect  string  `json:"suspect,omitempty"` // where it is not the one asked about
	Entry    int     `json:"entry,omitempty"`   // the reading, where it is one
	Rule     string  `json:"rule,omitempty"`    // the rule, where it is one
	Bits     float64 `json:"bits"`              // log2 of the odds it moved the suspect by; sign = direction
	Words    string  `json:"words"`
	Expected string  `json:"expected,omitempty"` // what the suspect predicts for that reading
}

// Prediction is one possible outcome of a test and what it would make likeliest.
type Prediction struct {
	Words       string    `json:"words"`
	Probability float64   `json:"probability"`
	Then        []Suspect `json:"then"`
}

// JobsRequest asks for up to Limit jobs, 1 to 1000, newest first; 0 = a default.
type JobsRequest struct {
	Limit int    `json:"limit,omitempty"`
	State string `json:"state,omitempty"` // open, closed; left out: both
}

// JobList is the jobs of the service, newest first.
type JobList struct {
	Jobs []JobSummary `json:"jobs"`
}

// JobSummary is one line of the list.
type JobSummary struct {
	Job       string    `json:"job"`
	Label     string    `json:"label"`
	Complaint string    `json:"complaint"`
	Purpose   string    `json:"purpose,omitempty"` // left out: diagnose
	State     string    `json:"state"`             // open, closed, damaged
	Outcome   string    `json:"outcome,omitempty"` // of a closed one: fixed, unproven, abandoned
	Opened    time.Time `json:"opened"`
	Seq       int       `json:"seq"`
	Problem   string    `json:"problem,omitempty"` // of a damaged one
}

// JobView is a whole job: how it was opened, its log, and where it stands.
type JobView struct {
	JobSummary
	Opening OpenRequest `json:"opening"`
	Engine  string      `json:"engine"` // version it was opened with
	Rules   string      `json:"rules"`  // content hash of the rules it was opened with
	// RulesNow is that of the rules it stands on: others after a move.
	RulesNow string   `json:"rules_now"`
	Notes    []string `json:"notes"`
	Log      []Entry  `json:"log"`
	Reply    Reply    `json:"reply"` // what the assistant says now
}

// Report is the record of a job in the format asked for.
type Report struct {
	Job    string        `json:"job"`
	Format string        `json:"format"`           // markdown, html, json
	For    string        `json:"for"`              // file, customer
	Text   string        `json:"text,omitempty"`   // of markdown and html
	View   *JobView      `json:"view,omitempty"`   // of json for the file
	Record *JobRecord    `json:"record,omitempty"` // of json for the file
	Page   *CustomerPage `json:"page,omitempty"`   // of json for the customer
}
