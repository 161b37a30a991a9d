package words

import (
	"slices"
	"strings"
)

// fixSlips corrects typing slips of words of the trade. Of the words of numbers it undoes
// two neighbouring letters changed round ("twleve"), which makes no other number; any other
// word that looks like a mistyped number is marked, so that no number near it is taken for
// certain.
func (r *Reader) fixSlips(in []item) []item {
	for i := range in {
		if in[i].kind == kWord {
			in[i].text = r.spelt(in[i].text)
		}
		if shortAnd[in[i].text] && i > 0 && i+1 < len(in) && countsOn(in[i-1]) && (countsOn(in[i+1]) || in[i+1].text == "a") {
			in[i].text = "and" // "across 86 an 85", "twelve an a half"
			continue
		}
		it := in[i]
		if it.kind == kWord && (len(it.text) == 2 || len(it.text) == 3) && isWord(it.text) && !r.known(it.text) {
			in[i].text = r.exchanged(it.text)
			if len(it.text) == 3 && in[i].text == it.text {
				in[i].text = firstText(r.missing(it.text), it.text)
			}
			continue
		}
		if it.kind != kWord || len(it.text) < 4 || !isWord(it.text) || r.known(it.text) {
			continue
		}
		if likeNumber(it.text) {
			in[i].text = firstText(exchangedNumber(it.text), badNumber)
			continue
		}
		if unit := mistypedUnit(it.text); unit != "" {
			in[i].text = unit
		} else if w := r.correct(it.text); w != "" {
			in[i].text = w
		} else {
			in[i].text = firstText(nearestLink(it.text), r.exchanged(it.text))
		}
	}
	return in
}

// nearestLink is the one word of joining or reading, of five letters and more, that w is a
// single slip from, "" for none: "reding".
func nearestLink(w string) string {
	found := ""
	for link := range linkWords {
		if len(w) < 5 || len(link) < 5 || !sameStart(w, link) || !within(w, link, 1) {
			continue
		}
		if found != "" {
			return ""
		}
		found = link
	}
	return found
}

// shortAnd are slips of "and" that are words of their own, or too short to be told by their
// letters: between two numbers they can be nothing else.
var shortAnd = set(`an nd ad anf amd und`)

func countsOn(it item) bool {
	return it.kind == kNum || it.kind == kWord && numberWord(it.text)
}

// spelt is the usual spelling of a word of dialect or haste: "nuthin", "runnin".
func (r *Reader) spelt(w string) string {
	if usual := r.respelt[w]; usual != "" {
		return usual
	}
	if full := w + "g"; strings.HasSuffix(w, "in") && len(w) > 4 && !r.known(w) && r.known(full) {
		return full
	}
	return w
}

// missing is the one word of the trade of four letters of which w lacks one, and not one of
// the first two: "ded" for dead.
func (r *Reader) missing(w string) string {
	found := ""
	for _, t := range r.targets {
		if len(t) != 4 || t[:2] != w[:2] || distance(w, t) != 1 {
			continue
		}
		if found != "" || turning[t] {
			return ""
		}
		found = t
	}
	return found
}

// exchanged undoes two letters changed round in a plain word or, of three letters, in one
// of the trade: "hsa", "adn", "kye". It gives w itself where that makes no such word, or two.
func (r *Reader) exchanged(w string) string {
	if single := undoubled(w); single != w && linkWords[single] {
		return single // "onn"
	}
	found := ""
	for i := 0; i+1 < len(w); i++ {
		if w[i] == w[i+1] || w[i] >= 0x80 || w[i+1] >= 0x80 {
			continue
		}
		t := w[:i] + string(w[i+1]) + string(w[i]) + w[i+2:]
		if plain := linkWords[t] || common[t] && !turning[t] || len(t) == 3 && r.vocab[t] && !numberWord(t); plain && found != "" {
			return w
		} else if plain {
			found = t
		}
	}
	return firstText(found, w)
}

// undoubled is w without the second of two like letters at its end.
func undoubled(w string) string {
	if n := len(w); n >= 3 && w[n-1] == w[n-2] {
		return w[:n-1]
	}
	return w
}

// badNumber stands for a word that may be a mistyped number.
const badNumber = "\x00number"

func isWord(w string) bool {
	for _, c := range w {
		if c >= '0' && c <= '9' {
			return false
		}
	}
	return true
}

func (r *Reader) known(w string) bool {
	_, unit := unitNames[w]
	return r.vocab[w] || r.filler[w] || homophones[w] != "" || common[w] || unit || numberWord(w) || colours[w] || linkWords[w] || lackWords[w] || inflected(w)
}

// inflected tells whether w is a plain form of a common word, which no slip made.
func inflected(w string) bool {
	for _, s := range []string{"s", "es", "ed", "ing", "er", "ly"} {
		if b, ok := strings.CutSuffix(w, s); ok && (common[b] || common[b+"e"] || common[undouble(b)]) {
			return true
		}
	}
	return false
}

// mistypedUnit is the unit that w is a slip of, "" for none: "voltts".
func mistypedUnit(w string) string {
	for _, unit := range []string{"volts", "amps", "ohms", "millivolts"} {
		if len(w) > 4 && sameStart(w, unit) && within(w, unit, 1) {
			return unit
		}
	}
	return ""
}

func likeNumber(w string) bool {
	if len(w) < 4 || len(w) > 9 {
		return false
	}
	for _, m := range []map[string]int{units09, teens, tens, {"hundred": 0, "thousand": 0, "point": 0}} {
		for n := range m {
			if len(n) >= 4 && within(w, n, 1+len(n)/8) {
				return true
			}
		}
	}
	return false
}

// exchangedNumber is the one number word that w is with two neighbouring letters changed
// round, "" for none.
func exchangedNumber(w string) string {
	found := ""
	for i := 0; i+1 < len(w); i++ {
		if t := w[:i] + string(w[i+1]) + string(w[i]) + w[i+2:]; t != w && numberWord(t) {
			if found != "" && found != t {
				return ""
			}
			found = t
		}
	}
	return found
}

// nearestNumber is the one number word that is a single slip from w, "" for none.
func nearestNumber(w string) string {
	found := ""
	for _, m := range []map[string]int{units09, teens, tens, {"hundred": 0, "thousand": 0, "point": 0}} {
		for n := range m {
			if !within(w, n, 1) {
				continue
			}
			if found != "" {
				return ""
			}
			found = n
		}
	}
	return found
}

// correct finds the one word of the vocabulary that w is a slip of. Of two
// equally near, the one with more in common at both ends; else none.
func (r *Reader) correct(w string) string {
	if t := r.exchangedWord(w); t != "" {
		return t
	}
	if _, n := r.longestStem(w); n {
		return ""
	}
	most := 1
	if len(w) >= 8 {
		most = 2
	}
	best, found, tie := most+1, "", false
	for _, t := range r.targets {
		if abs(len(t)-len(w)) > most || !sameStart(w, t) {
			continue
		}
		d := distance(w, t)
		switch {
		case d > best || d > most:
		case d < best || shared(w, t) > shared(w, found):
			best, found, tie = d, t, false
		case shared(w, t) == shared(w, found):
			tie = true
		}
	}
	if tie || best > most {
		return ""
	}
	return found
}

// exchangedWord is the one word of the trade that w is with two neighbouring letters changed
// round, "" for none.
func (r *Reader) exchangedWord(w string) string {
	found := ""
	for _, t := range r.targets {
		if len(t) == len(w) && t != w && sameStart(w, t) && distance(w, t) == 1 && sameLetters(w, t) {
			if found != "" {
				return ""
			}
			found = t
		}
	}
	return found
}

func sameLetters(a, b string) bool {
	return slices.Equal(slices.Sorted(slices.Values([]byte(a))), slices.Sorted(slices.Values([]byte(b))))
}

func (r *Reader) longestStem(w string) (string, bool) {
	s := stem(w, r.root.next)
	return s, s != ""
}

// Slip tells whether one word may be the other with a slip of the keys, of words with
// letters only: one letter wrong, missing, too many or changed round with the next; two in
// words of seven letters and more.
func Slip(said, meant string) bool {
	if len(said) < 3 || len(meant) < 4 || !isWord(said+meant) || !sameStart(said, meant) {
		return false
	}
	return within(said, meant, 1+len(meant)/7)
}

// sameStart asks for the same first letter, or the first two exchanged: slips
// seldom change how a word begins.
func sameStart(a, b string) bool {
	return a[0] == b[0] || len(a) > 1 && len(b) > 1 && a[0] == b[1] && a[1] == b[0]
}

// shared is how much two words have in common at their beginning and end.
func shared(a, b string) int {
	n, m := 0, 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	for n+m < len(a) && n+m < len(b) && a[len(a)-1-m] == b[len(b)-1-m] {
		m++
	}
	return n + m
}

func abs(n int) int {
	if n < 0 {
		return -n
	}
	return n
}

func within(a, b string, most int) bool {
	return abs(len(a)-len(b)) <= most && distance(a, b) <= most
}

// distance counts the single-letter insertions, deletions, changes and
// exchanges of neighbours that turn a into b (optimal string alignment).
func distance(a, b string) int {
	prev2, prev, cur := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(a); i++ {
		cur[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				cur[j] = min(cur[j], prev2[j-2]+1)
			}
		}
		prev2, prev, cur = prev, cur, prev2
	}
	return prev[len(b)]
}

// nearestOf returns the name of the list nearest to s, "" for an empty list.
func nearestOf(s string, list []string) string {
	best, found := 1<<30, ""
	for _, t := range list {
		if d := distance(s, t); d < best {
			best, found = d, t
		}
	}
	return found
}

func set(s string) map[string]bool {
	m := map[string]bool{}
	for _, w := range strings.Fields(s) {
		m[w] = true
	}
	return m
}

var colours = set(`yellow blue green brown black white grey gray orange purple violet pink tan red`)

// linkWords join a place and its reading.
var linkWords = set(`'s measure give show read coming is are was were has have got had reads read reading readings shows show showing gives give giving
	gave measures measured measuring says saying at on to and from of for with the a an its it im ive i we get getting
	gets see seeing seen comes sits sitting equals equal makes then or but n yeah well so just now here there that this
	be been being only still all when while if whilst am by do did he she his hers my our own via use who whose theres
	hes youre weve youve theyve indicating indicates displays displayed registers registering noted recorded probed touched clipped`)

// turning are common words that change what is said of a number: beside one, they are
// asked about.
var turning = set(`until unless if except instead almost nearly half twice without against away before after behind
	under over near other another otherwise will would could want wanted wants wish hope wonder need needed needs must than less plus
	like as ago since below above beyond beside not might per missing lower higher`)

// common are plain English words that carry no meaning here. They are listed so
// that none is taken for a slip of a word that does.
var common = set(`able about above according across actual actually after again against ago all almost alone along already
	also although always another any anyone anything anyway around aside away back because before behind being below
	beside besides best better beyond body both brought bumper came care case check checked checking come coming could
	couple course days dear does doing done door down during each easy either else engine enough even ever every
	everything exactly except extra face fair fairly fast feel feels felt find fine first fixed folk found front full
	fully gave getting give given gives goes going gone good great guess half hand hands happen happened happens hard
	have having head hear hello help here high himself hold hope hour house idea inside instead into itself job just
	keep keeps kept kind knew know known large last late later least leave left less lets life like line list little
	live long look looked looking looks lots made main make makes making many mate matter mean means meant meter might mind
	mine minute missing moment more morning most move moved much must myself near nearly need needed needs never next
	nice night none normal note nothing noticed number odd often okay once only onto option other others otherwise over part
	people perhaps place please plus point possible pretty probably proper properly put quick quickly quite restart restarted rather
	ready real really right round said same says second seem seemed seems seen sense should show side since small
	some someone something sometimes somewhere soon sorry sort stay step still stop stuff such sure take taken takes
	taking tell than thank thanks that their them then there these they thing things think this those though thought
	through time tiny today together told took top total touch tried tries true truck try trying turn turned twice
	under until upon used using usual usually vehicle very wait want wanted wants warm water ways well went were what
	whatever when where whether which while whole will wish with within without wonder word work would write wrong
	yard yeah year years your yours cover customer cable lead leads probe probes test tests tested testing tester
	meter box lid bonnet hood dash seat panel floor wheel tank axle frame rail bolt bolts screw clip clips tape strap
	plug plugs connector connectors harness loom bulkhead cab boss lunch coffee rain mud dirt oil grease rust
	bottom middle upper lower rear outer inner nearside offside driver drivers passenger garage workshop tool tools
	short shorted shorts spanner hammer torch fingers finger thumb nail whatsoever lol haha damn bloody stupid thingy gizmo`)

// counting tells "2nd", which counts tries.
func counting(w string) bool {
	return len(w) > 2 && isDigit(w[0]) && ordinalEnd[w[len(w)-2:]]
}
