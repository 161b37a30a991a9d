package speech

import (
	"strconv"
	"strings"
)

var (
	small = strings.Fields("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen")
	tens  = strings.Fields("- - twenty thirty forty fifty sixty seventy eighty ninety")
)

// mostSaid bounds the whole numbers that are said as words; beyond, digits are said one
// by one.
const mostSaid = 999_999

// numberWords says a decimal numeral as people say it: "12.04" is "twelve point zero
// four". It is false for what is no plain numeral.
func numberWords(numeral string) (string, bool) {
	minus := strings.HasPrefix(numeral, "-")
	whole, fraction, point := strings.Cut(strings.TrimPrefix(numeral, "-"), ".")
	if whole == "" || !digits(whole) || point && (fraction == "" || !digits(fraction)) {
		return "", false
	}
	var out []string
	if minus {
		out = append(out, "minus")
	}
	if n, err := strconv.Atoi(whole); err == nil && n <= mostSaid {
		out = append(out, wholeWords(n)...)
	} else {
		out = append(out, oneByOne(whole)...)
	}
	if point {
		out = append(append(out, "point"), oneByOne(fraction)...)
	}
	return strings.Join(out, " "), true
}

func digits(s string) bool {
	for _, r := range s {
		if r < '0' || r > '9' {
			return false
		}
	}
	return true
}

func oneByOne(s string) []string {
	out := make([]string, 0, len(s))
	for _, r := range s {
		out = append(out, small[r-'0'])
	}
	return out
}

// wholeWords says 0 to mostSaid.
func wholeWords(n int) []string {
	switch {
	case n < 20:
		return []string{small[n]}
	case n < 100 && n%10 == 0:
		return []string{tens[n/10]}
	case n < 100:
		return []string{tens[n/10], small[n%10]}
	case n < 1000:
		return and([]string{small[n/100], "hundred"}, n%100, "and")
	}
	return and(append(wholeWords(n/1000), "thousand"), n%1000, "")
}

func and(out []string, rest int, word string) []string {
	if rest == 0 {
		return out
	}
	if word != "" {
		out = append(out, word)
	}
	return append(out, wholeWords(rest)...)
}
