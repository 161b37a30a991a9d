package speech

import (
	"encoding/xml"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestSaysAsPeopleSay(t *testing.T) {
	for text, want := range map[string]string{
		"12.4 V at 86.":                       "twelve point four volts at eighty six.",
		"0.03 V":                              "zero point zero three volts",
		"-12.5 V":                             "minus twelve point five volts",
		"1 V":                                 "one volt",
		"20 mV":                               "twenty millivolts",
		"4.7 kΩ between 30 and 87":            "four point seven kilohms between thirty and eighty seven",
		"107 Ω":                               "one hundred and seven ohms",
		"87a":                                 "eighty seven A",
		"A1 to A2":                            "A one to A two",
		"over range (OL)":                     "over range",
		"5 to 11 V":                           "five to eleven volts",
		"9.6 A":                               "nine point six amps",
		"94 %":                                "ninety four percent",
		"7.5 A, 80 °C":                        "seven point five amps, eighty degrees celsius",
		"1500 W":                              "one thousand five hundred watts",
		"relay out, key on":                   "relay out, key on",
		"Next: pull it.\nWhy: to see.":        "Next: pull it. Why: to see.",
		"“12.4”: I did not take that.":        "twelve point four: I did not take that.",
		"86–85":                               "eighty six to eighty five",
		"terminal 30 (marked 3), back-probed": "terminal thirty, marked three, back-probed",
	} {
		assert.Equal(t, want, Say(text), text)
	}
}

// What is said is the same in both forms: SSML with sub's alias in the place of what it
// stands for is the plain text.
func TestSSMLSaysTheSame(t *testing.T) {
	for _, text := range []string{"12.4 V at 86, relay out.", "Fuse < 20 A & hot?", "“OL” at 87a – twice.", "a\x00b\x1b 5 V", "4.7 kΩ"} {
		doc := SSML(Of{Text: text, Caution: true}, Of{Text: "Next: measure 30."})
		assert.Equal(t, tidyTest(Say(text)+" "+Say("Next: measure 30.")), tidyTest(heardIn(t, doc)), doc)
	}
}

// tidyTest writes what XML cannot hold as XML's writer does.
func tidyTest(s string) string {
	return strings.NewReplacer("\x00", "\uFFFD", "\x1b", "\uFFFD").Replace(tidy(s))
}

// heardIn speaks a document: text as it stands, alias for what sub holds. It fails on
// elements and attributes that SSML 1.1 does not have there.
func heardIn(t *testing.T, doc string) string {
	t.Helper()
	allowed := map[string]string{"speak": "", "s": "speak", "emphasis": "s", "sub": "s emphasis", "break": "speak"}
	attributes := map[string]string{"speak": "version xmlns lang", "emphasis": "level", "sub": "alias", "break": "time"}
	var b strings.Builder
	stack := []string{""}
	d := xml.NewDecoder(strings.NewReader(doc))
	for {
		tok, err := d.Token()
		if err == io.EOF {
			return b.String()
		}
		require.NoError(t, err, doc)
		switch x := tok.(type) {
		case xml.StartElement:
			parents, known := allowed[x.Name.Local]
			require.True(t, known, x.Name.Local)
			require.Contains(t, append(strings.Fields(parents), map[bool]string{true: "", false: "-"}[parents == ""]), stack[len(stack)-1])
			require.Equal(t, "http://www.w3.org/2001/10/synthesis", x.Name.Space)
			for _, a := range x.Attr {
				require.Contains(t, strings.Fields(attributes[x.Name.Local]), a.Name.Local)
				if a.Name.Local == "alias" {
					b.WriteString(" " + a.Value + " ")
				}
			}
			if x.Name.Local == "s" {
				b.WriteByte(' ')
			}
			stack = append(stack, x.Name.Local)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		case xml.CharData:
			if stack[len(stack)-1] != "sub" {
				b.Write(x)
			}
		}
	}
}
