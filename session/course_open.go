package session

import (
	"regexp"
	"strings"

	"coilside/rules"
)

// wireSaid is a wish to size a wire with a number in it: "wire 15 amps over 6 metres".
var wireSaid = regexp.MustCompile(`(?i)^\s*(?:size\s+)?wir(?:e|ing)\b.*(?:\d|amp)`)

// courseSaidFirst is the purpose of a job that was asked for in words; "" for none.
func courseSaidFirst(book *rules.Book, text string) string {
	table, err := book.Table("course_openings", "said")
	if err != nil {
		return ""
	}
	low := strings.ToLower(text)
	best, most := "", 0
	for _, row := range table.Rows {
		for _, say := range splitBy(row.Text("said"), "|") {
			if len(say) > most && hasWord(low, say) {
				best, most = row.Key, len(say)
			}
		}
	}
	if best == "" && wireSaid.MatchString(text) {
		return "wire"
	}
	return best
}

// Said is what began a job beside diagnosis, where it tells more than its purpose; it
// is to be told to the job once that is open.
func (i *Interview) Said() string {
	if i.o.Purpose != "" && strings.ContainsAny(digits(strings.ToLower(i.said)), "0123456789") {
		return i.said
	}
	return ""
}
