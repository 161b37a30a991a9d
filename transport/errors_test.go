package transport

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"coilside/session"

	"github.com/rs/zerolog"
	"github.com/stretchr/testify/assert"
)

func TestEveryKindHasItsOwnCode(t *testing.T) {
	seen := map[int]session.Kind{}
	for _, w := range wireKinds {
		assert.Empty(t, seen[w.code], "%d is both %s and %s", w.code, seen[w.code], w.kind)
		seen[w.code] = w.kind
		if w.kind != session.Invalid && w.kind != session.Internal {
			assert.False(t, w.code >= -32768 && w.code <= -32000, "%d is reserved for JSON-RPC itself", w.code)
		}
		got := translate(t.Context(), fmt.Errorf("wrapped: %w", &session.Error{Kind: w.kind, Message: "A sentence.", File: "f.yaml", Line: 3, Column: 4}))
		assert.Equal(t, w.code, got.Code)
		if w.kind != session.Internal {
			assert.Equal(t, "A sentence.", got.Message)
			assert.Equal(t, errorData{Kind: w.kind, File: "f.yaml", Line: 3, Column: 4}, got.Data)
		}
	}
}

func TestUnknownErrorsAreLoggedAndGiveNothingAway(t *testing.T) {
	for _, err := range []error{
		errors.New("open /home/someone/secret: denied"),
		&session.Error{Kind: session.Internal, Message: "/home/someone/secret"},
		&session.Error{Kind: "new", Message: "/home/someone/secret"},
	} {
		var log bytes.Buffer
		ctx := named(t.Context(), zerolog.New(&log))
		got := translate(ctx, err)
		assert.Equal(t, -32603, got.Code)
		assert.NotContains(t, got.Message, "secret")
		assert.Equal(t, errorData{Kind: session.Internal, Request: requestID(ctx)}, got.Data)
		assert.Contains(t, log.String(), "secret")
		assert.Contains(t, log.String(), requestID(ctx))
	}
}

func TestRefusalsAreSentences(t *testing.T) {
	for given, want := range map[session.Error]string{
		{Message: "there is no job \"x\""}:                            "There is no job \"x\".",
		{Field: "complaint", Message: "complaint takes dead or weak"}: "complaint takes dead or weak.",
		{Field: "complaint", Message: "did you mean dead?"}:           "Did you mean dead?",
		{Field: "job", Message: "Ökonomie ist keine."}:                "Ökonomie ist keine.",
		{}: "",
	} {
		assert.Equal(t, want, sentence(&given))
	}
}
