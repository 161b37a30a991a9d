package session

import (
	"time"

	"coilside/session/experience"
)

// This file is the part of the callers' vocabulary that is about rules.

// MoveRulesRequest moves an open job to other rules.
type MoveRulesRequest struct {
	Write
	Ruleset string `json:"ruleset,omitempty"` // name or content hash; left out: the rules in force
}

// RulesMove is a job's move to other rules, by their content hashes, and what it changed.
type RulesMove struct {
	From    string     `json:"from"`
	To      string     `json:"to"`
	Changed Difference `json:"changed"`
}

// Moved is the answer to MoveRulesRequest.
type Moved struct {
	Job string `json:"job"`
	RulesMove
	Reply Reply `json:"reply"`
}

// Standing is what some rules make of a job at one moment.
type Standing struct {
	Conclusion []string `json:"conclusion"` // suspects; none = nothing is proved
	Suspects   []Shown  `json:"suspects"`   // likeliest first
	Next       string   `json:"next"`       // test proposed; "" = none
	Cautions   []string `json:"cautions"`
	Advice     []string `json:"advice"`
	Fired      []string `json:"fired"` // rules
}

// Difference is what other rules change about one job.
type Difference struct {
	Was          Standing `json:"was"`
	Now          Standing `json:"now"`
	NewCautions  []string `json:"new_cautions"`
	LostCautions []string `json:"lost_cautions"`
	Words        []string `json:"words"` // the same in sentences; none = nothing changes
}

// ExperienceRequest asks what the proven repairs of closed jobs speak for.
type ExperienceRequest struct {
	Worth *int `json:"worth,omitempty"` // how many jobs the shipped priors weigh as much as; left out: 20
}

// Experience is what the proven repairs of closed jobs add to the shipped priors.
type Experience struct {
	On         bool                         `json:"on"` // whether jobs are opened with it
	Worth      int                          `json:"worth"`
	Jobs       int                          `json:"jobs"` // closed jobs that count
	NotCounted []NotCounted                 `json:"not_counted"`
	Groups     []experience.ExperienceGroup `json:"groups"`
	File       string                       `json:"file"` // the same as a ruleset file, to be reviewed
	Text       string                       `json:"text"`
}

// NotCounted is a closed job that counts for nothing.
type NotCounted struct {
	Job string `json:"job"`
	Why string `json:"why"`
}

// ExperienceUsed says how much experience the rules in force hold.
type ExperienceUsed struct {
	Jobs   int `json:"jobs"`
	Groups int `json:"groups"`
}

// ImpactRequest asks what the rule folders as they are now would change.
type ImpactRequest struct {
	Jobs int `json:"jobs,omitempty"` // newest closed jobs to replay at most; 0 = a default
}

// Impact is what edited rules would change.
type Impact struct {
	From   string       `json:"from"` // content hash of the rules as they are
	To     string       `json:"to"`   // of the edited ones
	Totals ImpactTotals `json:"totals"`
	Jobs   []JobImpact  `json:"jobs"`  // those that change
	Cases  []CaseImpact `json:"cases"` // those that change
	Text   string       `json:"text"`
}

// ImpactTotals sums up an Impact.
type ImpactTotals struct {
	Jobs         int `json:"jobs"`          // closed jobs that were replayed
	Changed      int `json:"changed"`       // of them
	Conclusions  int `json:"conclusions"`   // jobs whose conclusion changes
	RightWas     int `json:"right_was"`     // conclusions that name what was mended and proven
	RightNow     int `json:"right_now"`     //
	TestsWas     int `json:"tests_was"`     // up to the conclusions, all jobs
	TestsNow     int `json:"tests_now"`     //
	NewCautions  int `json:"new_cautions"`  // jobs with one
	LostCautions int `json:"lost_cautions"` // jobs with one
	Unreadable   int `json:"unreadable"`    // jobs that cannot be replayed on the edited rules
	Cases        int `json:"cases"`
	CasesChanged int `json:"cases_changed"`
	CasesBroken  int `json:"cases_broken"` // that passed and pass no more
}

// Course is how a closed job goes on some rules.
type Course struct {
	Conclusion []string `json:"conclusion"`
	Tests      int      `json:"tests"` // readings up to the conclusion, or all of them where there is none
	Right      bool     `json:"right"` // the conclusion names what was mended and proven
}

// JobImpact is what changes for one closed job.
type JobImpact struct {
	Job          string   `json:"job"`
	Label        string   `json:"label"`
	Complaint    string   `json:"complaint"`
	Was          Course   `json:"was"`
	Now          Course   `json:"now"`
	NewCautions  []string `json:"new_cautions"`
	LostCautions []string `json:"lost_cautions"`
	Words        []string `json:"words"`
	Problem      string   `json:"problem,omitempty"` // why it cannot be replayed
}

// CaseImpact is what changes for one case.
type CaseImpact struct {
	Case  string   `json:"case"`
	Was   string   `json:"was"` // passes, fails, cannot be run
	Now   string   `json:"now"`
	Words []string `json:"words"`
}

// WhyRequest asks why a rule fires or does not, in a job or in a case.
type WhyRequest struct {
	Rule string `json:"rule"`
	Job  string `json:"job,omitempty"`
	Case string `json:"case,omitempty"` // FILE/ID
}

// RulesRequest names a ruleset; left out: the one in force.
type RulesRequest struct {
	Ruleset string `json:"ruleset,omitempty"`
}

// RulesList is the rulesets in force.
type RulesList struct {
	Rulesets []RulesSummary `json:"rulesets"`
	// Refused says why the rule folders as they are now are not in force; null if they are.
	Refused *RulesRefused `json:"refused"`
	// Experience is what closed jobs add to them; null unless that is switched on.
	Experience *ExperienceUsed `json:"experience"`
}

// RulesRefused is a reload that failed: the rules in force are the last good ones.
type RulesRefused struct {
	Time     time.Time      `json:"time"`
	Problems []RulesProblem `json:"problems"`
}

// RulesSummary is one ruleset, by name and content hash.
type RulesSummary struct {
	Name     string `json:"name"`
	Hash     string `json:"hash"`
	Circuits int    `json:"circuits"`
	Facts    int    `json:"facts"`
	Suspects int    `json:"suspects"`
	Tests    int    `json:"tests"`
	Rules    int    `json:"rules"`
}

// RulesView is what is in a ruleset.
type RulesView struct {
	Ruleset    RulesSummary `json:"ruleset"`
	Complaints []RulesItem  `json:"complaints"`
	Suspects   []RulesItem  `json:"suspects"`
	Tests      []RulesItem  `json:"tests"`
	Rules      []RulesItem  `json:"rules"`
	Parameters []Parameter  `json:"parameters"`
}

// RulesItem is one thing of a ruleset in words.
type RulesItem struct {
	ID     string `json:"id"`
	Words  string `json:"words"`
	Source string `json:"source,omitempty"`
	Safety bool   `json:"safety,omitempty"`
	Where  string `json:"where,omitempty"` // file and line
}

// Parameter is a named number of the trade.
type Parameter struct {
	ID     string  `json:"id"`
	Value  float64 `json:"value"`
	Unit   string  `json:"unit,omitempty"`
	Source string  `json:"source"`
}

// RulesChecked says whether the rule folders can be used, and every problem found.
type RulesChecked struct {
	OK       bool           `json:"ok"`
	Rulesets []RulesSummary `json:"rulesets"`
	Problems []RulesProblem `json:"problems"`
	Findings []RulesProblem `json:"findings"` // of rules that can be used: what their author can hardly mean
}

// RulesProblem is one thing wrong with a rule file.
type RulesProblem struct {
	File    string `json:"file,omitempty"`
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Code    string `json:"code"`
	Message string `json:"message"`
	Hint    string `json:"hint,omitempty"`
}
