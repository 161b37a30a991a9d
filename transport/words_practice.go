package transport

import "maps"

// practiceWords are the words for the members of practice.
var practiceWords = map[string]string{
	"PracticeStarted.complaint": "The complaint's id.",
	"PracticeStarted.rules":     "Content hash of the rules; with others the seed may give another vehicle.",
	"PracticeStarted.text":      "What the learner is told at the beginning.",
	"PracticeSaid.text":         "What the vehicle or the assistant answers to the last line.",
	"PracticeSaid.ended":        "Whether the fault was found or given up.",
	"minute":                    "Minutes since the beginning.",
	"Review.complaint":          "The complaint's id.",
	"Review.hidden":             "The suspect that was hidden.",
	"Review.hidden_words":       "The same in words.",
	"Review.found":              "Whether the learner found it.",
	"Review.minutes":            "What the learner took, minutes.",
	"Review.best":               "The assistant's steps on the same vehicle.",
	"Review.best_found":         "Whether the assistant found it.",
	"Review.best_minutes":       "What the assistant took, minutes.",
	"Review.hints":              "How many hints were taken.",
	"Review.refused":            "How many measurements were refused, as unsafe or as none that can be taken.",
	"Review.yours":              "The learner's steps.",
	"Review.text":               "Both side by side, minute by minute.",
	"Step.bits":                 "By how many bits the reading moved the ranking.",
	"Step.hint":                 "Whether the assistant proposed it.",
	"Step.minutes":              "What it took, minutes.",
	"Step.named":                "The suspect named, where it is one; left out for a test.",
	"Step.right":                "Whether what was named ends the practice.",
	"Step.ruled_out":            "The suspects that it ruled out, in words.",
	"Step.slipped":              "Whether the reading was wrong.",
	"Step.words":                "What was done and read, in words.",
}

func init() { maps.Copy(memberWords, practiceWords) }
