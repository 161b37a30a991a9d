package session

import (
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
	at     int // index into questions
	asked  []string
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

// Question is what to ask now; nil when everything was asked.
func (i *Interview) Question() *Question {
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

// Request is the opening as far as it was told.
func (i *Interview) Request() OpenRequest { return i.o }

// Answer takes an answer in plain words and gives what to say about it: empty
// where it was understood.
func (i *Interview) Answer(text string) string {
	q := i.questions()[i.at]
	text = strings.TrimSpace(text)
	if len(text) > mostText {
		return "That is too long. A few words will do."
	}
	if dontKnow(text) {
		if i.at == 0 {
			return "I need that one. What does it do wrong?"
		}
		i.at++
		return ""
	}
	took := i.takeOffer(q, text)
	if i.takeWords(text) {
		took = true
	}
	if !took {
		return "I did not take that. Say one of: " + either(i.Question().Choices) + "; or don't know."
	}
	if i.at == 0 && i.o.Label == "" && checkText("label", text) == nil {
		i.o.Label = text
	}
	if i.at > 0 || i.o.Complaint != "" {
		i.at++
	} else {
		return "And what does it do wrong? " + sentence(either(i.Question().Choices))
	}
	return ""
}

func dontKnow(text string) bool {
	switch strings.ToLower(strings.Trim(text, " .!?")) {
	case "", "don't know", "dont know", "do not know", "no idea", "unknown", "not sure", "unsure", "skip", "?", "dunno", "i don't know", "can't say":
		return true
	}
	return false
}

// takeOffer takes an answer that is one of the choices, by its number, its words
// or one of its words that no other choice has.
func (i *Interview) takeOffer(q question, text string) bool {
	said := strings.ToLower(strings.Trim(text, " .!"))
	for n, o := range q.offer {
		if said == strings.ToLower(o.words) || said == string(rune('1'+n))+")" {
			o.set(&i.o)
			return true
		}
	}
	var fit []offer
	for _, o := range q.offer {
		if sharesWord(said, strings.ToLower(o.words)) {
			fit = append(fit, o)
		}
	}
	if len(fit) != 1 {
		return false
	}
	fit[0].set(&i.o)
	return true
}

// sharesWord reports whether a word of more than two letters, or a number, of
// what was said stands in a choice.
func sharesWord(said, choice string) bool {
	in := map[string]bool{}
	for _, w := range strings.FieldsFunc(choice, notWord) {
		in[strings.TrimSuffix(w, "s")] = true
	}
	for _, w := range strings.FieldsFunc(said, notWord) {
		if (len(w) > 2 || w[0] >= '0' && w[0] <= '9') && in[strings.TrimSuffix(w, "s")] && !common[w] {
			return true
		}
	}
	return false
}

var common = map[string]bool{"the": true, "and": true, "runs": true, "load": true, "when": true, "not": true, "it": true, "both": true, "only": true}

func notWord(r rune) bool {
	return !(r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '/')
}

// takeWords takes a complaint and facts told in plain words.
func (i *Interview) takeWords(text string) bool {
	c := words.Context{Opening: i.o.Complaint == "", Complaint: i.o.Complaint}
	for _, f := range i.book.Facts {
		c.Asks = append(c.Asks, words.Ask{Fact: f.ID, Kind: f.Kind, Unit: f.Unit, Of: f.Of, Words: f.Words})
	}
	took := false
	for _, f := range i.reader.Read(text, c).Findings {
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
