package quantity

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"coilside/rules"
)

// FieldError is a value that a calculation does not take.
type FieldError struct {
	Field   string // dotted: place.load.amps
	Message string // one sentence that names the field
	Nearest string // the nearest valid choice
	Missing bool   // it was not given
}

func (e *FieldError) Error() string { return e.Message }

// Fields checks the fields of a request and keeps the first thing wrong; what is
// missing counts only where nothing else is wrong.
type Fields struct{ Err error }

// Wrong notes that a field does not fit.
func (f *Fields) Wrong(field, format string, args ...any) {
	f.note(&FieldError{Field: field, Message: field + " " + fmt.Sprintf(format, args...), Missing: strings.HasPrefix(format, "is missing")})
}

func (f *Fields) note(e *FieldError) {
	before, ours := f.Err.(*FieldError)
	if f.Err == nil || ours && before.Missing && !e.Missing {
		f.Err = e
	}
}

// Range is what a number may be: above Over, and from Low to High. Hint says what
// went wrong most likely where it is more.
type Range struct {
	Low, High float64
	Unit      string // as shown: "A"
	Above     bool   // Low itself is not taken
	Hint      string
}

// Need gives a number that must be there and in range.
func Need[T ~float64](f *Fields, field string, v *T, in Range) float64 {
	if v == nil {
		f.Wrong(field, "is missing")
		return math.NaN()
	}
	return Check(f, field, float64(*v), in)
}

// Or gives a number that may be left out.
func Or[T ~float64](f *Fields, field string, v *T, otherwise float64, in Range) float64 {
	if v == nil {
		return otherwise
	}
	return Check(f, field, float64(*v), in)
}

// Check holds a number against its range.
func Check(f *Fields, field string, v float64, in Range) float64 {
	switch {
	case math.IsNaN(v) || math.IsInf(v, 1) && in.High < math.Inf(1):
		f.Wrong(field, "must be a number of %s, not OL", in.Unit)
	case v < in.Low || in.Above && v == in.Low:
		from := "from"
		if in.Above {
			from = "above"
		}
		f.Wrong(field, "is %s %s; it must be %s %s %s", Plain(v), in.Unit, from, Plain(in.Low), in.Unit)
	case v > in.High:
		f.Wrong(field, "is %s %s; more than %s %s cannot be%s", Plain(v), in.Unit, Plain(in.High), in.Unit, hint(in.Hint))
	}
	return v
}

func hint(text string) string {
	if text == "" {
		return ""
	}
	return ". " + text
}

// Choice checks a word. Left out it gives otherwise; if that is "" too, the field
// is missing.
func Choice(f *Fields, field, v, otherwise string, of ...string) string {
	switch {
	case v == "" && otherwise != "":
		return otherwise
	case v == "":
		f.Wrong(field, "is missing: %s", Either(of))
	case !slices.Contains(of, v):
		near := rules.Nearest(v, of)
		e := &FieldError{Field: field, Message: fmt.Sprintf("%s takes %s, not %q", field, Either(of), clip(v)), Nearest: near}
		if near != "" {
			e.Message += fmt.Sprintf("; did you mean %q?", near)
		}
		f.note(e)
	}
	return v
}

// System checks the nominal volts of a vehicle: 12 or 24.
func System(f *Fields, field string, v *Volts) float64 {
	if v == nil {
		f.Wrong(field, "is missing: 12 or 24 V")
		return 12
	}
	if *v != 12 && *v != 24 {
		f.Wrong(field, "is %s V; it takes 12 or 24", Plain(float64(*v)))
		return 12
	}
	return float64(*v)
}

// Either lists choices for reading: "cab, engine_bay or outside".
func Either(of []string) string {
	if len(of) < 2 {
		return strings.Join(of, "")
	}
	return strings.Join(of[:len(of)-1], ", ") + " or " + of[len(of)-1]
}

// Plain writes a number to three figures, or whole where it is larger.
func Plain(v float64) string {
	if math.IsInf(v, 1) {
		return "OL"
	}
	if math.Abs(v) >= 100 || v == math.Trunc(v) {
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return strconv.FormatFloat(rounded, 'f', -1, 64)
}
