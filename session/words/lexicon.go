package words

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"coilside/rules"
)

// node is one step of the phrase tree.
type node struct {
	next    map[string]*node
	concept string   // "" = no meaning of Concepts ends here
	facts   []string // "fact=value" that the phrase tells, one a fact
}

func (n *node) ends() bool { return n.concept != "" || len(n.facts) > 0 }

// star stands in the tree for a * in a saying: any one or two words, and a "the" before them.
const star = "anyword"

func (n *node) step(w string) *node {
	if n.next == nil {
		n.next = map[string]*node{}
	}
	if n.next[w] == nil {
		n.next[w] = &node{}
	}
	return n.next[w]
}

// saying is one phrase with its meaning, for finding the nearest one.
type saying struct {
	phrase, means string
	words         []string // of the phrase
	loose         bool     // holds a *
}

// Reader reads utterances with one set of synonyms. It holds no state between
// calls and is safe for concurrent use.
type Reader struct {
	root    node
	vocab   map[string]bool   // every word of every phrase
	filler  map[string]bool   // plain words that change nothing, as common does
	aliases map[string]string // a part's other names of one word: rly for relay
	respelt map[string]string // words of dialect and of haste, each with the word it stands for
	targets []string          // words that a slip may be corrected to, sorted
	sayings []saying
	opening *Reader // reads what is said while a job is opened: with the sayings that mean something only then; nil = as ever
}

// atOpening begins the meaning of sayings that are understood only of what a load is complained of:
// elsewhere "doesn't pull" may be said of the relay, and "not charging" of the battery.
const atOpening = "at opening "

// withOpening gives the reader another for openings, where some sayings hold only there.
func (r *Reader) withOpening(synonyms []*rules.Synonym) error {
	plain, found := make([]*rules.Synonym, 0, len(synonyms)), false
	for _, s := range synonyms {
		means, only := strings.CutPrefix(s.Means, atOpening)
		if found = found || only; only {
			s = &rules.Synonym{Means: means, Said: s.Said, Heard: s.Heard, Pos: s.Pos}
		}
		plain = append(plain, s)
	}
	if !found {
		return nil
	}
	var err error
	r.opening, err = New(plain)
	return err
}

// spellingOf begins what a word means that is another spelling of one: "spelling of nothing".
const spellingOf = "spelling of "

// New makes a Reader. A synonym means one of Concepts, or a fact and its value
// ("mounting=outside"), or a fact whose number follows ("load_amps=number"), or is
// another spelling of a word ("spelling of nothing"), or is what a load does ("doing"), or
// what brings a state about ("deed of command_on"); after "at
// opening" each of these holds only while a job is opened.
// Every wrong synonym is named in the error, a rules.Errors.
func New(synonyms []*rules.Synonym) (*Reader, error) {
	r := &Reader{vocab: map[string]bool{}, filler: map[string]bool{}, aliases: map[string]string{}, respelt: map[string]string{}}
	for _, c := range Concepts() {
		r.add(strings.ReplaceAll(c, "_", " "), c)
	}
	var wrong rules.Errors
	var verbs []string
	deeds := map[string][]string{}
	for _, s := range synonyms {
		if strings.HasPrefix(s.Means, atOpening) {
			continue
		}
		if word, ok := strings.CutPrefix(s.Means, spellingOf); ok {
			for _, w := range s.Said {
				r.respelt[plain(strings.ToLower(w))] = plain(word)
			}
			continue
		}
		if state, ok := strings.CutPrefix(s.Means, deedOf); ok && concepts[state] == gSetup {
			deeds[state] = append(deeds[state], s.Said...)
			continue
		}
		if s.Means == loadVerb {
			verbs = append(verbs, s.Said...)
			continue
		}
		if _, ok := concepts[s.Means]; !ok && !strings.Contains(s.Means, "=") {
			wrong = append(wrong, &rules.Error{Pos: s.Pos, Code: rules.CodeName,
				Message: fmt.Sprintf("no such meaning %q; the nearest is %q", s.Means, nearestOf(s.Means, Concepts()))})
			continue
		}
		if s.Means == "filler" {
			for _, w := range s.Said {
				r.filler[plain(strings.ToLower(w))] = true
			}
			continue
		}
		for _, said := range s.Said {
			if err := r.add(said, s.Means); err != nil {
				wrong = append(wrong, &rules.Error{Pos: s.Pos, Code: rules.CodeValue, Message: err.Error()})
			}
		}
	}
	r.addDoing(verbs)
	for _, state := range slices.Sorted(maps.Keys(deeds)) {
		for _, deed := range deeds[state] {
			r.addDeed(deed, state)
		}
	}
	for w := range r.vocab {
		if len(w) >= 4 && !numberWord(w) {
			r.targets = append(r.targets, w)
		}
	}
	slices.Sort(r.targets)
	if err := r.withOpening(synonyms); err != nil {
		return r, err // it names what is wrong with all of them
	}
	if len(wrong) > 0 {
		return r, wrong
	}
	return r, nil
}

// add puts one phrase into the tree. A later phrase replaces an earlier one, so
// that a shop's own words win; but a phrase may name a part and tell facts
// too: "radiator fan" is the load, and its kind is a motor.
func (r *Reader) add(said, means string) error {
	n, count := &r.root, 0
	for _, it := range scan(clean(strings.ReplaceAll(said, "*", " "+star+" "))) {
		switch {
		case it.kind == kNum:
			return fmt.Errorf("%q: a saying holds no numbers", said)
		case it.kind == kSep || it.text == "-":
			continue
		}
		n = n.step(it.text)
		if it.text != star {
			r.vocab[it.text] = true
		}
		count++
	}
	if count == 0 {
		return fmt.Errorf("%q: nothing is said", said)
	}
	n.mean(means)
	if count == 1 && concepts[means] == gPlace && n == r.root.next[said] && said != means {
		r.aliases[said] = means
	}
	r.sayings = append(r.sayings, saying{said, means, strings.Fields(said), strings.Contains(said, "*")})
	return nil
}

func (n *node) mean(means string) {
	fact, _, isFact := strings.Cut(means, "=")
	if !isFact {
		n.concept = means
		return
	}
	n.facts = slices.DeleteFunc(n.facts, func(f string) bool { return strings.HasPrefix(f, fact+"=") })
	n.facts = append(n.facts, means)
}

// match joins words into concepts, longest phrase first.
func (r *Reader) match(in []item) []item {
	var out []item
	for i := 0; i < len(in); {
		end, n, loose := r.longestAs(in[i:], reading{asSaid: i > 0 && in[i-1].text == "to"}) // "it took a while to come up"
		if state, took, not := r.state(in[i:]); took > n {
			if not {
				out = append(out, item{kind: kConcept, concept: "not", text: "not", raw: "not"})
			}
			end, n, loose = state, took, nil
		}
		if lacks, took := r.lacking(in[i:]); took > n {
			end, n, loose = lacks, took, nil
		}
		if n > 1 && (concepts[end.concept] != gPlace || end.concept == "load") && r.longerBehind(in[i:], n) {
			end, n, loose = r.longest(in[i : i+1])
		}
		if n == 0 || end.concept == "not" {
			if denied, took := r.deniedAny(in[i:]); took > 0 {
				end, n, loose = denied, took, nil
			}
		}
		if n > 0 {
			var raw []string
			for _, it := range in[i : i+n] {
				raw = append(raw, it.raw)
			}
			c, facts := end.concept, end.facts
			if c == "" {
				c, facts = facts[0], facts[1:]
			}
			out = append(out, item{kind: kConcept, concept: c, text: c, facts: facts, raw: strings.Join(raw, " "), glued: in[i].glued, loose: loose})
			i += n
			continue
		}
		out = append(out, in[i])
		i++
	}
	return out
}

// longerBehind tells that a longer phrase begins behind the "it" or the load that a phrase of
// n words begins with, and goes on after it: "it goes up to", "the light comes on when it should be off".
func (r *Reader) longerBehind(in []item, n int) bool {
	first := r.root.next[in[0].text]
	ofLoad := first != nil && first.concept == "load"
	if in[0].text != "it" && !ofLoad {
		return false
	}
	_, took, _ := r.longest(in[1:])
	return took > n || ofLoad && took == n && took > 1 // "horn sounds sick"
}

// nouns marks each "one" and "zero" that begins a saying: "one side", "zero idea" hold no number.
func (r *Reader) nouns(in []item) []item {
	for i := range in {
		if in[i].text != "one" && in[i].text != "zero" {
			continue
		}
		if n, took, _ := r.longest(in[i:]); took > 1 && n.concept != "wait" {
			in[i].noun = true
		}
	}
	return in
}

// longest finds the longest phrase that in begins with; loose are the words that stood for
// a *.
func (r *Reader) longest(in []item) (best *node, took int, loose []item) {
	return r.longestAs(in, reading{})
}

func (r *Reader) longestAs(in []item, as reading) (best *node, took int, loose []item) {
	var walk func(n *node, i int, stars []item, as reading)
	walk = func(n *node, i int, stars []item, as reading) {
		whole := !as.skipped // "relay has" names the relay, and goes on
		as.skipped = false
		if n.ends() && whole && i > took && as.mayMean(n, i) && !(i > 1 && i < len(in) && concepts[n.concept] == gOutcome && onTheThing(in[i-1:])) && !(i > 1 && concepts[n.concept] == gPlace && r.startsPart(in[i-1:])) && !(n.concept == "aside" && r.onPart(in[i-1:])) && !r.cutsFact(n, in, i) {
			best, took, loose = n, i, stars
		}
		if i >= len(in) || i > 0 && !word(in[i]) || i == 0 && in[i].kind != kWord && pinCount(in[i]) == "" {
			return
		}
		if next := n.next[pinCount(in[i])]; next != nil {
			walk(next, i+1, stars, as)
		} else if next := n.next[in[i].text]; next != nil {
			walk(next, i+1, stars, as)
		}
		if next := n.next[stem(in[i].text, n.next)]; next != nil && (i > 0 || n.next[in[i].text] == nil) {
			walk(next, i+1, stars, as)
		}
		if owner := n.next[strings.TrimSuffix(in[i].text, "s")]; i == 0 && owner != nil && owner.next["'s"] != nil && len(in) > 1 && oneOfAKind[in[i].text] && (len(in) == 2 || in[2].kind == kSep) {
			walk(owner.next["'s"], i+1, stars, as) // "keys on"
		}
		if next := n.next["the"]; i > 0 && in[i-1].text != "on" && next != nil && next.next[in[i].text] != nil {
			walk(next.next[in[i].text], i+1, stars, as) // "put relay back"
		}
		if after := someone(in, i); after > i && n.next["i"] != nil {
			walk(n.next["i"], after, stars, as)
		}
		if next := n.next["it"]; next != nil && (in[i].text == "she" || in[i].text == "he") {
			walk(next, i+1, stars, as)
		}
		if i > 0 && perfect[in[i].text] {
			walk(n, i+1, stars, as.past())
		}
		for _, form := range denialForms(in, i) {
			if next := n.next[form.word]; next != nil {
				walk(next, i+form.took, stars, as.inOtherWords(form.word != "not"))
			}
		}
		if next := n.next[present[in[i].text]]; i > 0 && next != nil {
			walk(next, i+1, stars, as.inOtherWords(true))
		}
		if i > 0 && degrees[in[i].text] {
			walk(n, i+1, stars, as.past().inOtherWords(true))
		}
		for _, form := range verbForms[in[i].text] {
			if next := n.next[form]; next != nil && !as.asSaid && in[0].text != "it" {
				walk(next, i+1, stars, as.inOtherWords(true))
			}
		}
		if part := r.aliases[in[i].text]; part != "" && n.next[part] != nil {
			walk(n.next[part], i+1, stars, reading{reworded: as.reworded, asSaid: as.asSaid, named: part})
		}
		if any := n.next[star]; any != nil && i > 0 {
			walk(any, i+1, append(slices.Clip(stars), in[i]), as)
			if i+1 < len(in) && word(in[i+1]) {
				walk(any, i+2, append(slices.Clip(stars), in[i], in[i+1]), as)
				if determiners[in[i].text] && i+2 < len(in) && word(in[i+2]) { // "when the engine bay gets hot"
					walk(any, i+3, append(slices.Clip(stars), in[i+1], in[i+2]), as)
				}
			}
		}
	}
	walk(&r.root, 0, nil, as)
	return best, took, loose
}
