package replace

import (
	"fmt"
	"math"

	"coilside/engine/inrush"
)

// rating: the contact against the kind of load and its current.
func (t *trial) rating() error {
	t.rest()
	rated := t.rated
	if t.place.Contact == "break" {
		rated = t.ratedRest
	}
	switch {
	case math.IsNaN(t.load):
		t.ask("rating", "What current does the load draw when it runs?")
		return nil
	case t.place.LoadKind == "" || t.place.LoadKind == "unknown":
		t.ask("rating", "What kind of load is it: heater, lamp, motor, solenoid or electronics? Their inrush differs tenfold.")
		return nil
	}
	needed, err := inrush.Rating(t.book, t.place.LoadKind, t.load)
	if err != nil {
		return err
	}
	t.out.Needed = &needed.Amps
	switch {
	case math.IsNaN(rated):
		t.ask("rating", fmt.Sprintf("What is its contact rated for? This load needs %s A.", show(needed.Amps)))
	case rated < t.load:
		t.say("rating", harmful, needed.Source, fmt.Sprintf("Rated %s A and loaded with %s A: it overheats and welds.", show(rated), show(t.load)))
	case rated < needed.Amps-1e-9:
		t.say("rating", harmful, needed.Source, fmt.Sprintf("Rated %s A, and this load needs %s A: %s. The contact welds.", show(rated), show(needed.Amps), needed.Because))
	default:
		t.say("rating", fits, needed.Source, fmt.Sprintf("Rated %s A; this load needs %s A.", show(rated), show(needed.Amps)))
	}
	if t.load < t.dry && (t.GoldContact == nil || !*t.GoldContact) {
		t.say("small_current", care, "IEC 61810-7: contact category CC1 ends at 100 mA",
			fmt.Sprintf("%s A is too little to keep a power contact clean. Take one with gold contacts.", show(t.load)))
	}
	return nil
}

// rest: what the rest contact of a changeover carries.
func (t *trial) rest() {
	if t.place.Contact != "changeover" {
		return
	}
	switch {
	case math.IsNaN(t.restRun):
		t.ask("rest_rating", "What current goes through 87a?")
	case math.IsNaN(t.ratedRest):
		t.ask("rest_rating", "What is its rest contact (87a) rated for? It is less than 87.")
	case t.ratedRest < t.restRun:
		t.say("rest_rating", harmful, "practice", fmt.Sprintf("Its rest contact is rated %s A and would carry %s A.", show(t.ratedRest), show(t.restRun)))
	default:
		t.say("rest_rating", fits, "", "Its rest contact carries what goes through 87a.")
	}
}

// sealing: the case against where it is mounted. Protection from jets and from
// immersion are tested apart: the one does not include the other.
func (t *trial) sealing() error {
	if t.IP == "" || t.place.Mounting == "" {
		t.ask("sealing", "Where is it mounted (cab, engine bay, outside, pressure wash), and what is the part's IP?")
		return nil
	}
	mountings, err := t.book.Table("mountings", "dust", "water", "jets", "words")
	if err != nil {
		return err
	}
	sealings, err := t.book.Table("sealings", "dust", "water", "jets", "words")
	if err != nil {
		return err
	}
	place, _ := mountings.Row(t.place.Mounting)
	part, _ := sealings.Row(t.IP)
	dust, _ := part.Number("dust")
	water, _ := part.Number("water")
	needDust, _ := place.Number("dust")
	needWater, _ := place.Number("water")
	words := fmt.Sprintf("%s bears %s; this place has %s", t.IP, part.Text("words"), place.Text("words"))
	switch {
	case dust < needDust || water < needWater:
		t.say("sealing", harmful, place.Source, words+". Water gets in, corrodes it and carries current.")
	case part.Text("jets") == "yes" && place.Text("jets") == "" && needWater >= 7:
		t.say("sealing", care, part.Source, "Jets and standing under water are tested apart: mount it so that no water stands around it.")
	default:
		t.say("sealing", fits, place.Source, words+".")
	}
	return nil
}

func (t *trial) heat() {
	switch {
	case math.IsNaN(t.hottest) || math.IsNaN(t.bears):
		if !math.IsNaN(t.hottest) && t.hottest > 60 {
			t.ask("heat", fmt.Sprintf("It gets %s °C hot there. What is the part made for?", show(t.hottest)))
		}
	case t.bears < t.hottest:
		t.say("heat", harmful, "practice", fmt.Sprintf("It is made for %s °C and gets %s °C there: it drops out hot and ages fast.", show(t.bears), show(t.hottest)))
	case t.bears < t.hottest+t.reserve:
		t.say("heat", care, "practice", fmt.Sprintf("It is made for %s °C and gets %s °C there: little is left for its own heat.", show(t.bears), show(t.hottest)))
	default:
		t.say("heat", fits, "", "It bears the heat there.")
	}
}
