package transport

import (
	"context"
	"reflect"
	"time"

	"coilside/engine/quantity"
	"coilside/session"
	"coilside/transport/jsonrpc"

	"github.com/go-json-experiment/json/jsontext"
)

// addMethods fills the one table that every connection is served from.
func (s *Server) addMethods() {
	t, v := s.table, s.service
	jsonrpc.Handle(t, "rpc.discover", "Describes this service as an OpenRPC document.", s.discover)
	jsonrpc.Handle(t, "job.open", "Opens a job; says what to do first.", v.Open)
	jsonrpc.Handle(t, "job.tell", "Takes what the technician typed or said, in plain words.", v.Tell)
	jsonrpc.Handle(t, "job.record", "Takes a reading in structured form: of a test, or with measure and setup of one taken unasked.", v.Record)
	jsonrpc.Handle(t, "job.retract", "Takes an entry back; all that followed from it goes.", v.Retract)
	jsonrpc.Handle(t, "job.skip", "Says that a test can't or won't be done now.", v.Skip)
	jsonrpc.Handle(t, "job.next", "Lists the tests worth doing, best first.", v.Next)
	jsonrpc.Handle(t, "job.suspects", "Lists the suspects, likeliest first, with reasons.", v.Suspects)
	jsonrpc.Handle(t, "job.explain", "Gives the reasons behind one suspect, test or entry.", v.Explain)
	jsonrpc.Handle(t, "job.repair", "Says what was repaired and what became of the complaint.", v.Repair)
	jsonrpc.Handle(t, "job.close", "Closes a job.", v.Close)
	jsonrpc.Handle(t, "job.move_rules", "Moves an open job to other rules, and says what that changes.", v.MoveRules)
	jsonrpc.Handle(t, "job.list", "Lists the jobs, newest first.", v.List)
	jsonrpc.Handle(t, "job.show", "Shows a job: how it was opened, its log, and where it stands.", v.Show)
	jsonrpc.Handle(t, "job.report", "Writes the record of a job.", v.Report)
	jsonrpc.Handle(t, "job.ask", "Answers a question in passing, such as \"what should 87 read now?\"; writes nothing.", v.Ask)
	jsonrpc.Handle(t, "job.picture", "Draws a job's circuit, its socket, or where the leads go for a test, as SVG.", v.Picture)
	jsonrpc.Handle(t, "speech.grammar", "Writes what may be said next, for a recogniser of speech; what it hears goes to job.tell with spoken.", v.Grammar)
	jsonrpc.Handle(t, "job.watch", "Sends this connection job.changed notifications for a job; over the WebSocket only.", s.watch)
	jsonrpc.Handle(t, "relay.identify", "Tells the terminals of an unmarked relay apart from the readings so far; says which to take next.", v.IdentifyRelay)
	jsonrpc.Handle(t, "relay.bench", "Judges a relay by what it reads on the bench: good, marginal or bad, and at what temperature it fails.", v.BenchRelay)
	jsonrpc.Handle(t, "relay.choose", "Says whether a relay may go into a place; refuses one that would fit and do harm.", v.ChooseRelay)
	jsonrpc.Handle(t, "drop.judge", "Holds voltage drops under load against their limits; says where the loss sits, its ohms and its heat.", v.JudgeDrop)
	jsonrpc.Handle(t, "wire.size", "Sizes the wires of a new relay circuit by drop and ampacity, with fuse, relay and connector.", v.SizeWire)
	jsonrpc.Handle(t, "wire.drop", "Computes what a known wire takes of the voltage.", v.DropOfWire)
	jsonrpc.Handle(t, "practice.start", "Deals a simulated vehicle with a hidden fault to practise on; level and seed give the same vehicle again.", v.PracticeStart)
	jsonrpc.Handle(t, "practice.say", "Takes all that a learner said so far, in plain words, and answers the last line; nothing is stored.", v.PracticeSay)
	jsonrpc.Handle(t, "practice.review", "Sets a practice that ended beside the assistant's own way on the same vehicle, minute by minute.", v.PracticeReview)
	jsonrpc.Handle(t, "rules.list", "Lists the rulesets in force, by name and content hash, and says why the rule folders as they are now are not.", v.RulesList)
	jsonrpc.Handle(t, "rules.show", "Shows what is in a ruleset.", v.RulesShow)
	jsonrpc.Handle(t, "rules.why", "Tells why a rule fires or does not, in a job or in a case of the rules: each part of its condition with the values behind it.", v.RulesWhy)
	jsonrpc.Handle(t, "rules.check", "Checks the rule folders as they are on disk and lists every problem.", v.RulesCheck)
	jsonrpc.Handle(t, "rules.impact", "Replays closed jobs and the cases on the rule folders as they are on disk, and lists what they would change; nothing is put in force. Over the WebSocket, rules.progress notifications tell how far it is.", s.impact)
	jsonrpc.Handle(t, "rules.experience", "Counts the proven repairs of closed jobs and shows what they add to the shipped priors, in numbers and as a ruleset file; nothing is put in force.", v.RulesExperience)
	jsonrpc.Handle(t, "rules.reload", "Puts the rule folders as they are on disk in force, if they have no problem.", v.RulesReload)
}

// paramWords says what each parameter is. A name means the same in every method.
var paramWords = map[string]string{
	"action":      "What was done, in words.",
	"answer":      `The reading: a number in the test's unit, "OL" (open or over range), one of the test's choices, {min, max} in volts, or "unsure".`,
	"case":        "A case of the rules, as FILE/ID.",
	"circuit":     "The circuit, as far as it is known; what is left out is unknown.",
	"complaint":   "What the customer says is wrong.",
	"entry":       "The number of an entry of the job's log.",
	"environment": "Where the relay lives.",
	"for":         "Whom the report is for: file (the shop's, if left out) or customer (one page in plain words).",
	"format":      "The format: of a report markdown (if left out), html or json; of a grammar srgs, jsgf or phrases.",
	"from":        "The seq the caller has already; if the job is past it, a notification comes at once. The present one if left out.",
	"if_seq":      "The seq the caller has seen; the call is refused as a conflict if the job has moved on.",
	"jobs":        "How many of the newest closed jobs to replay; a default if left out.",
	"job":         "The job's id.",
	"key":         "Any text that names this call: the same key again gives the same reply and writes nothing.",
	"kind":        "What is drawn: circuit, socket or leads.",
	"label":       "A name for the job, such as the vehicle's.",
	"level":       "How hard the practice is: easy (if left out), middle or hard.",
	"lines":       "All lines said in the practice so far, the newest last.",
	"limit":       "How many at most, 1 to 1000; the usual number if 0 or left out.",
	"measure":     "What was measured and where the leads went, for a reading taken unasked.",
	"outcome":     "How the job ended: fixed, unproven or abandoned.",
	"purpose":     "What the job is for: diagnose (if left out; only this needs a complaint), identify, bench, choose or wire.",
	"reason":      "Why, in words.",
	"relay":       "What is known of the relay fitted.",
	"result":      "What became of the complaint: gone, still_there or changed.",
	"now":         "What is complained of after the repair, where it is not the same: dead, stays_on, weak, intermittent, chatters, drops_out_hot, blows_fuse or inverted.",
	"rule":        "A rule's id.",
	"ruleset":     "The name or the content hash of a ruleset; the one in force if left out.",
	"seed":        "Fixes the draws of unknown values, so that a job can be repeated exactly.",
	"setup":       "The state the circuit was in, for a reading taken unasked.",
	"spoken":      "True if the text was heard: numbers are then pending until confirmed.",
	"state":       "open or closed; both if left out.",
	"suspect":     "A suspect's id.",
	"test":        "A test's id.",
	"worth":       "How many jobs the shipped priors weigh as much as; 20 if left out.",
	"text":        "What was typed or said.",
}

func (s *Server) discover(context.Context, struct{}) (jsontext.Value, error) {
	return jsontext.Value(s.document), nil
}

// numberOrText is a quantity: a number in the unit its words name, or a text with the
// unit written out, such as "300 mV".
var numberOrText = schema{"oneOf": []schema{{"type": "number"}, {"type": "string"}}}

// wireSchemas describes the types that read and write their JSON themselves.
var wireSchemas = map[reflect.Type]schema{
	reflect.TypeFor[quantity.Volts]():    numberOrText,
	reflect.TypeFor[quantity.Amps]():     numberOrText,
	reflect.TypeFor[quantity.Ohms]():     numberOrText,
	reflect.TypeFor[quantity.Metres]():   numberOrText,
	reflect.TypeFor[quantity.Celsius]():  numberOrText,
	reflect.TypeFor[quantity.Square]():   numberOrText,
	reflect.TypeFor[quantity.Percent]():  numberOrText,
	reflect.TypeFor[time.Time]():         {"type": "string", "format": "date-time"},
	reflect.TypeFor[jsontext.Value]():    {"type": "object", "description": "An OpenRPC document."},
	reflect.TypeFor[session.FactValue](): {"oneOf": []schema{{"type": "boolean"}, {"type": "number"}, {"type": "string"}}},
	reflect.TypeFor[session.Answer](): {"oneOf": []schema{
		{"type": "number"}, {"type": "string"},
		{"type": "object", "required": []string{"min", "max"}, "properties": schema{"min": schema{"type": "number"}, "max": schema{"type": "number"}}},
	}},
}
