package session

import (
	"fmt"
	"strings"

	"coilside/rules"
)

func invalid(field, format string, args ...any) *Error {
	return &Error{Kind: Invalid, Field: field, Message: fmt.Sprintf(format, args...)}
}

func refuse(kind Kind, format string, args ...any) *Error {
	return &Error{Kind: kind, Message: fmt.Sprintf(format, args...)}
}

// notOneOf refuses a value outside a field's choices and names the nearest.
func notOneOf(field, value string, of []string) *Error {
	e := invalid(field, "%s takes %s, not %q", field, either(of), short(value))
	if e.Nearest = rules.Nearest(value, of); e.Nearest != "" {
		e.Message += fmt.Sprintf("; did you mean %q?", e.Nearest)
	}
	return e
}

// either lists choices for reading: "click, silent or buzz".
func either(of []string) string { return joined(of, "or") }

func joined(of []string, last string) string {
	if len(of) < 2 {
		return strings.Join(of, "")
	}
	return strings.Join(of[:len(of)-1], ", ") + " " + last + " " + of[len(of)-1]
}
