package words

import (
	"regexp"
	"strings"
)

// This file makes sayings of what loads do: a demister that clears "doesn't clear", "barely
// clears" or "keeps clearing". The verbs are data.

// loadVerb is what a verb of a load is the means of: "clear", "warm up".
const loadVerb = "doing"

// patterns are what one says of a load by its verb, with the meaning of each. V stands for the
// verb, Vs and Ving for its forms. Other forms of a denial need none of their own.
var patterns = []struct{ means, said string }{
	{"off", "doesn't V/not Ving/never Vs/stopped Ving/stops Ving/stop Ving/quit Ving/no longer Vs/no longer V/no longer Ving/refuses to V/fails to V/can't get it to V/isn't able to V"},
	{"runs", "starts to V/started to V/begins to V/began to V/start to V/begin to V"},
	{"weak", "barely Vs/hardly Vs/scarcely Vs/barely V/hardly V/scarcely V/barely Ving/hardly Ving/struggles to V/struggling to V/slow to V/takes ages to V/takes forever to V/takes a long time to V/takes too long to V/takes its time to V/Vs slowly/Vs poorly/Vs badly/Vs weakly"},
	{"weak", "doesn't V hard/doesn't V well/doesn't V properly/doesn't V right/doesn't V much/doesn't V fully/doesn't V fast/doesn't V enough/not Ving properly/not Ving well/not Ving much"},
	{"stays_on", "won't stop Ving/doesn't stop Ving/never stops Ving/keeps Ving/keeps on Ving/Vs all the time/Vs constantly/Vs non stop/Vs continuously"},
}

// deedOf is what a deed is the means of that brings the vehicle into a state: "deed of command_on".
const deedOf = "deed of "

// moments lead to a deed that tells how the vehicle stood then.
var deedLeads = []string{"when i", "once i", "as soon as i", "whenever i", "while i", "with i"}

// addDeed makes the sayings of a deed that brings about a state: "when i turn the switch on", of
// whoever does so, and "until he turned it on" where the state is of the switch.
func (r *Reader) addDeed(deed, state string) {
	forms := []string{deed, inflect(deed, sForm), inflect(deed, pastForm), inflect(deed, ingForm)}
	add := func(said, means string) {
		if r.meaningOf(said) == "" {
			r.add(said, means)
		}
	}
	if other := opposite[state]; other != "" {
		for _, lead := range []string{"forgot to", "i forgot to", "i'd forgotten to", "forgotten to", "neglected to"} {
			add(lead+" "+deed, other) // "forgot to turn the key on"
		}
		add("hadn't "+inflect(deed, participle), other)
		add("i hadn't "+inflect(deed, participle), other)
	}
	for _, said := range passives(deed) {
		add(said, state)
	}
	for _, form := range forms {
		for _, lead := range deedLeads {
			add(lead+" "+form, state)
		}
		for _, until := range []string{"until i", "till i", "before i"} {
			if state == "command_on" {
				add(until+" "+form, "until_command")
			}
		}
	}
}

// worked matches a deed done to what a state is of: "turn the switch on".
var worked = regexp.MustCompile(`^(\w+) the (switch|button|key|ignition)( on| off)?$`)

// passives are the sayings of a deed that name nobody: "with the switch closed", "when the key is
// turned on"; none where the deed is of no such thing.
func passives(deed string) []string {
	parts := worked.FindStringSubmatch(deed)
	if parts == nil {
		return nil
	}
	thing, done := "the "+parts[2], participle(parts[1])+parts[3]
	out := []string{"with " + thing + " " + done, thing + " " + done}
	for _, lead := range []string{"when ", "once ", "as soon as ", "while ", ""} {
		out = append(out, lead+thing+" is "+done)
	}
	return out
}

// participle is the form of a verb for what was done: "thrown".
func participle(verb string) string {
	if verb == "throw" {
		return "thrown"
	}
	return pastForm(verb)
}

// pastForm is a verb in the past: "pressed", "put".
func pastForm(verb string) string {
	for _, form := range verbForms[verb] {
		if form != verb && form != sForm(verb) && form != ingForm(verb) {
			return form
		}
	}
	if irregular, ok := pasts[verb]; ok {
		return irregular
	}
	if strings.HasSuffix(verb, "e") {
		return verb + "d"
	}
	return strings.TrimSuffix(ingForm(verb), "ing") + "ed"
}

// pasts are verbs with a past of their own.
var pasts = map[string]string{"hit": "hit", "put": "put", "throw": "threw", "hold": "held", "shut": "shut"}

// addDoing makes the sayings of the verbs, but those that have a meaning already.
func (r *Reader) addDoing(verbs []string) {
	for _, verb := range verbs {
		forms := strings.NewReplacer("Ving", inflect(verb, ingForm), "Vs", inflect(verb, sForm), "V", verb)
		for _, p := range patterns {
			for said := range strings.SplitSeq(forms.Replace(p.said), "/") {
				if r.meaningOf(said) == "" {
					r.add(said, p.means)
				}
			}
		}
	}
}

// meaningOf is the concept that a saying has, word for word; "" for none.
func (r *Reader) meaningOf(said string) string {
	n := &r.root
	for w := range strings.FieldsSeq(plain(strings.ToLower(said))) {
		if n = n.next[w]; n == nil {
			return ""
		}
	}
	return n.concept
}

// inflect puts the first word of a verb in another form: "warm up", "warms up".
func inflect(verb string, form func(string) string) string {
	first, rest, _ := strings.Cut(verb, " ")
	return strings.TrimSpace(form(first) + " " + rest)
}

func sForm(verb string) string {
	for _, hiss := range []string{"s", "sh", "ch", "x", "z", "o"} {
		if strings.HasSuffix(verb, hiss) {
			return verb + "es"
		}
	}
	if strings.HasSuffix(verb, "y") && !vowel(verb, 2) {
		return strings.TrimSuffix(verb, "y") + "ies"
	}
	return verb + "s"
}

func ingForm(verb string) string {
	switch n := len(verb); {
	case strings.HasSuffix(verb, "ee"):
	case strings.HasSuffix(verb, "e"):
		return verb[:n-1] + "ing"
	case !vowel(verb, 1) && vowel(verb, 2) && !vowel(verb, 3) && !strings.ContainsAny(verb[n-1:], "wxy") && len(strings.FieldsFunc(verb, consonant)) == 1:
		return verb + verb[n-1:] + "ing" // "spinning", but not "clearing", "blowing", "lowering"
	}
	return verb + "ing"
}

// vowel tells whether the letter so far from the end is a vowel.
func vowel(w string, back int) bool {
	return len(w) >= back && !consonant(rune(w[len(w)-back]))
}

func consonant(letter rune) bool { return !strings.ContainsRune("aeiou", letter) }
