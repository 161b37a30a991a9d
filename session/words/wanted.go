package words

import (
	"slices"
	"strings"
)

// This file takes what is wanted from how a sentence is built, where no saying tells it: a
// question that asks for the place, a hand that does not get in there, someone who is fetching
// the meter. It has the last word: nothing was read and nothing was found.

// wish is a kind of sentence and what it wants.
type wish struct {
	denied bool            // something in it is denied
	begins map[string]bool // its first word; nil = any
	holds  map[string]bool // a word after that; nil = none need be
	with   map[string]bool // another; nil = none need be
	alone  bool            // nothing but its first word
	is     string          // kind of Command
}

var (
	asksWhat    = set(`what what's whats`)
	cannotWords = set(`can't cant cannot couldn't couldnt`)
	intends     = set(`i'll ill we'll let let's lemme gonna going`)
	ofSelf      = set(`i i'm im i'll ill we we'll we're just off going gonna let let's lemme need gotta got have`)
	handsBusy   = set(`get getting fetch fetching find finding grab grabbing put putting set setting check checking measure measuring look looking
		clean cleaning try trying probe probing clip clipping connect connecting open opening undo undoing move moving swap swapping remove removing climb climbing strip stripping`)
)

// workings are what the tests here ask to be done, and workingOn their forms of doing it: "can't
// back-probe that", "I'm not jumping that".
var (
	workings  = set(`backprobe back-probe probe jump jumper bridge unplug disconnect unclip pull remove swap reseat wiggle spin turn crank start energise measure test`)
	workingOn = set(`backprobing back-probing probing jumping bridging unplugging disconnecting pulling removing swapping wiggling poking piercing risking dismantling stripping
		crawling climbing cranking doing`)
)

// wishes are tried in turn; the first that fits counts.
var wishes = []wish{
	{begins: set(`what what's whats which`), holds: set(`say said ask asked`), with: set(`you`), is: CmdRepeat},
	{begins: asksWhat, holds: set(`did found find know done ruled`), with: set(`i we you`), is: CmdStatus},
	{begins: asksWhat, holds: set(`wrong fault problem cause think opinion reckon guess suspect`), is: CmdStatus},
	{begins: asksWhat, holds: set(`supposed see seeing read reading show get getting expect look looking normal right correct range setting voltage volts ohms amps spec mean means meant`), is: CmdHow},
	{begins: asksWhat, holds: set(`do next now test measure try check`), is: CmdRepeat},
	{begins: asksWhat, holds: set(`odds chances chance likely`), is: CmdStatus},
	{begins: asksWhat, holds: set(`prove proves tell tells purpose point sense reason`), is: CmdWhy},
	{begins: asksWhat, holds: set(`for`), with: set(`this that it one`), is: CmdWhy},
	{begins: asksWhat, holds: set(`am`), with: set(`on at doing`), is: CmdRepeat},
	{begins: asksWhat, holds: set(`30 85 86 87 87a`), is: CmdHow},
	{begins: set(`which which's`), holds: set(`next first test`), is: CmdRepeat},
	{begins: set(`which which's where where's wheres whereabouts`), is: CmdHow},
	{begins: set(`remind`), is: CmdRepeat},
	{begins: set(`do`), holds: set(`you`), with: set(`want need mean`), is: CmdHow},
	{begins: set(`do must should shall can may`), holds: set(`i we`), is: CmdHow},
	{begins: set(`should must does is`), holds: set(`relay key ignition switch engine load`), with: set(`be in out on off matter`), is: CmdHow},
	{begins: set(`does is`), holds: set(`matter important needed necessary`), is: CmdHow},
	{denied: true, holds: set(`can cannot can't cant couldn't couldnt unable`), with: set(`do measure test check reach see find touch try access read probe`), is: CmdSkip},
	{denied: true, begins: cannotWords, with: set(`with without on in behind get`), is: CmdSkip},
	{denied: true, begins: cannotWords, holds: workings, is: CmdSkip},
	{denied: true, begins: set(`i'm im not we're i won't wont`), holds: workingOn, is: CmdSkip},
	{denied: true, holds: set(`prefer want like fancy allowed permitted supposed`), with: workings, is: CmdSkip},
	{denied: true, holds: set(`allowed permitted`), is: CmdSkip},
	{denied: true, begins: cannotWords, alone: true, is: CmdSkip},
	{denied: true, begins: set(`not`), holds: set(`without unless until`), is: CmdSkip},
	{denied: true, holds: set(`lie lying crawl crawling climb climbing reach access squeeze dismantle dismantling strip stripping`), is: CmdSkip},
	{denied: true, holds: set(`get getting`), with: set(`hand hands arm finger fingers probe probes lead leads near under behind in`), is: CmdSkip},
	{denied: true, holds: instruments, with: set(`fit reach go touch grip stay`), is: CmdSkip},
	{begins: set(`getting fetching finding grabbing moving connecting opening climbing hooking setting clipping zeroing digging`), is: CmdWait},
	{begins: ofSelf, holds: handsBusy, is: CmdWait},
}

// wanted gives the command of a sentence of which nothing else was taken, nil for none.
func (c *call) wanted(items []item) *Command {
	if !c.ctx.Opening && len(c.res.Findings)+len(c.res.Commands) == 0 && asksState(items) {
		return &Command{Kind: CmdHow}
	}
	if c.ctx.Opening || c.ctx.Describing || len(c.res.Findings)+len(c.res.Commands)+len(c.doubts) > 0 || slices.ContainsFunc(items, func(it item) bool { return it.kind == kNum && it.num.unit.dim != "time" }) ||
		slices.ContainsFunc(c.res.Questions, func(q Question) bool { return len(q.Choices) > 0 }) {
		return nil
	}
	if lead := slices.IndexFunc(items, func(it item) bool { return it.kind == kSep }); lead > 0 && c.onlyHeard(items[:lead]) && !hasContent(items[lead:]) && !slices.ContainsFunc(items[lead:], isSetup) && len(c.res.Questions) == 0 {
		return &Command{Kind: CmdWait} // "one sec, need longer leads"
	}
	found := slices.ContainsFunc(items, func(it item) bool { return isSetup(it) || concepts[it.concept] == gAct })
	for clause := range strings.FieldsFuncSeq(strings.ToLower(c.text), func(r rune) bool { return strings.ContainsRune(",.;:!?()", r) }) {
		said := sentence(clause)
		for _, w := range wishes {
			if !w.fits(said) || w.is == CmdWait && found && !slices.ContainsFunc(said, func(w string) bool { return intends[w] }) {
				continue
			}
			cmd := &Command{Kind: w.is}
			if w.is == CmdSkip {
				cmd.Reason = strings.TrimRight(c.text, " .!")
			}
			return cmd
		}
	}
	return nil
}

// asksState tells a question how the vehicle should stand: "relay in or out for this".
func asksState(in []item) bool {
	return len(in) > 2 && isSetup(in[0]) && in[1].text == "or" && (in[2].text == "in" || in[2].text == "out" || in[2].text == "on" || in[2].concept == "off" || in[2].text == "not") && !hasNumber(in) && !hasConcept(in, "unsure")
}

func (w *wish) fits(said []string) bool {
	if slices.ContainsFunc(said, deniesWord) != w.denied {
		return false
	}
	if w.begins != nil {
		if len(said) == 0 || !w.begins[said[0]] {
			return false
		}
		said = said[1:]
	}
	return (!w.alone || len(said) == 0) && anyWord(said, w.holds) && anyWord(said, w.with)
}

func anyWord(said []string, of map[string]bool) bool {
	return of == nil || slices.ContainsFunc(said, func(w string) bool { return of[w] })
}

// sentence is the words of a clause, without what only leads to it: "ok so where is it".
func sentence(clause string) []string {
	said := strings.Fields(clause)
	for len(said) > 0 && (leading[said[0]] || interjections[said[0]]) {
		said = said[1:]
	}
	if len(said) > 1 && (said[0] == "i" || said[0] == "we") && cannotWords[said[1]] {
		return said[1:]
	}
	return said
}

var leading = set(`ok okay so and but well right then please sorry now yeah mate hey hang on`)

func deniesWord(w string) bool {
	return w == "not" || w == "no" || w == "cannot" || w == "unable" || w == "never" || strings.HasSuffix(w, "n't") || w == "cant" || w == "couldnt" || w == "dont" || w == "wont"
}
