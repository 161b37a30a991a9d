package speech

import (
	"encoding/xml"
	"strings"
)

// JSGF writes the grammar in the JSpeech Grammar Format (W3C Note, 5 June 2000), for
// recognisers such as pocketsphinx. It has no tags and no weights.
func (g *Grammar) JSGF() string {
	var b strings.Builder
	b.WriteString("#JSGF V1.0;\ngrammar coilside;\n")
	for _, r := range g.Rules {
		if r.Name == g.Root {
			b.WriteString("public ")
		}
		b.WriteString("<" + r.Name + "> = " + jsgf(r.Is, true) + ";\n")
	}
	return b.String()
}

func jsgf(e Expansion, top bool) string {
	text := ""
	switch {
	case e.Word != "":
		text = e.Word
	case e.Rule != "":
		text = "<" + e.Rule + ">"
	default:
		of, tie := e.All, " "
		if len(e.Any) > 0 {
			of, tie = e.Any, " | "
		}
		parts := make([]string, len(of))
		for i, x := range of {
			parts[i] = jsgf(x, false)
		}
		text = strings.Join(parts, tie)
		if !top && !e.Optional && len(parts) > 1 {
			text = "(" + text + ")"
		}
	}
	if e.Optional {
		return "[" + text + "]"
	}
	return text
}

// SRGS writes the grammar in the XML form of the W3C's Speech Recognition Grammar
// Specification 1.0 (Recommendation, 16 March 2004). It has no tags and no weights.
func (g *Grammar) SRGS() string {
	var b strings.Builder
	b.WriteString(xml.Header)
	b.WriteString(`<grammar version="1.0" xmlns="http://www.w3.org/2001/06/grammar" xml:lang="en-US" mode="voice" root="` + g.Root + "\">\n")
	for _, r := range g.Rules {
		scope := "private"
		if r.Name == g.Root {
			scope = "public"
		}
		b.WriteString(`<rule id="` + r.Name + `" scope="` + scope + `">`)
		srgs(&b, r.Is)
		b.WriteString("</rule>\n")
	}
	b.WriteString("</grammar>\n")
	return b.String()
}

func srgs(b *strings.Builder, e Expansion) {
	if e.Optional {
		e.Optional = false
		b.WriteString(`<item repeat="0-1">`)
		srgs(b, e)
		b.WriteString("</item>")
		return
	}
	switch {
	case e.Word != "":
		_ = xml.EscapeText(b, []byte(e.Word))
	case e.Rule != "":
		b.WriteString(`<ruleref uri="#` + e.Rule + `"/>`)
	case len(e.Any) > 0:
		b.WriteString("<one-of>")
		for _, x := range e.Any {
			b.WriteString("<item>")
			srgs(b, x)
			b.WriteString("</item>")
		}
		b.WriteString("</one-of>")
	default:
		for i, x := range e.All {
			if i > 0 {
				b.WriteByte(' ')
			}
			srgs(b, x)
		}
	}
}
