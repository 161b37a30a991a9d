// Package picture draws the circuit of a job, the face of its socket and where
// the leads go, as SVG. It knows how things look and nothing of what they mean:
// it is given plain structs and gives back text. A drawing holds no script and no
// style sheet; lines take the colour of the text around them (currentColor), so that
// it reads on light, on dark and in print, and what matters is told by shape and words
// as well as by colour.
package picture

import (
	"encoding/xml"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Drawing is a finished picture.
type Drawing struct {
	SVG         string
	Title       string // what it is a picture of
	Description string // what can be seen, for who cannot see it
	Text        string // the same in plain characters; of the socket only
}

// canvas collects the elements of one SVG, in user units of about a pixel.
type canvas struct {
	body strings.Builder
	high float64 // lowest line drawn so far
}

func (c *canvas) down(y float64) {
	c.high = max(c.high, y)
}

func (c *canvas) put(format string, args ...any) {
	fmt.Fprintf(&c.body, format, args...)
	c.body.WriteByte('\n')
}

func (c *canvas) line(x1, y1, x2, y2 float64) { c.stroke(x1, y1, x2, y2, 2, "") }

func (c *canvas) stroke(x1, y1, x2, y2, width float64, dash string) {
	c.down(max(y1, y2))
	c.put(`<line x1="%s" y1="%s" x2="%s" y2="%s" stroke-width="%s"%s/>`, n(x1), n(y1), n(x2), n(y2), n(width), dashed(dash))
}

func (c *canvas) box(x, y, w, h float64, dash string) {
	c.down(y + h)
	c.put(`<rect x="%s" y="%s" width="%s" height="%s" rx="3"%s/>`, n(x), n(y), n(w), n(h), dashed(dash))
}

func (c *canvas) circle(x, y, r float64) {
	c.down(y + r)
	c.put(`<circle cx="%s" cy="%s" r="%s"/>`, n(x), n(y), n(r))
}

func (c *canvas) dot(x, y float64) {
	c.put(`<circle cx="%s" cy="%s" r="3.5" fill="currentColor" stroke="none"/>`, n(x), n(y))
}

func (c *canvas) path(d string) { c.put(`<path d="%s"/>`, d) }

func dashed(dash string) string {
	if dash == "" {
		return ""
	}
	return ` stroke-dasharray="` + dash + `"`
}

// words writes text with its left end (anchor "start"), middle or right end at x;
// y is the baseline.
func (c *canvas) words(x, y float64, anchor, text string, size float64, bold bool) {
	c.down(y + 4)
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	c.put(`<text x="%s" y="%s" text-anchor="%s" font-size="%s"%s fill="currentColor" stroke="none">%s</text>`,
		n(x), n(y), anchor, n(size), weight, escaped(text))
}

// svg closes the picture. id tells its title from those of other pictures on a page.
func (c *canvas) svg(id string, width float64, d Drawing) Drawing {
	high := c.high + 10
	d.SVG = fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" class="coilside-picture" viewBox="0 0 %s %s" width="%s" height="%s" role="img" aria-labelledby="%s-title %s-desc" `+
		`fill="none" stroke="currentColor" stroke-width="2" stroke-linecap="round" font-family="system-ui, sans-serif" style="max-width:100%%;height:auto">
<title id="%s-title">%s</title>
<desc id="%s-desc">%s</desc>
%s</svg>
`, n(width), n(high), n(width), n(high), id, id, id, escaped(d.Title), id, escaped(d.Description), c.body.String())
	return d
}

// n writes a coordinate with no more digits than a screen can show.
func n(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.1f", v), "0"), ".")
}

// escaped makes any text safe inside an element or an attribute; what XML cannot
// hold becomes U+FFFD.
func escaped(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text)) // a Builder takes everything
	return b.String()
}

// safeID keeps of a name what an XML id may hold.
func safeID(name string) string {
	return "pic-" + strings.Map(func(r rune) rune {
		if r < utf8.RuneSelf && (unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-') {
			return r
		}
		return '-'
	}, name)
}

// wrapped breaks text into lines of at most about so many characters, at spaces; a
// word that is longer is cut.
func wrapped(text string, most int) []string {
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		for utf8.RuneCountInString(word) > most {
			r := []rune(word)
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines = append(lines, string(r[:most-1])+"-")
			word = string(r[most-1:])
		}
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= most:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
