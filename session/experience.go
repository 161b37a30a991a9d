package session

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing/fstest" // its map of files is the plainest file system there is

	"coilside/engine/rank"
	"coilside/rules"
	"coilside/session/experience"
)

// experienceLayer is the name of the layer that counted repairs make.
const experienceLayer = "experience"

// RulesExperience counts the proven repairs of the closed jobs and shows in numbers what
// they add to the shipped priors, and as a ruleset file. Asking puts nothing in force.
func (s *Service) RulesExperience(ctx context.Context, r ExperienceRequest) (Experience, error) {
	worth := experience.DefaultWorth
	if r.Worth != nil {
		worth = *r.Worth
	}
	if worth < 1 || worth > 10_000 {
		return Experience{}, invalid("worth", "worth is %d; it takes 1 to 10000 jobs", worth)
	}
	return s.Experience(ctx, s.inForce().book, worth, nil)
}

// Experience counts over the priors of a book. progress is told how far it is; nil = nobody looks.
func (s *Service) Experience(ctx context.Context, book *rules.Book, worth int, progress func(what string, done, most int)) (Experience, error) {
	out := Experience{On: s.o.Experience, Worth: worth, Groups: []experience.ExperienceGroup{}, NotCounted: []NotCounted{}}
	list, err := s.listed(ctx, "closed")
	if err != nil {
		return Experience{}, err
	}
	var repairs []experience.Repair
	for i, head := range list {
		if err := ctx.Err(); err != nil {
			return Experience{}, err
		}
		if progress != nil {
			progress("jobs", i, len(list))
		}
		repair, why := s.provenRepair(ctx, head)
		if why != "" {
			out.NotCounted = append(out.NotCounted, NotCounted{Job: head.Job, Why: why})
			continue
		}
		repairs = append(repairs, repair)
	}
	out.Jobs = len(repairs)
	out.Groups = append(out.Groups, experience.Count(repairs, float64(worth), func(complaint string) map[string]float64 { return rank.Priors(book, complaint) })...)
	out.File = string(experience.File(out.Groups, float64(worth)))
	out.Text = out.text()
	return out, nil
}

func (e Experience) text() string {
	on := "They are not used in jobs; serve --experience has them used, or a folder of rules with this file in it."
	if e.On {
		on = "They are used in jobs opened from the last reload on."
	}
	return fmt.Sprintf("%d closed jobs count, %d do not. The shipped priors weigh as much as %d jobs. %s\n%s", e.Jobs, len(e.NotCounted), e.Worth, on, experience.Text(e.Groups))
}

// provenRepair gives the repair that a closed job proves, or why it proves none. A repair after
// which the complaint was gone is not enough: it has to be proven, and where the complaint comes
// and goes or comes with heat, under that condition.
func (s *Service) provenRepair(ctx context.Context, head JobSummary) (experience.Repair, string) {
	if head.Outcome != "fixed" {
		return experience.Repair{}, "it was closed as " + head.Outcome
	}
	j, unlock, err := s.lock(ctx, head.Job)
	if err != nil {
		return experience.Repair{}, err.Error()
	}
	defer unlock()
	r := j.repaired()
	switch {
	case j.opening().Complaint == "":
		return experience.Repair{}, "it was about no complaint"
	case r == nil || r.Result != "gone":
		return experience.Repair{}, "no repair that helped is on record"
	case slices.ContainsFunc(standing(j.log), func(e Entry) bool {
		return e.Kind == kindRepaired && e.Repaired.Suspect != r.Suspect && e.Repaired.Result != "still_there"
	}):
		return experience.Repair{}, "more than one thing was mended"
	}
	if !slices.ContainsFunc(standing(j.log), func(e Entry) bool { return e.Kind == kindClosed && e.Proven }) {
		if err := j.replay(s, telling(ctx)); err != nil {
			return experience.Repair{}, err.Error()
		}
		if why := j.unproven(); why != "" {
			return experience.Repair{}, why
		}
	}
	if j.base == nil {
		j.base, j.notes = s.baseFor(rulesOf(j.log))
	}
	return experience.Repair{Job: j.id, Complaint: j.opening().Complaint, LoadKind: j.text("load_kind"),
		Label: strings.TrimSpace(j.opening().Label), Suspect: r.Suspect}, ""
}

// withExperience lays what the repairs say over a book, where that is switched on.
func (s *Service) withExperience(ctx context.Context, book *rules.Book) (*rules.Book, *ExperienceUsed, error) {
	if !s.o.Experience {
		return book, nil, nil
	}
	counted, err := s.Experience(ctx, book, experience.DefaultWorth, nil)
	if err != nil {
		return nil, nil, err
	}
	var layers []rules.Layer
	for _, l := range book.Sources() {
		files := fstest.MapFS{}
		for _, f := range l.Files {
			files[f.Name] = &fstest.MapFile{Data: f.Data}
		}
		layers = append(layers, rules.Layer{Name: l.Name, FS: files})
	}
	layers = append(layers, rules.Layer{Name: experienceLayer, FS: fstest.MapFS{"counted.yaml": &fstest.MapFile{Data: []byte(counted.File)}}})
	with, err := rules.Load(layers...)
	if err != nil {
		return nil, nil, errors.Join(errors.New("what closed jobs say does not fit these rules"), err)
	}
	with.Name = book.Name // it is asked for by the shop's own name
	return with, &ExperienceUsed{Jobs: counted.Jobs, Groups: len(counted.Groups)}, nil
}
