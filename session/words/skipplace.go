package words

import (
	"slices"
	"strings"
)

// This file asks what is to be skipped, where a place cannot be got at and the test asked for is not there.

// reaching are words of getting at a place.
var reaching = set(`reach reached at to near access accessible`)

// skipElsewhere asks whether the test asked for is to be skipped, or those at the place that cannot be got at:
// "can't get at the earth" beside a test at a fuse.
func (c *call) skipElsewhere(cl []item, reason string) bool {
	name, places := c.outOfReach(cl)
	e := c.ctx.Expected
	if len(places) == 0 || e == nil || len(expectedSpots(e.Measure)) == 0 {
		return false
	}
	if name == "ground" && role(e.Measure.Red) != "" && reference(e.Measure.Black) {
		return false // at the socket, the earth is all that the test needs beside it
	}
	for _, p := range []string{e.Measure.Red, e.Measure.Black, e.Measure.At, e.Measure.From, e.Measure.To} {
		if p != "" && (slices.Contains(places, p) || p == "chassis" && name == "ground") {
			return false
		}
	}
	where := placeName(places[0])
	if r := role(places[0]); r != "" {
		where = firstText(markOf(r, c.ctx.Labels), r)
	}
	if name == "ground" {
		where = "the load's ground"
	}
	c.ask("The test asked for is not at "+where+". What should be skipped?", []Choice{
		{Words: "the test asked for", Commands: []Command{{Kind: CmdSkip, Reason: reason}}},
		{Words: "the tests at " + where, Commands: []Command{{Kind: CmdSkip, Reason: reason, Places: places}}}})
	return true
}

// outOfReach is the one place that is said not to be got at, and all places of tests that it stands for.
func (c *call) outOfReach(cl []item) (name string, places []string) {
	at := slices.IndexFunc(cl, func(it item) bool { return it.concept == "cannot" })
	if at < 0 || slices.ContainsFunc(cl, func(it item) bool { return it.kind == kNum }) {
		return "", nil
	}
	said := strings.Fields(strings.ToLower(cl[at].raw))
	j := skipFiller(cl, at+1)
	if len(said) == 0 || !reaching[said[len(said)-1]] || j >= len(cl) {
		return "", nil
	}
	it := cl[j]
	if it.kind == kPlace && len(it.place.spots) == 1 && it.place.spots[0].ask == "" {
		s := it.place.spots[0]
		switch {
		case s.part == "ground" || s.abs == "load.out":
			return "ground", []string{"load_ground", "load_ground_point", "load.out"}
		case s.role != "":
			return s.role, []string{"socket." + s.role, "back." + s.role, "relay." + s.role, "terminal_" + s.role}
		case s.abs != "" && !strings.HasPrefix(s.abs, "battery"):
			return s.abs, []string{s.abs}
		}
		return "", nil
	}
	switch it.concept {
	case "feed_fuse", "coil_fuse", "load", "control":
		return it.concept, []string{it.concept, it.concept + ".in", it.concept + ".out"}
	}
	return "", nil
}
