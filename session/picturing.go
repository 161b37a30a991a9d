package session

import (
	"context"
	"maps"
	"slices"
	"strings"

	"coilside/rules"
	"coilside/session/picture"
)

// PictureRequest asks for one picture of a job.
type PictureRequest struct {
	Job  string `json:"job"`
	Kind string `json:"kind"`           // circuit, socket, leads
	Test string `json:"test,omitempty"` // whose leads are drawn; the one proposed if left out
}

// Picture is one picture, as SVG.
type Picture struct {
	SVG         string `json:"svg"`
	Title       string `json:"title"`
	Description string `json:"description"`
	Text        string `json:"text,omitempty"` // the same in plain characters; of the socket only
}

var pictureKinds = []string{"circuit", "socket", "leads"}

// Picture draws the job's circuit with what was read on it, the face of its socket, or
// where the leads go for a test.
//
// Errors: Invalid naming the field for a kind that is none, or a test whose places are
// not known yet or that is not there; NotFound for an unknown test or job.
func (s *Service) Picture(ctx context.Context, r PictureRequest) (Picture, error) {
	if !slices.Contains(pictureKinds, r.Kind) {
		return Picture{}, notOneOf("kind", r.Kind, pictureKinds)
	}
	j, unlock, err := s.lockCase(ctx, r.Job)
	if err != nil {
		return Picture{}, err
	}
	defer unlock()
	if j.opening().Purpose == "wire" && r.Kind == "circuit" {
		d, err := j.wiringPicture()
		return Picture(d), inJob(err, j.id)
	}
	if err := j.diagnosing(); err != nil {
		return Picture{}, err
	}
	test, err := j.pictured(r.Test)
	if err != nil {
		return Picture{}, inJob(err, j.id)
	}
	d, err := j.draw(r.Kind, test)
	if err != nil {
		return Picture{}, inJob(err, j.id)
	}
	return Picture(d), nil
}

func (j *job) draw(kind string, test *Test) (picture.Drawing, error) {
	switch kind {
	case "circuit":
		return j.drawCircuit(test)
	case "socket":
		k := j.socket(test)
		d := k.Draw()
		d.Text = k.Characters()
		return d, nil
	}
	return j.drawLeads(test)
}

// pictured is the test whose leads are drawn: the one named, or the one proposed; nil
// where none is proposed.
func (j *job) pictured(id string) (*Test, error) {
	if id == "" {
		if p := j.proposal(); p != nil && j.outcome() == "" {
			t := j.test(*p)
			return &t, nil
		}
		return nil, nil
	}
	known, ok := j.base.book.Test(id)
	if !ok {
		return nil, noTest(j.base.book, id)
	}
	for _, p := range j.now().best {
		if p.Test.ID == id {
			t := j.test(p)
			return &t, nil
		}
	}
	m, ok := j.fillMeasure(known.Measure)
	if !ok {
		return nil, invalid("test", "%s speaks of a terminal that is not known yet, so its leads cannot be drawn", id)
	}
	t := j.test(*j.proving(known, m))
	return &t, nil
}

func (j *job) drawCircuit(test *Test) (picture.Drawing, error) {
	k, err := j.circuitPicture(test)
	if err != nil {
		return picture.Drawing{}, err
	}
	return k.Draw(), nil
}

// circuitPicture is the job's circuit ready to be drawn.
func (j *job) circuitPicture(test *Test) (*picture.Circuit, error) {
	l, err := j.layout()
	if err != nil {
		return nil, diagnosisError(err)
	}
	if l == nil {
		return nil, invalid("kind", "these rules describe no circuit, so there is none to draw")
	}
	k := &picture.Circuit{ID: j.id, List: true, Title: j.pictureTitle("Circuit"), Marks: marksOf(j.labels()), Flags: j.flags(),
		LoadKind: l.sure("load_kind"), Module: j.text("driver") == "module", Across: l.sure("suppression"), Notes: l.guessWords()}
	k.Coil, k.Load = j.paths(l)
	if k.Across == "none" {
		k.Across = ""
	}
	if v := l.sure("system_volts"); v != "" {
		k.Volts = v + " V"
	}
	k.Spare = l.names["spare"]
	k.Rest = slices.ContainsFunc(k.Load.Parts, func(p picture.Part) bool { return p.Kind == "rest" })
	k.Suspects = j.suspectMarks()
	if test != nil {
		k.Setup, k.Leads = setupWords(test.Setup), j.leads(test.Measure)
	}
	k.Notes = append(k.Notes, notDrawn(k)...)
	return k, nil
}

// sure is a choice of the wiring that is known; "" where it is a guess.
func (l *layout) sure(id string) string {
	if slices.Contains(l.guess, id) {
		return ""
	}
	return l.names[id]
}

func (j *job) pictureTitle(of string) string {
	title := of + " of job " + j.id
	if label := j.opening().Label; label != "" {
		title = of + " of " + label + " (job " + j.id + ")"
	}
	return title
}

// suspectsDrawn bounds the suspects that are marked; fewer in a hundred than
// leastDrawn are not.
const (
	suspectsDrawn = 3
	leastDrawn    = 0.1
)

// suspectMarks are the marks on the drawing, by element: what is proved, or the likeliest
// once something was read.
func (j *job) suspectMarks() map[string]picture.Suspect {
	marks := map[string]picture.Suspect{}
	add := func(id, words string, proven bool) {
		for one := range strings.SplitSeq(id, " + ") {
			s, ok := j.base.book.Suspect(one)
			if !ok || one == noFault {
				continue
			}
			if _, there := marks[s.Element]; !there {
				marks[s.Element] = picture.Suspect{Words: words + strings.ReplaceAll(s.Fault, "_", " "), Proven: proven}
			}
		}
	}
	switch {
	case j.settled():
	case j.now().conclusion != nil:
		word := "PROVEN: "
		if j.now().conclusion.Kind == "tied" {
			word = "ONE OF THESE: "
		}
		for _, id := range j.now().conclusion.Suspects {
			add(id, word, word == "PROVEN: ")
		}
	case j.readAnything():
		for _, r := range j.now().ranking[:min(suspectsDrawn, len(j.now().ranking))] {
			if r.Probability >= leastDrawn {
				add(r.Suspect, "SUSPECT, "+percent(r.Probability)+": ", false)
			}
		}
	}
	return marks
}

// notDrawn names the suspects whose part is not on the drawing.
func notDrawn(k *picture.Circuit) []string {
	var notes []string
	ids := []string{"relay", "armature", "battery", "suppressor"}
	for _, path := range []picture.Path{k.Coil, k.Load} {
		for _, p := range path.Parts {
			ids = append(ids, p.ID)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(k.Suspects)) {
		if !slices.Contains(ids, id) || id == "suppressor" && k.Across == "" {
			notes = append(notes, "Not on the drawing: "+strings.ReplaceAll(id, "_", " ")+", "+k.Suspects[id].Words+".")
		}
	}
	return notes
}

// mostFlags bounds the readings on a drawing; the latest count.
const mostFlags = 12

// flags are the latest readings that count.
func (j *job) flags() []picture.Flag {
	all := j.allFlags()
	return all[max(0, len(all)-mostFlags):]
}

// allFlags are the readings that count, each pinned to where it was taken.
func (j *job) allFlags() []picture.Flag {
	since := j.sinceRepair()
	var out []picture.Flag
	for _, e := range standing(j.log) {
		if e.Kind != kindReading || e.Reading.Answer.Unsure || e.Reading.Measure.Mode == rules.Ask {
			continue
		}
		_, new := since[e.Entry]
		f := picture.Flag{Entry: e.Entry, Value: shortAnswer(e.Reading), Words: e.Words, Old: !new}
		m, _ := j.fillMeasure(e.Reading.Measure)
		f.Place, f.Other = pinned(m)
		out = append(out, f)
	}
	return out
}

func shortAnswer(r *Reading) string {
	if r.Answer.Over {
		return "OL"
	}
	return r.Answer.words(r.Measure.Mode.Unit())
}

// pinned is where a reading is shown. A lead on the battery or on ground is where one
// expects it, and is not shown.
func pinned(m rules.Measure) (place, other string) {
	switch m.Mode {
	case rules.Watch, rules.Reseat, rules.Swap:
		return "load", ""
	case rules.Listen:
		return "armature", ""
	case rules.PullIn, rules.DropOut:
		return "relay", ""
	case rules.Look, rules.AmpsDC:
		return m.At, ""
	case rules.Bridge:
		return m.From, m.To
	}
	usual := func(p string) bool { return strings.HasPrefix(p, "battery.") || p == "chassis" }
	switch {
	case usual(m.Red) && !usual(m.Black):
		return m.Black, ""
	case usual(m.Black):
		return m.Red, ""
	}
	return m.Red, m.Black
}

// leads are what goes where for a test.
func (j *job) leads(m rules.Measure) []picture.Lead {
	var out []picture.Lead
	add := func(kind, place string) {
		if place != "" {
			out = append(out, picture.Lead{Kind: kind, Place: place, Words: placeWords(place, j.labels())})
		}
	}
	add("red", m.Red)
	add("black", m.Black)
	add("jumper", m.From)
	add("jumper", m.To)
	switch m.Mode {
	case rules.AmpsDC:
		add("clamp", m.At)
	case rules.Look:
		add("look", m.At)
	}
	return out
}

// socket is the face of the job's socket, with what was read at its cavities.
func (j *job) socket(test *Test) *picture.Socket {
	k := &picture.Socket{ID: j.id, Title: j.pictureTitle("Relay socket"), Terminals: j.terminals(), Marks: marksOf(j.labels()),
		Roles: j.terminalRoles(), Suspects: map[string]picture.Suspect{}}
	if k.Terminals == nil {
		k.Terminals = []string{"30", "85", "86", "87", "87a"}
		if j.text("contact") == "" {
			k.Notes = append(k.Notes, "Not known yet: whether the relay has 87, 87a or both.")
		}
	}
	if j.labels() == unknown {
		k.Notes = append(k.Notes, "The marks on this relay were not told: the numbers are those of DIN 72552.")
	}
	for _, f := range j.flags() {
		if slices.ContainsFunc([]string{"socket.", "back.", "relay."}, func(at string) bool { return strings.HasPrefix(f.Place, at) }) {
			k.Flags = append(k.Flags, f)
		}
	}
	for element, s := range j.suspectMarks() {
		if t, ok := strings.CutPrefix(element, "terminal_"); ok {
			k.Suspects[t] = s
		}
	}
	if test != nil {
		k.Leads = j.leads(test.Measure)
	}
	return k
}

// terminalRoles says what each terminal does in this circuit, where it is known.
func (j *job) terminalRoles() map[string]string {
	roles := map[string]string{}
	l, err := j.layout()
	if err != nil || l == nil {
		return roles
	}
	for _, r := range []struct{ unknown, words string }{{"power_enters", "supply"}, {"power_leaves", "to the load"}, {"coil_positive", "coil, supply side"}} {
		if t := l.sure(r.unknown); t != "" {
			roles[t] = r.words
		}
	}
	if l.sure("load_side") == "supply" {
		roles[l.names["power_enters"]], roles[l.names["power_leaves"]] = "from the load", "to ground"
	}
	if l.sure("coil_positive") != "" {
		roles[l.names["coil_minus"]] = "coil, ground side"
	}
	if l.sure("contact") != "" && l.names["spare"] != "" {
		roles[l.names["spare"]] = "not used"
	}
	return roles
}

// dials are what a tool is set to, by mode.
var dials = map[rules.Mode]string{rules.VoltsDC: "volts DC", rules.Ohms: "ohms", rules.AmpsDC: "amps DC", rules.MinMax: "volts DC, min/max",
	rules.TestLamp: "5 W test lamp", rules.Bridge: "fused jumper", rules.Watch: "eyes", rules.Listen: "ears", rules.Look: "eyes",
	rules.PullIn: "bench supply", rules.DropOut: "bench supply", rules.Ask: "question", rules.Swap: "known good relay", rules.Reseat: "hands"}

func (j *job) drawLeads(test *Test) (picture.Drawing, error) {
	if test == nil {
		return picture.Drawing{}, invalid("test", "no test is proposed now; name one to see where its leads go")
	}
	known, _ := j.base.book.Test(test.ID)
	k := picture.Test{ID: j.id + "-" + test.ID, Title: sentence(withMarks(j.fillRoles(known.Words), j.labels())), Say: sentence(test.Say),
		Mode: string(test.Measure.Mode), Dial: dials[test.Measure.Mode], Setup: setupWords(test.Setup), Leads: j.leads(test.Measure),
		Socket: *j.socket(test), Cautions: test.Cautions}
	k.Socket.Flags, k.Socket.Suspects = nil, nil // the leads alone
	return k.Draw(), nil
}
