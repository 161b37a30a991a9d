package words

import (
	"slices"

	"coilside/rules"
)

// This file gives words the meaning that they have where they stand.

// inContext gives words their meaning where they stand.
func (c *call) inContext(in []item) []item {
	in = clickRuns(in)
	for i := range in {
		it, o := &in[i], occurrence{c, in, i}
		for _, sense := range senses[it.concept] {
			if sense.when(o) {
				it.concept = sense.is
				if sense.is == "" {
					it.kind = kWord
				}
				break
			}
		}
		switch {
		case charging[it.text] && c.ctx.Expected != nil && c.ctx.Expected.Setup.Engine == "running":
			it.kind, it.concept = kConcept, "aside" // "it's charging at 14.2"
		case browned[it.text] && it.kind == kWord && c.expects(rules.Look) && !o.has("blown") && o.next().text != "wire" && o.next().text != "one":
			it.kind, it.concept = kConcept, "burnt" // "the clips are brown"
		case c.ctx.Opening && it.kind == kWord && it.text == "out" && o.before().concept == "load" && (ended(o.next()) || stillSo[o.next().text]):
			it.kind, it.concept = kConcept, "off" // "work light out"
		case it.text == "like" && it.kind == kWord && o.next().kind == kNum && o.next().num.unit.dim != "time" && o.before().concept != "same":
			it.kind, it.concept = kConcept, "about" // "like 12.5 or something"
		case it.kind == kWord && (it.text == "in" || it.text == "out") && o.before().kind == kNum && at[o.next().text]:
			it.text = "at" // "12.4 out at 87"
		case it.kind == kWord && it.text == "by" && o.next().kind == kNum && (o.before().text == "down" || o.before().text == "up"):
			it.kind, it.concept = kConcept, "bound" // "down by 2 volts"
		case (it.text == "plus" || it.raw == "+") && (toward[o.before().text] || o.before().text == "the" && toward[neighbour(in, i, -2).text]) && o.next().kind != kNum:
			it.kind, it.concept = kConcept, "battery_positive" // "87 to plus"
		case (it.text == "minus" || it.raw == "-") && toward[o.before().text] && ended(o.next()):
			it.kind, it.concept = kConcept, "battery_negative"
		case o.says("never") && len(in) == 1 && (c.expects(rules.PullIn) || c.expects(rules.DropOut)):
			it.concept = "nothing"
		}
		it.text = firstText(it.concept, it.text)
	}
	return in
}

// clickRuns takes a click that is said over and over for a buzz: "click click click".
func clickRuns(in []item) []item {
	for i := range in {
		end := i
		for end < len(in) && (in[end].concept == "click" || end > i && in[end].kind == kSep && neighbour(in, end, 1).concept == "click") {
			end++
		}
		clicks := slices.DeleteFunc(slices.Clone(in[i:end]), func(it item) bool { return it.kind == kSep })
		if len(clicks) > 2 {
			return slices.Replace(slices.Clone(in), i, end, item{kind: kConcept, concept: "buzz", text: "buzz", raw: rawOf(in[i:end])})
		}
	}
	return in
}

// charging are words of what holds the battery up while the engine runs.
var charging = set(`charging charges charged alternator alternators generator dynamo`)

// stillSo are words that may end what is said of a load.
var stillSo = set(`again too now today tonight altogether completely`)

// browned are colours that heat gives to metal and plastic.
var browned = set(`black blackened brown browned brownish blueish bluish`)

// toward are words before the place that the black lead, or the red one, was held to.
var toward = set(`to against versus`)

// at are words before a place.
var at = set(`at on of from`)
