package rules

import (
	"fmt"
	"slices"
	"strings"
)

// Nearest gives the known name closest to the one given, by edit distance up to
// a third of its length, or "" when none is that close. Ties go to the first in
// alphabetical order.
func Nearest(name string, known []string) string {
	best, least := "", max(len([]rune(name))/3, 1)+1
	sorted := slices.Clone(known)
	slices.Sort(sorted)
	for _, k := range sorted {
		if d := distance(strings.ToLower(name), strings.ToLower(k), least); d < least {
			best, least = k, d
		}
	}
	return best
}

// begun gives the one known name that starts with what was written, "" when there is none
// or more than one.
func begun(name string, known []string) string {
	found := ""
	for _, k := range known {
		if len(name) > 2 && strings.HasPrefix(k, name) {
			if found != "" {
				return ""
			}
			found = k
		}
	}
	return found
}

// didYouMean is a hint that names the nearest known name, or lists a few.
func didYouMean(name string, known []string) string {
	if near := Nearest(name, known); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if whole := begun(name, known); whole != "" {
		return fmt.Sprintf("did you mean %q?", whole)
	}
	if len(known) == 0 || len(known) > 16 {
		return ""
	}
	return "known here: " + strings.Join(known, ", ")
}

// distance counts inserted, deleted, changed and swapped runes, giving up at limit.
func distance(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if len(x)-len(y) >= limit || len(y)-len(x) >= limit {
		return limit
	}
	before, row := make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(x); i++ {
		older := before
		before, row = row, make([]int, len(y)+1)
		row[0] = i
		least := i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(before[j]+1, row[j-1]+1, before[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], older[j-2]+1)
			}
			least = min(least, row[j])
		}
		if least >= limit {
			return limit
		}
	}
	return row[len(y)]
}
