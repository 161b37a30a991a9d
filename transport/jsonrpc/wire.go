// Package jsonrpc speaks JSON-RPC 2.0 (https://www.jsonrpc.org/specification):
// it takes messages apart, finds the method, decodes its parameters strictly
// and puts the answers together. It knows no method of its own and no
// transport: a message comes in as bytes and its answer goes out as bytes.
package jsonrpc

import (
	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
	jsonv1 "github.com/go-json-experiment/json/v1"
)

// The error codes that the specification reserves, section 5.1. Codes of the
// application stay outside -32768..-32000.
const (
	ParseError     = -32700
	InvalidRequest = -32600
	MethodNotFound = -32601
	InvalidParams  = -32602
	InternalError  = -32603
)

// Limits bounds what one message may ask for. Every field must be > 0.
type Limits struct {
	Message int // bytes of one message, single or batch
	Batch   int // requests in one batch
	Depth   int // nesting of arrays and objects, the message's own included
	Answer  int // bytes of the results in one answer, of a whole batch together
}

// DefaultLimits fits a service with one technician and a few programs.
var DefaultLimits = Limits{Message: 1 << 20, Batch: 100, Depth: 64, Answer: 8 << 20}

// Request is one call or notification as it came.
type Request struct {
	Method string
	Params jsontext.Value // raw array or object; nil if left out
	ID     jsontext.Value // raw: text, number or null; nil makes it a notification
}

// Error is the error member of an answer.
type Error struct {
	Code    int    `json:"code"`
	Message string `json:"message"`
	Data    any    `json:"data,omitzero"`
}

func (e *Error) Error() string { return e.Message }

// Detail is the data of the errors that this package makes itself.
type Detail struct {
	Kind    string `json:"kind"` // parse, request, method, invalid, limit
	Field   string `json:"field,omitempty"`
	Nearest string `json:"nearest,omitempty"`
}

// response is one answer; exactly one of Result and Error is set.
type response struct {
	Version string         `json:"jsonrpc"`
	Result  jsontext.Value `json:"result,omitzero"`
	Error   *Error         `json:"error,omitzero"`
	ID      jsontext.Value `json:"id"` // nil is written as null
}

// notification is a call that nobody answers.
type notification struct {
	Version string `json:"jsonrpc"`
	Method  string `json:"method"`
	Params  any    `json:"params"`
}

// Notification returns the message that tells the other side of method, with
// params a struct or a map.
func Notification(method string, params any) ([]byte, error) {
	return marshal(notification{Version: "2.0", Method: method, Params: params})
}

// Refusal returns the message that refuses a request whose id is not known.
func Refusal(e *Error) []byte { return encode(response{Version: "2.0", Error: e}) }

// marshal keeps raw text as it came, so that an id returns exactly as sent, and
// writes nil lists as [], so that a client never has to tell them from null;
// omitempty leaves out 0 and false too, as in encoding/json.
func marshal(v any) ([]byte, error) {
	return json.Marshal(v, json.Deterministic(true), jsontext.PreserveRawStrings(true), jsonv1.OmitEmptyWithLegacySemantics(true))
}

// encode writes a response whose parts are known to be writable; data of an
// error that is not is left out rather than losing the whole answer.
func encode(r response) []byte {
	out, err := marshal(r)
	if err != nil && r.Error != nil {
		r.Error = &Error{Code: r.Error.Code, Message: r.Error.Message}
		out, err = marshal(r)
	}
	if err != nil {
		panic("jsonrpc: an answer cannot be written: " + err.Error())
	}
	return out
}
