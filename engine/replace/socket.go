package replace

import "fmt"

// size: other blades do not go in.
func (t *trial) size() {
	switch {
	case t.Size == "" || t.place.Size == "":
		t.ask("size", "Which blades have part and socket: micro, mini or maxi?")
	case t.Size != t.place.Size:
		t.say("size", doesNotFit, "practice", fmt.Sprintf("A %s relay does not go into a %s socket. Never bend blades or spread cavities.", t.Size, t.place.Size))
	case t.Size == "other":
		t.say("size", care, "practice", "Compare every blade's width and place with the socket.")
	default:
		t.say("size", fits, "", "The blades go into the socket.")
	}
}

// layout: one case is made with two layouts, 30 and 86 changed over.
func (t *trial) layout() {
	const source = "two terminal layouts of one case exist: check the marks, not the position"
	switch {
	case t.Layout == "" || t.place.Layout == "":
		t.ask("layout", "Where are 30 and 86? Two layouts of the same case exist. Compare the marks beside the blades of old and new.")
	case t.Layout == t.place.Layout:
		t.say("layout", fits, "", "30 and 86 are where the socket has them.")
	case t.place.ControlSide == "positive":
		t.say("layout", harmful, source, "30 and 86 are changed over. It goes in, and then the coil is on all the time and the load's current goes through the control.")
	case t.place.ControlSide == "ground":
		t.say("layout", harmful, source, "30 and 86 are changed over. It goes in and clicks, but the load's current comes through the coil's small fuse and wire.")
	default:
		t.say("layout", harmful, source, "30 and 86 are changed over. It goes in and puts the load's current where the coil's belongs.")
	}
}

// contact: what the circuit needs against what the part does.
func (t *trial) contact() {
	part, place := t.Contact, t.place.Contact
	switch {
	case part == "" || place == "":
		t.ask("contact", "Which contacts has the part, and which does the circuit use: 87, 87a or both?")
	case part == place:
		t.say("contact", fits, "", "It has the contacts that the circuit uses.")
	case place == "make" && part == "break":
		t.say("contact", harmful, "practice", "It breaks instead of making: the load would run when it should not.")
	case place == "break" && part == "make":
		t.say("contact", harmful, "practice", "It makes instead of breaking: the load would stop when it should run, and the other way round.")
	case part == "two_87" && place == "make":
		t.twin()
	case part == "two_87":
		t.say("contact", harmful, "practice", "Its fifth blade is a second 87, joined to the first: it would join two circuits that must stay apart.")
	case place == "changeover":
		t.say("contact", doesNotFit, "practice", "It lacks one of the two contacts: half of the circuit would stay dead.")
	default:
		t.spare()
	}
}

// twin: a second 87 in place of a plain make contact.
func (t *trial) twin() {
	switch {
	case t.place.LiveSpare == nil:
		t.ask("contact", "It has a second 87 where others have 87a. Is there a wire in that cavity?")
	case *t.place.LiveSpare:
		t.say("contact", harmful, "practice", "Its second 87 is live whenever the relay is on, and a wire sits in that cavity.")
	default:
		t.say("contact", care, "practice", "Its second 87 is live whenever the relay is on. The cavity is empty: keep it so.")
	}
}

// spare: a changeover in place of a plain make or break contact. The blade left over
// is live half of the time.
func (t *trial) spare() {
	over := "87a"
	if t.place.Contact == "break" {
		over = "87"
	}
	switch {
	case over == "87a" && t.place.LiveSpare == nil:
		t.ask("contact", "A changeover has 87a as well. Is there a wire in that cavity?")
	case over == "87a" && *t.place.LiveSpare:
		t.say("contact", harmful, "practice", "A wire sits in the cavity of 87a: with a changeover it is live whenever the relay is at rest.")
	default:
		t.say("contact", care, "practice", fmt.Sprintf("A changeover serves; its %s is left over and may be live. See that nothing can touch it.", over))
	}
}

// labels: other marks for the same terminals are no other relay.
func (t *trial) labels() {
	if t.Labels != "" && t.place.Labels != "" && t.Labels != t.place.Labels {
		t.say("labels", care, "ISO 7588 and EN 50005 beside DIN 72552", "Its terminals bear other marks: 86 is 1 or A1, 85 is 2 or A2, 30 is 3 or 11, 87a is 4 or 12, 87 is 5 or 14.")
	}
}
