package transport

import (
	"context"
	"errors"
	"strings"
	"unicode"
	"unicode/utf8"

	"coilside/session"
	"coilside/transport/jsonrpc"

	"github.com/rs/zerolog"
)

// The codes that programs may rely on, beside those that JSON-RPC reserves.
// They never change their meaning.
const (
	codeNotFound      = 1001
	codeConflict      = 1002
	codeUnsafe        = 1003
	codeClosed        = 1004
	codeLimit         = 1005
	codeRules         = 1006
	codeWebSocketOnly = 1007
	codeDamaged       = 1008
	codeStorage       = 1009
)

// wireKind is how one kind of refusal goes over the wire.
type wireKind struct {
	kind  session.Kind
	code  int
	words string
}

// kindWebSocketOnly is this layer's own: the session has no connections.
const kindWebSocketOnly session.Kind = "websocket_only"

// wireKinds is the one table from errors to codes; the OpenRPC document is
// written from it too.
var wireKinds = []wireKind{
	{session.Invalid, jsonrpc.InvalidParams, "A parameter is wrong; data.field names it, data.nearest the nearest valid choice."},
	{session.NotFound, codeNotFound, "There is no such job, test, suspect, entry or ruleset."},
	{session.Conflict, codeConflict, "The job has moved on, or the key was used for something else."},
	{session.Unsafe, codeUnsafe, "Refused because someone could get hurt or something could burn."},
	{session.Closed, codeClosed, "The job is closed."},
	{session.Limit, codeLimit, "More than the service takes."},
	{session.Rules, codeRules, "The rules cannot be used; data.file, data.line and data.column say where."},
	{kindWebSocketOnly, codeWebSocketOnly, "This method works over the WebSocket at /ws only."},
	{session.Damaged, codeDamaged, "The job's log is not as it was written; data.job names it, data.file and data.line say where."},
	{session.Storage, codeStorage, "The disk or the database failed and nothing was stored; data.file names the file."},
	{session.Internal, jsonrpc.InternalError, "Something went wrong inside the service; data.request names it in the log."},
}

// errorData is the data of an error: what it is about.
type errorData struct {
	Kind    session.Kind `json:"kind"`
	Field   string       `json:"field,omitempty"`
	Nearest string       `json:"nearest,omitempty"`
	Job     string       `json:"job,omitempty"`
	Test    string       `json:"test,omitempty"`
	File    string       `json:"file,omitempty"`
	Line    int          `json:"line,omitempty"`
	Column  int          `json:"column,omitempty"`
	RetryMS int          `json:"retry_ms,omitempty"` // milliseconds to wait, where too much was asked for
	Request string       `json:"request,omitempty"`  // id of the request in the log, for internal errors
}

// translate turns an error of the session into one for the wire. What is not a
// session error is logged in full and gives nothing away.
func translate(ctx context.Context, err error) *jsonrpc.Error {
	if errors.Is(err, jsonrpc.ErrAnswerTooLong) {
		err = &session.Error{Kind: session.Limit, Message: "The answer would be too long; ask for less."}
	}
	e, ok := errors.AsType[*session.Error](err)
	if ok && e.Kind != session.Internal {
		for _, w := range wireKinds {
			if w.kind == e.Kind {
				return &jsonrpc.Error{Code: w.code, Message: sentence(e), Data: dataOf(e)}
			}
		}
	}
	zerolog.Ctx(ctx).Error().Err(err).Msg("internal error")
	return &jsonrpc.Error{
		Code: jsonrpc.InternalError, Message: "Something went wrong inside the service. The job is as it was; try again.",
		Data: errorData{Kind: session.Internal, Request: requestID(ctx)},
	}
}

// sentence writes a refusal as one: Go's errors start small and end open. A
// field's name at the start stays as it is spelt.
func sentence(e *session.Error) string {
	text := strings.TrimSpace(e.Message)
	first, size := utf8.DecodeRuneInString(text)
	if size > 0 && (e.Field == "" || !strings.HasPrefix(text, e.Field)) {
		text = string(unicode.ToUpper(first)) + text[size:]
	}
	if text != "" && !strings.ContainsAny(text[len(text)-1:], ".?!") {
		text += "."
	}
	return text
}

func dataOf(e *session.Error) errorData {
	return errorData{Kind: e.Kind, Field: e.Field, Nearest: e.Nearest, Job: e.Job, Test: e.Test, File: e.File, Line: e.Line, Column: e.Column}
}
