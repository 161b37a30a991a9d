package session

import (
	"maps"
	"reflect"
	"slices"
	"strings"

	"coilside/rules"
	"coilside/session/words"
)

// Interview asks what is needed to open a job, one short question after the
// other; every one may be answered "don't know". What an answer tells beside the
// question is taken too, and not asked again. It writes nothing.
type Interview struct {
	book   *rules.Book
	reader *words.Reader
	at     int    // index into questions
	missed int    // answers to the question that were not taken
	named  bool   // the label names the load
	back   string // what is to be asked of what was said, in place of the question
	said   string // what began a job beside diagnosis
	o      OpenRequest
}

// question is one thing asked before a job is opened.
type question struct {
	text   string
	fields []string // what it fills in; not asked once all are known
	offer  []offer
}

// offer is one way to answer, with what it fills in.
type offer struct {
	words string
	also  []string // other ways to say it
	set   func(*OpenRequest)
}

// NewInterview starts an interview for a job on that rulebook.
func NewInterview(book *rules.Book) (*Interview, error) {
	reader, err := words.New(book.Words)
	if err != nil {
		return nil, err
	}
	return &Interview{book: book, reader: reader}, nil
}

// NewInterview starts an interview for a job on the rulebook in force, whose words are read already.
func (s *Service) NewInterview() (*Interview, error) {
	b := s.inForce()
	return &Interview{book: b.book, reader: b.reader}, nil
}

// Question is what to ask now; nil when everything was asked.
func (i *Interview) Question() *Question {
	if i.o.Purpose != "" {
		return nil // a job beside diagnosis asks for itself
	}
	qs := i.questions()
	for i.at < len(qs) && i.knows(qs[i.at]) {
		i.at++
	}
	if i.at == len(qs) {
		return nil
	}
	q := Question{Text: qs[i.at].text, Choices: []string{}}
	for _, o := range qs[i.at].offer {
		q.Choices = append(q.Choices, o.words)
	}
	return &q
}

// MayLeaveOpen tells whether the question asked now may be answered "don't know".
func (i *Interview) MayLeaveOpen() bool { return i.at > 0 }

// Request is the opening as far as it was told.
func (i *Interview) Request() OpenRequest { return i.o }

// Taken lists in words what was told so far, to be read back; empty where nothing was.
func (i *Interview) Taken() []string {
	var out []string
	said := map[string]bool{}
	for _, q := range i.questions() {
		for _, offer := range q.offer {
			as := i.o
			if offer.set(&as); i.knows(q) && reflect.DeepEqual(as, i.o) {
				words := offer.words
				if q.fields[0] == "labels" {
					words = "terminals marked " + words
				}
				out = append(out, words)
			}
		}
		for _, f := range q.fields {
			said[f] = true
		}
	}
	for _, c := range choiceFields(i.o) {
		if fact, ok := i.book.Fact(c.fact); ok && c.value != "" && !said[c.fact] {
			out = append(out, fact.Words+": "+strings.ReplaceAll(c.value, "_", " "))
		}
	}
	return out
}

// Answer takes an answer in plain words and gives what to say about it: empty
// where it was understood.
func (i *Interview) Answer(text string) string {
	q := i.questions()[i.at]
	text = strings.TrimSpace(text)
	if len(text) > mostText {
		return "That is too long. A few words will do."
	}
	if strings.EqualFold(text, "help") {
		return "Say it in your own words, or pick one:"
	}
	if i.dontKnow(text) {
		if i.at == 0 {
			return "I need that one. What does it do wrong?"
		}
		i.at, i.missed = i.at+1, 0
		return ""
	}
	if i.only(text, words.CmdWait) {
		return "Take your time."
	}
	kind, before := i.o.Circuit.Load.Kind, i.known(q)
	took := i.takeWords(text)
	if i.at == 0 && i.o.Complaint == "" {
		if i.o.Purpose = courseSaidFirst(i.book, text); i.o.Purpose != "" {
			i.said, i.o.Circuit = text, CircuitSpec{}
			return ""
		}
	}
	offer, plainly := nearestOffer(q, text)
	if offer != nil && (plainly || !i.knows(q)) {
		offer.set(&i.o)
		took = true
	}
	if !took && !i.answersAnother(text) {
		if i.only(text, words.CmdWhy, words.CmdElse, words.CmdStatus, words.CmdHelp, words.CmdHow, words.CmdRepeat) {
			return i.purpose()
		}
		return i.notTaken()
	}
	i.name(text, plainly, kind == "" && i.o.Circuit.Load.Kind != "")
	if i.at > 0 && i.known(q) == before && i.missed == 0 {
		i.missed++
		return "Noted. And this:" // what was said is not about the question
	}
	i.missed = 0
	if i.at > 0 || i.o.Complaint != "" {
		i.at++
	} else {
		return "Noted. And what does it do wrong?"
	}
	return ""
}

// name keeps the technician's own words for what the job is about: what was said
// first, unless it was one of the choices, or what first named the load.
func (i *Interview) name(text string, plainly, load bool) {
	if !plainly && checkText("label", text) == nil && (i.o.Label == "" || load && !i.named) {
		i.o.Label, i.named = text, load
	}
}

// notTaken says what would be understood; at the second miss the question is left
// open, unless the job cannot do without it.
func (i *Interview) notTaken() string {
	if i.missed++; i.missed > 1 && i.at > 0 {
		i.at, i.missed = i.at+1, 0
		return "I did not take that either; I leave it open."
	}
	if i.at == 0 && i.back != "" {
		return i.back
	}
	if i.at == 0 {
		return "I did not take that. Pick one:" // the one question that a job cannot do without
	}
	return "I did not take that. Pick one, or say don't know:"
}

// dontKnow reports an answer that leaves the question open.
func (i *Interview) dontKnow(text string) bool {
	if strings.Trim(text, " .!?") == "" {
		return true
	}
	heard := i.reader.Read(text, words.Context{})
	return len(heard.Findings) == 0 && slices.ContainsFunc(heard.Commands, func(c words.Command) bool {
		return c.Kind == words.CmdUnsure || c.Kind == words.CmdSkip
	})
}

// only reports whether a text is one command of such a kind and no answer: "hang on", "why".
func (i *Interview) only(text string, kinds ...string) bool {
	heard := i.reader.Read(text, words.Context{})
	return len(heard.Findings)+len(heard.Questions) == 0 && len(heard.Commands) == 1 && slices.Contains(kinds, heard.Commands[0].Kind)
}

// purpose says what an answer is for.
func (i *Interview) purpose() string {
	if i.at == 0 {
		return "What it does wrong says where to begin. In your own words, or one of these:"
	}
	return "It tells how the circuit is wired, and so what a reading should be. Say don't know if you can't see it:"
}

// nearestOffer is the choice that an answer is nearer to than to all others; nil
// for none. plainly tells that the answer is just that choice.
func nearestOffer(q question, text string) (o *offer, plainly bool) {
	if o, plainly = offerLike(q, tokens(text)); o != nil {
		return o, plainly
	}
	return offerLike(q, withoutSlips(q, tokens(text)))
}

// withoutSlips are words said with slips of the keys put right, as the words of the offers.
func withoutSlips(q question, said map[string]bool) map[string]bool {
	offered := map[string]bool{}
	for _, o := range q.offer {
		maps.Copy(offered, tokens(o.words))
	}
	out := map[string]bool{}
	for w := range said {
		for o := range offered {
			if words.Slip(w, o) {
				w = o
				break
			}
		}
		out[w] = true
	}
	return out
}

// offerLike is the choice that has most words in common with what was said.
func offerLike(q question, said map[string]bool) (o *offer, plainly bool) {
	best, at, tie := 0.0, -1, false
	for n, o := range q.offer {
		score := likeness(said, tokens(o.words))
		for _, other := range o.also {
			score = max(score, likeness(said, tokens(other)))
		}
		switch {
		case score > best:
			best, at, tie = score, n, false
		case score == best && score > 0:
			tie = true
		}
	}
	if at < 0 || tie || best < leastLike {
		return nil, false
	}
	return &q.offer[at], best == 1
}

// leastLike is the share of common words from which an answer counts as a choice.
const leastLike = 0.25

// likeness is the share of words that two sayings have in common, 0..1.
func likeness(a, b map[string]bool) float64 {
	shared := 0
	for w := range a {
		if b[w] {
			shared++
		}
	}
	if shared == 0 {
		return 0
	}
	return float64(shared) / float64(len(a)+len(b)-shared)
}

// tokens are the words of a saying that carry meaning: plural and unit endings
// off, small words left out.
func tokens(text string) map[string]bool {
	out := map[string]bool{}
	for _, w := range strings.FieldsFunc(strings.ToLower(text), notWord) {
		if w[0] >= '0' && w[0] <= '9' {
			w = strings.TrimSuffix(w, "v")
		} else {
			w = strings.TrimSuffix(w, "s")
		}
		if w != "" && !smallWords[w] {
			out[w] = true
		}
	}
	return out
}

var smallWords = map[string]bool{"the": true, "and": true, "a": true, "an": true, "or": true, "it": true, "i": true, "to": true, "of": true,
	"load": true, "when": true, "not": true, "only": true, "should": true, "run": true, "just": true, "volt": true, "v": true, "part": true, "other": true}

func notWord(r rune) bool {
	return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9')
}

// takeWords takes a complaint and facts told in plain words.
func (i *Interview) takeWords(text string) bool {
	c := words.Context{Describing: true, Opening: i.o.Complaint == "", Complaint: i.o.Complaint}
	for _, f := range i.book.Facts {
		c.Asks = append(c.Asks, words.Ask{Fact: f.ID, Kind: f.Kind, Unit: f.Unit, Of: f.Of, Words: f.Words})
	}
	took := i.takeFindings(text, c)
	if c.Opening { // one clause says what is wrong, others what it is
		for _, clause := range strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",;", r) }) {
			took = i.takeClause(clause, c) || took
		}
	}
	return took
}

// takeClause takes what the whole left open: what is wrong, or the plain answer to a
// question still to come.
func (i *Interview) takeClause(clause string, c words.Context) bool {
	took := i.o.Complaint == "" && i.takeFindings(clause, c)
	return i.answersAnother(clause) || took
}

// answersAnother takes what is plainly the answer to another question than the one asked.
func (i *Interview) answersAnother(text string) bool {
	took := false
	for _, q := range i.questions()[1:] {
		if offer, plainly := nearestOffer(q, text); plainly && !i.knows(q) {
			offer.set(&i.o)
			took = true
		}
	}
	return took
}

func offersComplaint(c words.Choice) bool {
	return slices.ContainsFunc(c.Findings, func(f words.Finding) bool { return f.Kind == words.KindComplaint })
}

// takeFindings takes what the reader finds in a saying and an opening has room for.
func (i *Interview) takeFindings(text string, c words.Context) bool {
	took := false
	heard := i.reader.Read(text, c)
	i.back = ""
	for _, q := range heard.Questions {
		if q.Text != words.WhatIsWrong && slices.ContainsFunc(q.Choices, offersComplaint) {
			i.back = q.Text
		}
	}
	for _, f := range heard.Findings {
		switch f.Kind {
		case words.KindComplaint:
			i.o.Complaint = f.Complaint
			took = true
		case words.KindFact:
			took = i.o.setFact(f.Fact, f.Value) || took
		}
	}
	return took
}
