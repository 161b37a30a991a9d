package words

// This file tells how far two spellings are apart.

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
