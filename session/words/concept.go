package words

import "slices"

// A concept is one meaning that many sayings share. Its name is also a saying.
// The sayings themselves are data (rules.Synonym).

// group says what a concept is used for.
type group uint8

const (
	gOutcome group = iota + 1 // what was seen: runs, dark, click, blown
	gSetup                    // how the vehicle stands: relay_out, key_on
	gAct                      // what was done: bridge, swap, wiggle
	gPlace                    // where: battery_negative, feed_fuse
	gSide                     // which end of it
	gCommand                  // what is wanted of the assistant
	gManner                   // how sure, how much
)

var concepts = map[string]group{
	"runs": gOutcome, "weak": gOutcome, "off": gOutcome, "trips": gOutcome, "comes_and_goes": gOutcome,
	"bright": gOutcome, "dim": gOutcome, "dark": gOutcome, "click": gOutcome, "silent": gOutcome, "buzz": gOutcome,
	"sound": gOutcome, "blown": gOutcome, "corroded": gOutcome, "burnt": gOutcome, "loose": gOutcome, "wet": gOutcome,
	"wrong_part": gOutcome, "live": gOutcome, "short": gOutcome, "dead": gOutcome, "nothing": gOutcome, "open_line": gOutcome, "open": gOutcome,
	"beeps": gOutcome, "no_beep": gOutcome, "same": gOutcome, "changed": gOutcome, "good": gOutcome, "bad": gOutcome,
	"gone": gOutcome, "still_there": gOutcome, "stays_on": gOutcome, "drops_out_hot": gOutcome, "inverted": gOutcome, "nothing_moves": gOutcome,
	"suffers": gOutcome, "slow": gOutcome, "makes_noise": gOutcome,

	"relay_in": gSetup, "relay_out": gSetup, "bench": gSetup, "key_on": gSetup, "key_off": gSetup,
	"command_on": gSetup, "command_off": gSetup, "energised": gSetup, "rest": gSetup, "loaded": gSetup,
	"engine_running": gSetup, "engine_off": gSetup, "neighbours_on": gSetup, "neighbours_off": gSetup, "heat_soaked": gSetup, "heat_none": gSetup,
	"load_unplugged": gSetup, "load_plugged": gSetup, "until_command": gSetup, "unkept_state": gSetup,

	"bridge": gAct, "swap": gAct, "reseat": gAct, "wiggle": gAct, "crank": gAct, "listen": gAct, "look": gAct,
	"lamp": gAct, "clamp": gAct, "in_series": gAct, "fuse_drop": gAct, "jumping": gAct, "pull_in": gAct, "drop_out": gAct,
	"replaced": gAct, "donor_proved": gAct, "drop": gAct, "resistance": gAct, "current": gAct, "voltage": gAct, "ghost": gAct,

	"battery_positive": gPlace, "battery_negative": gPlace, "battery": gPlace, "chassis": gPlace, "ground": gPlace,
	"load": gPlace, "feed_fuse": gPlace, "coil_fuse": gPlace, "fuse": gPlace, "control": gPlace,
	"coil": gPlace, "coil_plus": gPlace, "coil_minus": gPlace, "contact": gPlace, "relay": gPlace, "other_load": gPlace,
	"colour": gPlace, "load_ground": gPlace, "ground_point": gPlace, "load_ground_point": gPlace,

	"in_side": gSide, "out_side": gSide, "both_sides": gSide, "one_side": gSide,
	"socket": gSide, "backprobe": gSide, "blade": gSide, "part": gSide, "red_lead": gSide, "black_lead": gSide,
	"between": gSide, "across": gSide,

	"unsure": gCommand, "skip": gCommand, "cannot": gCommand, "why": gCommand, "else": gCommand, "undo": gCommand, "status": gCommand,
	"help": gCommand, "how": gCommand, "wait": gCommand, "repeat": gCommand, "done": gCommand, "ready": gCommand, "yes": gCommand, "no": gCommand, "correction": gCommand, "exchange": gCommand, "rather": gCommand, "that_was": gCommand,

	"about": gManner, "maybe": gManner, "bound": gManner, "should": gManner, "past": gManner, "inrush": gManner,
	"not": gManner, "both": gManner, "customer": gManner, "respectively": gManner, "aside": gManner, "steady": gManner, "filler": gManner,
}

// opposite is what a concept means with "not" before it; those absent here have
// no one opposite, and negating them is asked about.
var opposite = map[string]string{
	"click": "silent", "runs": "off", "live": "dead", "trips": "", "blown": "sound", "beeps": "no_beep",
	"open_line": "", "relay_in": "relay_out", "relay_out": "relay_in", "key_on": "key_off", "key_off": "key_on",
	"command_on": "command_off", "command_off": "command_on", "engine_running": "engine_off", "neighbours_on": "neighbours_off", "energised": "rest", "load_unplugged": "load_plugged", "load_plugged": "load_unplugged", "dead": "live", "silent": "click",
	"off": "runs", "same": "changed", "gone": "still_there", "bright": "", "good": "bad", "changed": "same",
	"buzz": "", "corroded": "", "burnt": "", "loose": "", "wet": "", "weak": "", "dim": "",
	"sound": "bad", "comes_and_goes": "", "wrong_part": "", "open": "", "pull_in": "silent",
}

// Concepts lists the meanings that a synonym may be given for, sorted.
func Concepts() []string {
	out := make([]string, 0, len(concepts))
	for c := range concepts {
		out = append(out, c)
	}
	slices.Sort(out)
	return out
}
