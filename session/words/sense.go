package words

import (
	"slices"
	"strings"

	"coilside/rules"
)

// Some words mean one thing in one test or beside some words, and another elsewhere: a clean
// fuse is sound, a clean reading says nothing of its own. Each sense is a line in a table; of
// those of one concept the first that fits counts.

// sense is what a concept means where it does not mean what it mostly does.
type sense struct {
	of   string // concept
	when func(o occurrence) bool
	is   string // concept that it has there; "" = a word without any
}

// occurrence is a word in an utterance.
type occurrence struct {
	*call
	in []item
	at int
}

func (o occurrence) it() item                { return o.in[o.at] }
func (o occurrence) low() string             { return strings.ToLower(o.it().raw) }
func (o occurrence) says(w string) bool      { return o.low() == w }
func (o occurrence) begins(w string) bool    { return strings.HasPrefix(o.low(), w) }
func (o occurrence) ends(w string) bool      { return strings.HasSuffix(o.low(), w) }
func (o occurrence) before() item            { return neighbour(o.in, o.at, -1) }
func (o occurrence) next() item              { return neighbour(o.in, o.at, 1) }
func (o occurrence) afterLoad() bool         { return afterLoad(o.in, o.at) }
func (o occurrence) has(concept string) bool { return hasConcept(o.in, concept) }
func (o occurrence) hasNumber() bool         { return hasNumber(o.in) }

// asksChoice tells that the test asked for has named outcomes.
func (o occurrence) asksChoice() bool {
	return o.ctx.Expected != nil && choiceTable(o.ctx.Expected.Measure.Mode) != nil
}

// senses are all of them, by concept.
var senses = func() map[string][]sense {
	out := map[string][]sense{}
	for _, table := range [][]sense{ofWhatALoadDoes, ofWhatIsHeard, ofWhatIsSeen, ofWhatAMeterDoes, ofWhatWasDone} {
		for _, s := range table {
			out[s.of] = append(out[s.of], s)
		}
	}
	return out
}()

var ofWhatALoadDoes = []sense{
	{"comes_and_goes", func(o occurrence) bool { return o.says("blinking") && o.next().kind == kNum }, "aside"}, // "it's blinking 12.4"
	{"weak", func(o occurrence) bool {
		return feeble[o.low()] && o.hasNumber() && !o.has("load") && !o.has("battery") && o.expectsNumber()
	}, "aside"}, // "11.2, poor"
	{"off", func(o occurrence) bool { return o.expects(rules.MinMax) && strings.Contains(o.it().raw, "mov") }, "steady"},
	{"off", func(o occurrence) bool { return o.expectsNumber() && o.begins("not ") }, "nothing"}, // "not even a ghost reading"
	{"off", func(o occurrence) bool {
		return (!o.ctx.Opening || hasText(o.in[o.at:], "itself") || hasText(o.in[o.at:], "own")) && goesOff(o.it().raw) && isSounder(o.before())
	}, "runs"}, // "the alarm goes off"
	{"off", func(o occurrence) bool { return instruments[o.subject().text] && !o.expects(rules.Look) }, "unclear"}, // "the meter doesn't do anything"
	{"off", func(o occurrence) bool {
		return o.says("off") && o.before().concept == "load" && o.next().text == "the"
	}, "unkept_state"}, // "the fan off the shaft"
	{"off", func(o occurrence) bool { return o.says("no output") && at[o.next().text] }, "nothing"},   // "no output at 87"
	{"off", func(o occurrence) bool { return o.ends(" go") && o.next().concept == "bound" }, "aside"}, // "it won't go below 12"
	{"off", func(o occurrence) bool {
		return vague[o.low()] && (o.expects(rules.Listen) || o.expects(rules.TestLamp))
	}, "nothing"},
	{"off", func(o occurrence) bool {
		before := o.before()
		return strings.Contains(o.low(), "dead") && before.kind == kNum && isDIN(before.num.digits)
	}, "dead"}, // "87 stays dead"
	{"aside", func(o occurrence) bool {
		return o.says("dead on") && o.before().kind != kNum && o.next().kind != kNum
	}, "dead"}, // "wipers dead on a van"
	{"done", func(o occurrence) bool { return o.ctx.Opening && o.says("quit") && o.afterLoad() }, "off"}, // "the indicators quit on the left"
	{"beeps", occurrence.afterLoad, "runs"}, // "the horn beeps"
	{"runs", func(o occurrence) bool { return o.before().text == "im" || o.before().text == "i" && o.says("running") }, "aside"}, // "I'm running late"
	{"runs", func(o occurrence) bool {
		return o.says("started") && o.next().kind == kWord && strings.HasSuffix(o.next().text, "ing")
	}, "aside"}, // "it's started raining"
	{"trips", func(o occurrence) bool {
		return (o.says("trips") || o.says("trip")) && journeys[o.before().text]
	}, ""}, // "dies on long trips"
	{"heat_none", func(o occurrence) bool { return o.ctx.Opening && o.says("cold") && o.afterLoad() && ended(o.next()) }, "off"}, // "seat heater cold"
	{"runs", occurrence.ofEngine, "engine_running"},
	{"runs", func(o occurrence) bool {
		return o.expects(rules.Listen) && strings.Contains(o.it().raw, " like ") && !o.has("load")
	}, "buzz"}, // "going like the clappers", of a relay
	{"runs", func(o occurrence) bool {
		return ofMeter(o.it(), o.next()) || (degrees[o.next().text] || directions[o.next().text]) && o.next().kind == kWord && neighbour(o.in, o.at, 2).text == "to" && ofMeter(o.it(), neighbour(o.in, o.at, 2))
	}, "aside"}, // "comes up 12.4"
	{"loaded", occurrence.ofEngine, "engine_running"},
	{"cannot", func(o occurrence) bool { return o.expects(rules.Look) && strings.Contains(o.low(), "rust") }, "corroded"}, // "the bolt is rusted solid"
	{"cannot", func(o occurrence) bool { return o.ctx.Opening }, "off"},                                                   // "the step won't come out"
	{"nothing_moves", func(o occurrence) bool { return !o.ctx.Cautioned && o.asksChoice() }, "off"},
	{"nothing_moves", func(occurrence) bool { return true }, "load_moves=false"},
}

var ofWhatIsHeard = []sense{
	{"silent", func(o occurrence) bool {
		return strings.Contains(o.low(), "n't hear") && (o.has("unsure") || o.has("skip") || drownedBy[firstWord(o.next().raw)])
	}, "unsure"}, // "can't hear anything with the engine running"
	{"silent", func(o occurrence) bool { return o.afterLoad() || fromLoad(o.in[o.at+1:]) }, "off"},                       // "the horn stays quiet"
	{"silent", func(o occurrence) bool { return !o.has("relay") && slices.ContainsFunc(o.in[:o.at], isSounder) }, "off"}, // "24.3 at the horn, still no sound"
	{"click", func(o occurrence) bool { return o.ctx.Opening && (o.afterLoad() || alone[o.before().text]) }, "off"},      // "the starter just clicks"
	{"click", func(o occurrence) bool {
		return o.afterLoad() && o.ctx.LoadKind == "solenoid" && !o.ctx.Opening && !o.expects(rules.Listen)
	}, "runs"}, // "the solenoid pulls in"
	{"click", func(o occurrence) bool {
		return o.expects(rules.Bridge) && o.ctx.LoadKind == "solenoid" && !o.has("relay")
	}, "runs"},
	{"click", func(o occurrence) bool {
		return o.ends(" it") && (o.next().concept == "buzz" || o.next().concept == "click")
	}, "aside"}, // "I hear it clicking"
	{"click", func(o occurrence) bool {
		return o.next().concept == "buzz" && strings.HasPrefix(strings.ToLower(o.next().raw), "like ")
	}, "aside"}, // "clicks like a machine gun"
	{"click", func(o occurrence) bool { return o.expects(rules.PullIn) && o.hasNumber() }, "pull_in"},
	{"pull_in", func(o occurrence) bool { return !o.hasNumber() }, "click"}, // "heard it pull in"
	{"buzz", func(o occurrence) bool {
		return o.afterLoad() && !o.ctx.Opening && slices.ContainsFunc(o.in[o.at+1:], ofLoad)
	}, "aside"}, // "the pump hums but won't turn"
	{"buzz", func(o occurrence) bool { return o.afterLoad() && !o.ctx.Opening }, "unclear"}, // "the pump hums" says nothing of the relay
	{"buzz", func(o occurrence) bool {
		return o.begins("hum") && o.asksChoice() && !o.expects(rules.Listen) && !o.has("relay") && slices.ContainsFunc(o.in[o.at+1:], ofLoad)
	}, "aside"}, // "humming but not turning", where the load is watched
}

var ofWhatIsSeen = []sense{
	{"wrong_part", func(o occurrence) bool {
		return o.says("wrong one") && !o.expects(rules.Look) && o.has("that_was")
	}, "correction"}, // "wrong one, that was 87"
	{"good", func(o occurrence) bool {
		return (o.says("all right") || o.says("alright")) && concepts[o.before().concept] == gOutcome
	}, "aside"}, // "it's blown all right"
	{"aside", func(o occurrence) bool { return o.expects(rules.Look) && nothingAmiss[o.low()] }, "sound"},
	{"wet", func(o occurrence) bool { return o.says("water") && o.before().concept == "runs" }, ""},                        // "pumping water"
	{"sound", func(o occurrence) bool { return o.before().concept == "click" }, ""},                                        // "a tick sound"
	{"sound", func(o occurrence) bool { return !o.expects(rules.Look) && o.says("dry") && o.afterLoad() }, "unkept_state"}, // "with the pump dry"
	{"gone", func(o occurrence) bool {
		return strings.Contains(o.it().raw, "good") && (o.expects(rules.Look) || o.hasNumber())
	}, "good"}, // "all good there", "12.3 all good"
	{"still_there", func(o occurrence) bool { return o.says("still there") && o.before().kind == kNum }, "aside"}, // "12.2 still there"
	{"burnt", func(o occurrence) bool { return o.ends(" out") && o.looksAtFuse() }, "blown"},                      // "burned out"
	{"burnt", func(o occurrence) bool {
		return strings.Contains(o.low(), "melted") && o.looksAtFuse() && namesElement(o.in)
	}, "blown"},
	{"gone", func(o occurrence) bool { return o.expects(rules.Look) && strings.Contains(o.it().raw, "gone") }, "blown"},
	{"bad", func(o occurrence) bool { return strings.Contains(o.low(), "bust") && o.looksAtFuse() }, "blown"},
	{"burnt", func(o occurrence) bool { return o.says("melted") && o.looksAtFuse() && o.next().text == "through" }, "blown"},
	{"relay_out", func(o occurrence) bool { return o.says("it 's out") && o.expects(rules.TestLamp) && len(o.in) == 1 }, "dark"},
	{"load", occurrence.ofTestLamp, "bright"}, // "lights ok"
	{"load", func(o occurrence) bool { return o.says("lamp") && o.next().concept == "between" }, "lamp"},
}

var ofWhatAMeterDoes = []sense{
	{"bound", func(o occurrence) bool { return o.says("nowhere near") && o.next().kind != kNum }, "aside"},                // "8 volts, nowhere near"
	{"short", func(o occurrence) bool { return o.before().kind == kNum && ended(o.next()) }, "bound"},                     // "2 volts short"
	{"relay", func(o occurrence) bool { return strings.Contains(o.low(), "old relay") && o.hasNumber() }, "unkept_state"}, // "0.3 on the old relay"
	{"ground", func(o occurrence) bool {
		return o.says("negative") && o.at == 0 && len(o.in) > 1 && o.next().kind == kSep
	}, "no"}, // "negative, nothing there"
	{"ground", func(o occurrence) bool {
		return o.says("negative") && o.at == 0 && o.next().text == "on" && o.asksChoice()
	}, "not"}, // "negative on the click"
	{"live", occurrence.ofBatteryItself, "battery"},
	{"live", func(o occurrence) bool { return o.says("charged") && o.has("battery") }, "good"},                             // "12.6, the battery's fully charged"
	{"same", func(o occurrence) bool { return o.expects(rules.MinMax) && o.begins("no ") }, "steady"},                      // "no change when I wiggle it"
	{"drop", func(o occurrence) bool { return o.says("dropping") && o.before().kind == kSep && ended(o.next()) }, "aside"}, // "nine volts, dropping"
	{"comes_and_goes", func(o occurrence) bool { return o.expects(rules.DropOut) && o.begins("drop") && o.hasNumber() }, "drop_out"},
}

var ofWhatWasDone = []sense{
	{"reseat", occurrence.ofLoadPlug, "load_plugged"},  // "plugged the fan back in"
	{"reseat", occurrence.ofOtherPart, "unkept_state"}, // "plugged the connector back in"
	{"reseat", func(o occurrence) bool { return o.says("in and out") && o.asksChoice() && len(o.in) == 1 }, "comes_and_goes"},
	{"done", func(o occurrence) bool {
		return o.says("quit") && (o.next().text == "again" || o.next().text == "on" || o.afterLoad()) || o.begins("quit ")
	}, "off"}, // "quit again"
	{"pull_in", func(o occurrence) bool { return o.expects(rules.VoltsDC) && o.next().text == "to" }, "aside"}, // "it switches to 0.2"
	{"how", func(o occurrence) bool { return o.says("explains") }, ""},
	{"not", func(o occurrence) bool {
		self := o.before().text == "i" || o.before().text == "we"
		done := func(it item) bool { return it.concept == "runs" || it.concept == "off" || isSetup(it) }
		return self && cannotWords[o.low()] && slices.ContainsFunc(o.in[o.at+1:min(o.at+4, len(o.in))], done)
	}, "cannot"}, // "I can't run the engine"
	{"ready", func(o occurrence) bool { return o.says("good to go") && (o.has("replaced") || o.ctx.Repairing != "") }, "gone"},
	{"yes", func(o occurrence) bool { return o.hasNumber() && strings.Contains(o.low(), " so") }, "maybe"}, // "12.4, I think so"
	{"aside", func(o occurrence) bool { return strings.Contains(o.low(), "same as the bat") && !o.hasNumber() }, "same"},
	{"wait", func(o occurrence) bool { return o.says("on it") && o.at > 0 }, ""}, // "there's white stuff on it"
	{"swap", func(o occurrence) bool {
		return (strings.Contains(o.low(), " new ") || hasText(o.in[o.at:], "new")) && !o.begins("tr") && !o.expects(rules.Swap)
	}, "replaced"}, // "stuck a new relay in", "swapped for a new one"
	{"changed", occurrence.afterPart, "replaced"},                                                                          // "the fuse was changed"
	{"else", func(o occurrence) bool { return o.says("else") && len(o.in) > 1 }, ""},                                       // "everything else works"
	{"trips", func(o occurrence) bool { return pulledFuse[o.low()] && !o.ctx.Opening && !o.asksChoice() }, "unkept_state"}, // "took the fuse out and 30 is 0"
}

// ofLoadPlug tells that the load was plugged in again, and not what else of it was put back.
func (o occurrence) ofLoadPlug() bool {
	return (o.begins("plug") || o.begins("connect") || o.begins("clip")) && slices.ContainsFunc(o.it().loose, func(it item) bool {
		n := o.r.root.next[it.text]
		return n != nil && n.concept == "load"
	})
}

// ofOtherPart tells that what was put back is named, and is not the relay.
func (o occurrence) ofOtherPart() bool {
	return slices.ContainsFunc(o.it().loose, func(it item) bool {
		n := o.r.root.next[it.text]
		return plugged[it.text] || n != nil && concepts[n.concept] == gPlace && n.concept != "relay"
	})
}

// plugged are parts with a plug that is not the relay's.
var plugged = set(`connector plug battery harness loom wire wires lead leads`)

// feeble are words for a low reading, as for a load that runs weak.
var feeble = set(`poor weak feeble`)

// namesElement tells that the strip of a fuse is named, which melts as the fuse blows.
func namesElement(in []item) bool {
	return slices.ContainsFunc(in, func(it item) bool {
		raw := strings.ToLower(it.raw)
		return it.concept == "fuse" && raw != "fuse" || strings.Contains(raw, "element") || fusible[raw]
	})
}

// fusible are other names for the strip of a fuse.
var fusible = set(`strip link wire filament`)

// looksAtFuse tells that a fuse is to be looked at.
func (o occurrence) looksAtFuse() bool {
	return o.expects(rules.Look) && strings.HasSuffix(o.ctx.Expected.Measure.At, "fuse")
}

// nothingAmiss are remarks that answer a look.
var nothingAmiss = map[string]bool{"clean": true, "nothing i can see": true, "nothing that i can see": true, "nothing to report": true, "solid": true, "healthy": true, "nice": true}

// ofTestLamp tells that "lights" is said of the test lamp and is no load.
func (o occurrence) ofTestLamp() bool {
	return o.expects(rules.TestLamp) && o.at == 0 && o.says("lights") && !being[o.next().text] &&
		!slices.ContainsFunc(o.in, func(x item) bool { return concepts[x.concept] == gOutcome && x.concept != "good" })
}

// pulledFuse are sayings of a fuse that blew, and of one that someone took out where nothing
// that could blow it was asked for.
var pulledFuse = map[string]bool{"took the fuse out": true, "took out the fuse": true}

// justRunning say that something runs and not what.
var justRunning = map[string]bool{"running": true, "when running": true, "while running": true, "when it's running": true, "with it running": true, "when its running": true, "once it's running": true, "once running": true}

// ofEngine tells that what runs is the engine: nothing says what does, and the engine was spoken of,
// or one number was read at the battery, or the test is with it running.
func (o occurrence) ofEngine() bool {
	if !justRunning[strings.ReplaceAll(o.low(), " 's", "'s")] || o.afterLoad() {
		return false
	}
	numbers, places := 0, 0
	for _, it := range o.in {
		if it.kind == kNum {
			numbers++
		}
		if concepts[it.concept] == gPlace && it.concept != "battery" {
			places++
		}
	}
	return o.has("engine_off") || o.has("battery") && numbers == 1 && places == 0 || o.ctx.Expected != nil && o.ctx.Expected.Setup.Engine == "running"
}

func firstWord(s string) string {
	first, _, _ := strings.Cut(strings.ToLower(s), " ")
	return first
}

// drownedBy are words that lead to what drowned a sound.
var drownedBy = set(`with over because for`)

// alone are words that say that nothing else came of it: "it only clicks".
var alone = set(`just only`)

// afterLoad tells that the load was named just before, or with plain words between: "horn's
// still quiet".
func afterLoad(in []item, i int) bool {
	for i--; i > 0 && in[i].kind == kWord && (being[in[i].text] || linkWords[in[i].text]); {
		i--
	}
	return i >= 0 && in[i].concept == "load"
}

// ofBatteryItself tells "the battery voltage is 12.6" from what a place has of it.
func (o occurrence) ofBatteryItself() bool {
	numbers := 0
	for _, it := range o.in {
		if it.kind == kNum {
			numbers++
		}
	}
	next := o.next()
	return o.begins("battery ") && !placesBefore(o.in, o.at) && (next.kind == kNum && numbers > 1 || being[next.text] && neighbour(o.in, o.at, 2).kind == kNum)
}

// subject is the word before, with words of being between: "the clip's".
func (o occurrence) subject() item {
	i := o.at - 1
	for i > 0 && o.in[i].kind == kWord && (being[o.in[i].text] || perfect[o.in[i].text] || o.in[i].text == "gone") {
		i--
	}
	return neighbour(o.in, i, 0)
}

// afterPart tells that a part was named just before, or with words of being between: "the fuse
// has been".
func (o occurrence) afterPart() bool {
	i := o.at - 1
	for i > 0 && o.in[i].kind == kWord && (being[o.in[i].text] || o.in[i].text == "has" || o.in[i].text == "have" || o.in[i].text == "been") {
		i--
	}
	return i >= 0 && (i < o.at-1 || ended(o.next())) && concepts[o.in[i].concept] == gPlace
}

// fromLoad tells "no sound from the horn" by what follows the sound.
func fromLoad(rest []item) bool {
	i := 0
	for i < len(rest) && rest[i].kind == kWord && (rest[i].text == "from" || rest[i].text == "out" || rest[i].text == "of" || rest[i].text == "the") {
		i++
	}
	return i > 0 && i < len(rest) && rest[i].concept == "load"
}

// isSounder tells a load that is heard when it runs.
func isSounder(it item) bool {
	raw := strings.ToLower(it.raw)
	return it.concept == "load" && slices.ContainsFunc([]string{"horn", "alarm", "buzzer", "siren"}, func(w string) bool { return strings.HasSuffix(raw, w) })
}

// ofMeter tells a verb of a load's that is said of the meter here: a number comes next, or
// from where to where it went.
func ofMeter(it, next item) bool {
	raw := strings.TrimPrefix(strings.ToLower(it.raw), "it ")
	moved := raw == "went" || raw == "goes" || raw == "ran" || raw == "came on"
	return (moved || strings.HasSuffix(raw, " up")) && next.kind == kNum || moved && (next.concept == "between" || next.text == "from" || next.text == "down" || next.text == "to" || next.concept == "aside" && strings.HasSuffix(next.raw, " to"))
}

// ofLoad tells what a load plainly does.
func ofLoad(it item) bool { return it.concept == "runs" || it.concept == "off" || it.concept == "weak" }

// journeys are words before a trip that someone goes on.
var journeys = set(`long longer short shorter road few most some`)

// directions are words for which way a meter went: "it went back up to 12.4".
var directions = set(`up down back straight right all only just`)

func goesOff(raw string) bool {
	low := strings.ToLower(raw)
	return low == "goes off" || low == "went off"
}

// vague are sayings that nothing came of it, whatever was tried.
var vague = map[string]bool{"not a thing": true, "nothing happens": true, "nothing happened": true, "nothing happening": true, "no joy": true, "no life": true,
	"no response": true, "did nothing": true, "does nothing": true, "doing nothing": true, "doesn't do anything": true, "nothing doing": true}
