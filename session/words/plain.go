package words

import "strings"

// This file lists plain English words, by what they can do to a number said beside them.

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
