package rulesets_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// What `for` writes out still reads as a person would say it, and no test says of a
// terminal what holds at only one of those it is for.
func TestTestsReadWell(t *testing.T) {
	for _, test := range relayBook(t).Tests {
		for _, text := range append([]string{test.Say, test.Why, test.Words}, test.Cautions...) {
			assert.NotRegexp(t, `coil rest\b|'s (in|out) side|whether supply reaches 8[567]`, text, test.ID)
		}
	}
}
