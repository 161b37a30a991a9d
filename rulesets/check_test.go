package rulesets_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"coilside/session"
)

// The check has nothing to say of the shipped rules: what it says elsewhere is worth reading.
func TestCheckHasNothingToSay(t *testing.T) {
	assert.Empty(t, relayBook(t).Review(session.ReviewOptions()).Findings)
}
