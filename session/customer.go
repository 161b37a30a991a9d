package session

import (
	"fmt"
	"strings"
	"time"
)

// CustomerPage is the page for the customer: the job in plain words, without figures of
// probability and without names that only a shop uses.
type CustomerPage struct {
	Title   string   `json:"title"`
	Date    string   `json:"date"`
	Told    string   `json:"told"`    // what was complained of
	Found   []string `json:"found"`   // what was wrong, and how that is known
	Done    []string `json:"done"`    // what was done
	Proof   []string `json:"proof"`   // how it was made sure that it is mended
	Advice  []string `json:"advice"`  // what to watch for
	Ruleset string   `json:"ruleset"` // under which rules
}

// customerPage makes the customer's page of a record.
func (j *job) customerPage(r JobRecord) CustomerPage {
	p := CustomerPage{Title: cmpOr(r.Label, "Job "+r.Job), Date: r.Opened.Format(time.DateOnly), Told: sentence(r.Complaint),
		Found: []string{}, Done: []string{}, Proof: []string{}, Advice: []string{},
		Ruleset: fmt.Sprintf("Job %s, rules %s %s", r.Job, r.Ruleset, shortHash(r.Rules))}
	measured := 0
	for _, l := range r.Readings {
		if !l.TakenBack && l.Entry < j.lastRepair() && j.log[l.Entry-1].Kind == kindReading {
			measured++
		}
	}
	switch {
	case r.Found == nil:
		p.Found = append(p.Found, "We have not yet proved what is wrong.")
	case len(r.Found.Suspects) == 1 && r.Found.Suspects[0] == noFault:
		p.Found = append(p.Found, "We found nothing wrong with this circuit while it was here.")
	case r.Found.Kind == "tied":
		p.Found = append(p.Found, "We found one of these to be wrong; no measurement here tells them apart: "+sentence(r.Found.Words))
	default:
		p.Found = append(p.Found, "We found this to be wrong: "+sentence(r.Found.Words))
	}
	if measured > 0 {
		p.Found = append(p.Found, fmt.Sprintf("We know it from %s on your vehicle, not from changing parts on suspicion.", counted(measured, "measurement")))
	}
	for _, d := range r.Done {
		line := sentence(d.Action)
		switch j.log[d.Entry-1].Repaired.Result {
		case "still_there":
			line += " That did not cure it."
		case "changed":
			line += " That changed it, but did not cure it."
		}
		p.Done = append(p.Done, line)
	}
	j.customerProof(&p, r)
	return p
}

func counted(n int, thing string) string {
	if n == 1 {
		return "one " + thing
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// customerProof says how it was made sure that the fault is gone, or that it was not.
func (j *job) customerProof(p *CustomerPage, r JobRecord) {
	if r.Proof != nil {
		for i, part := range j.proofParts() {
			if part.state() == "passed" {
				line := sentence(withMarks(j.fillRoles(part.test.Words), j.labels()) + ": " + r.Proof.Tests[i].Read)
				if part.decided && part.want.Choice == "" {
					line = strings.TrimSuffix(line, ".") + ", where a sound circuit gives " + part.want.Words() + "."
				}
				p.Proof = append(p.Proof, line)
			}
		}
	}
	switch {
	case r.Proof != nil && r.Proof.Proven:
		p.Proof = append(p.Proof, "After the repair we measured again, and the circuit works as it should.")
	case len(r.Done) == 0:
		p.Proof = append(p.Proof, "Nothing was repaired.")
	default:
		p.Proof = append(p.Proof, "We could not prove that the fault is gone. Please watch it, and come back if it shows again.")
	}
	switch r.Outcome {
	case "":
		p.Advice = append(p.Advice, "The work on this is still going on.")
	case "unproven", "abandoned":
		p.Advice = append(p.Advice, "If it happens again, note what was switched on, how warm it was, and whether the road was rough or wet: that helps to find it.")
	}
	if c := j.opening().Complaint; (c == "intermittent" || c == "drops_out_hot") && r.Outcome == "fixed" {
		p.Advice = append(p.Advice, "This fault came and went. We made the condition again in which it showed, and it stayed away. Should it show again, note when.")
	}
	if j.opening().Complaint == "blows_fuse" {
		p.Advice = append(p.Advice, "Never fit a bigger fuse than the one that belongs there: the wire would burn instead.")
	}
}

func (p *CustomerPage) markdown() string {
	var b strings.Builder
	fmt.Fprintf(&b, "# %s\n\n%s\n\n## What you told us\n\n%s\n", escape(p.Title), p.Date, escape(p.Told))
	for _, part := range []struct {
		name  string
		lines []string
	}{{"What we found", p.Found}, {"What we did", p.Done}, {"How we know", p.Proof}, {"What to watch", p.Advice}} {
		if len(part.lines) > 0 {
			fmt.Fprintf(&b, "\n## %s\n\n", part.name)
			bullets(&b, part.lines)
		}
	}
	fmt.Fprintf(&b, "\n%s\n", escape(p.Ruleset))
	return b.String()
}
