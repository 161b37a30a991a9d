package jsonrpc

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"

	"coilside/rules"

	"github.com/go-json-experiment/json/jsontext"
)

// members that a request may have, in the order of the specification.
var requestMembers = []string{"jsonrpc", "method", "params", "id"}

// split checks the syntax of a whole message and takes a batch apart. The parts
// are the requests as they came; a message that is no batch has one.
func split(msg []byte, lim Limits) (parts []jsontext.Value, batch bool, refusal *Error) {
	if len(msg) > lim.Message {
		return nil, false, TooLong(lim.Message)
	}
	if refusal := checkSyntax(msg, lim.Depth); refusal != nil {
		return nil, false, refusal
	}
	whole := jsontext.Value(bytes.TrimLeft(msg, " \t\r\n"))
	if whole.Kind() != '[' {
		return []jsontext.Value{whole}, false, nil
	}
	dec := loose(whole)
	if _, err := dec.ReadToken(); err != nil {
		return nil, true, notJSON(err)
	}
	for dec.PeekKind() != ']' {
		part, err := dec.ReadValue()
		if err != nil {
			return nil, true, notJSON(err)
		}
		if len(parts) == lim.Batch {
			return nil, true, &Error{InvalidRequest, fmt.Sprintf("A batch may hold up to %d requests.", lim.Batch), Detail{Kind: "limit"}}
		}
		parts = append(parts, part.Clone())
	}
	if len(parts) == 0 {
		return nil, true, badRequest("", "The batch is empty.")
	}
	return parts, true, nil
}

// TooLong refuses a message of more than limit bytes.
func TooLong(limit int) *Error {
	return &Error{InvalidRequest, fmt.Sprintf("The message is longer than %d bytes.", limit), Detail{Kind: "limit"}}
}

// loose reads JSON and leaves duplicate names to whoever knows what they mean.
func loose(b []byte) *jsontext.Decoder {
	return jsontext.NewDecoder(bytes.NewReader(b), jsontext.AllowDuplicateNames(true))
}

// checkSyntax makes sure that msg is one JSON value in UTF-8, not nested too deep.
func checkSyntax(msg []byte, depth int) *Error {
	dec := loose(msg)
	for {
		if _, err := dec.ReadToken(); err != nil {
			return notJSON(err)
		}
		if dec.StackDepth() > depth {
			return &Error{InvalidRequest, fmt.Sprintf("The message is nested more than %d deep.", depth), Detail{Kind: "limit"}}
		}
		if dec.StackDepth() == 0 {
			break
		}
	}
	if _, err := dec.ReadToken(); !errors.Is(err, io.EOF) {
		return &Error{ParseError, "There is more text after the end of the message.", Detail{Kind: "parse"}}
	}
	return nil
}

func notJSON(err error) *Error {
	e := &Error{ParseError, "The message is not JSON.", Detail{Kind: "parse"}}
	if errors.Is(err, io.EOF) {
		e.Message = "The message is empty."
	} else if errors.Is(err, io.ErrUnexpectedEOF) {
		e.Message = "The message is not JSON: it ends too early."
	} else if syntax, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		e.Message = fmt.Sprintf("The message is not JSON: %v after %d bytes.", syntax.Err, syntax.ByteOffset)
	}
	return e
}

func badRequest(field, format string, args ...any) *Error {
	return &Error{InvalidRequest, fmt.Sprintf(format, args...), Detail{Kind: "request", Field: field}}
}

// parse reads one request. When it refuses, the Request still holds the id if
// that could be made out, as the answer must carry it.
func parse(v jsontext.Value) (Request, *Error) {
	if v.Kind() != '{' {
		return Request{}, badRequest("", "A request is an object, not %s.", kindWords(v.Kind()))
	}
	got, refusal := envelope(v)
	var req Request
	if k := got["id"].Kind(); k == '"' || k == '0' || k == 'n' {
		req.ID = got["id"]
	}
	if refusal != nil {
		return req, refusal
	}
	if got["id"] != nil && req.ID == nil {
		return req, badRequest("id", "id must be text, a number or null, not %s.", kindWords(got["id"].Kind()))
	}
	if version, ok := text(got["jsonrpc"]); !ok || version != "2.0" {
		return req, badRequest("jsonrpc", `jsonrpc must be "2.0".`)
	}
	method, ok := text(got["method"])
	if !ok {
		return req, badRequest("method", "method must be text: the name of the method.")
	}
	req.Method = method
	req.Params = got["params"]
	if k := req.Params.Kind(); req.Params != nil && k != '{' && k != '[' {
		return req, badRequest("params", "params must be an object, not %s.", kindWords(k))
	}
	return req, nil
}

// envelope reads the members of a request. It reads to the end before it
// refuses anything, so that the id is found wherever it stands; an id given
// twice is no id.
func envelope(v jsontext.Value) (map[string]jsontext.Value, *Error) {
	var refusal *Error
	got := map[string]jsontext.Value{}
	dec := loose(v)
	if _, err := dec.ReadToken(); err != nil {
		return nil, notJSON(err)
	}
	twice := false
	for dec.PeekKind() != '}' {
		name, err := dec.ReadToken()
		if err != nil {
			return nil, notJSON(err)
		}
		member := name.String()
		value, err := dec.ReadValue()
		if err != nil {
			return nil, notJSON(err)
		}
		if _, again := got[member]; again && refusal == nil {
			refusal = badRequest(member, "%s is given twice.", member)
		}
		twice = twice || (member == "id" && got["id"] != nil)
		if refusal == nil && !slices.Contains(requestMembers, member) {
			near := rules.Nearest(member, requestMembers)
			refusal = badRequest(member, "A request has no field %q%s", member, suggestion(near))
			refusal.Data = Detail{Kind: "request", Field: member, Nearest: near}
		}
		got[member] = value.Clone()
	}
	if twice {
		delete(got, "id")
	}
	return got, refusal
}

// text returns the text that v is, if it is text.
func text(v jsontext.Value) (string, bool) {
	if v.Kind() != '"' {
		return "", false
	}
	b, err := jsontext.AppendUnquote(nil, v)
	return string(b), err == nil
}

// suggestion ends a sentence about an unknown name.
func suggestion(near string) string {
	if near == "" {
		return "."
	}
	return fmt.Sprintf("; did you mean %q?", near)
}

// kindWords names a kind of JSON value for a sentence.
func kindWords(k jsontext.Kind) string {
	switch k {
	case 'n':
		return "null"
	case 't', 'f':
		return "true or false"
	case '"':
		return "text"
	case '0':
		return "a number"
	case '{':
		return "an object"
	case '[':
		return "a list"
	}
	return "nothing"
}
