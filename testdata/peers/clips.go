package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// errMissing is why an engine is passed over.
var errMissing = errors.New("not installed")

// clipsEncoding is one way to write the rule sets for CLIPS.
type clipsEncoding struct {
	name      string
	flagFirst bool // the pattern of the flag stands before those of the numbers
	slots     bool // a template with one slot for each number, instead of ordered facts
}

// clipsEncodings are those that the best is taken from, measure by measure.
var clipsEncodings = []clipsEncoding{
	{"ordered facts, flag first", true, false},
	{"ordered facts, numbers first", false, false},
	{"templates, flag first", true, true},
	{"templates, numbers first", false, true},
}

// runCLIPS plays a plan in every encoding and keeps the best of each figure.
func runCLIPS(p plan) (outcome, error) {
	if _, err := exec.LookPath("clips"); err != nil {
		return outcome{}, fmt.Errorf("%w (Debian package clips)", errMissing)
	}
	var best outcome
	for i, encoding := range clipsEncodings {
		out, err := encoding.run(p)
		if err != nil {
			return out, fmt.Errorf("%s: %w", encoding.name, err)
		}
		if i == 0 {
			best = out
			continue
		}
		best.figures = best.least(out.figures)
		for step := range out.states {
			if out.states[step].String() != best.states[step].String() {
				return out, fmt.Errorf("%s derives other facts than %s", encoding.name, clipsEncodings[0].name)
			}
		}
	}
	return best, nil
}

func (f figures) least(g figures) figures {
	return figures{compile: min(f.compile, g.compile), load: min(f.load, g.load), change: min(f.change, g.change),
		restore: min(f.restore, g.restore), bytes: min(f.bytes, g.bytes)}
}

// pattern matches a number and binds it or tests it.
func (e clipsEncoding) pattern(number int, test string) string {
	if e.slots {
		return fmt.Sprintf("(%s (v ?%s%s))", numberName(number), numberName(number), test)
	}
	return fmt.Sprintf("(%s ?%s%s)", numberName(number), numberName(number), test)
}

func (e clipsEncoding) fact(number int, value float64) string {
	if e.slots {
		return fmt.Sprintf("(%s (v %.2f))", numberName(number), value)
	}
	return fmt.Sprintf("(%s %.2f)", numberName(number), value)
}

func (e clipsEncoding) comparison(c comparison) string {
	name := "?" + numberName(c.number)
	if c.other < 0 {
		return e.pattern(c.number, fmt.Sprintf("&:(%s %s %.2f)", c.op, name, c.constant))
	}
	other := "?" + numberName(c.other)
	return e.pattern(c.other, "") + " " + e.pattern(c.number, fmt.Sprintf("&:(%s %s %s)", c.op, name, other))
}

// rule writes one rule; what it asserts is logically supported, so CLIPS itself withdraws it.
func (e clipsEncoding) rule(i int, r rule) string {
	var patterns []string
	for _, c := range r.comparisons {
		patterns = append(patterns, e.comparison(c))
	}
	numbers := strings.Join(patterns, " ")
	if r.any {
		numbers = "(or " + numbers + ")"
	}
	switch {
	case r.after >= 0 && e.flagFirst:
		numbers = fmt.Sprintf("(%s) %s", flagName(r.after), numbers)
	case r.after >= 0:
		numbers = fmt.Sprintf("%s (%s)", numbers, flagName(r.after))
	}
	return fmt.Sprintf("(defrule r%d (logical %s) => (assert (%s)))\n", i, numbers, flagName(r.sets))
}

func (e clipsEncoding) rules(s ruleSet) string {
	var b strings.Builder
	if e.slots {
		for i := range numbers + 1 {
			fmt.Fprintf(&b, "(deftemplate %s (slot v))\n", numberName(i))
		}
	}
	for i, r := range s.rules {
		b.WriteString(e.rule(i, r))
	}
	return b.String()
}

// script has CLIPS load the rules, tell the states and time itself. Every given fact is held
// in a global, so that taking it back looks for nothing.
func (e clipsEncoding) script(p plan, rules string) string {
	var b strings.Builder
	for i := range numbers + 1 {
		fmt.Fprintf(&b, "(defglobal ?*%s* = 0)\n", numberName(i))
	}
	give := func(number int, value float64) string {
		return fmt.Sprintf("(bind ?*%s* (assert %s))", numberName(number), e.fact(number, value))
	}
	change := func(c change) string {
		return fmt.Sprintf("(retract ?*%s*)\n %s\n (run)", numberName(c.number), give(c.number, c.value))
	}
	b.WriteString("(defglobal ?*begin* = 0)\n") // one command a line: CLIPS passes over a second one
	fmt.Fprintf(&b, "(bind ?*begin* (time))\n(load* %q)\n(printout t \"compile \" (- (time) ?*begin*) crlf)\n", rules)
	b.WriteString("(deffunction show () (printout t \"state\") (do-for-all-facts ((?f " + flagTemplates(p.set) + ")) TRUE (printout t \" \" (fact-relation ?f))) (printout t crlf))\n")
	b.WriteString("(deffunction give-all ()")
	for i, v := range p.given {
		b.WriteString("\n " + give(i, v))
	}
	b.WriteString(" (run))\n(deffunction take-back () (retract ?*" + numberName(start) + "*) (run))\n")
	fmt.Fprintf(&b, "(deffunction restore () %s (run))\n", give(start, p.given[start]))
	b.WriteString("(deffunction change-some (?part) (switch ?part")
	for i, c := range p.changes {
		if i%atOnce == 0 {
			fmt.Fprintf(&b, "\n (case %d then", i/atOnce)
		}
		b.WriteString("\n  " + change(c))
		if i%atOnce == atOnce-1 {
			b.WriteString(")")
		}
	}
	b.WriteString("))\n(reset)\n(bind ?*begin* (mem-used))\n(give-all)\n(printout t \"bytes \" (- (mem-used) ?*begin*) crlf)\n(show)\n")
	for _, c := range p.changes[:p.shown] {
		b.WriteString(change(c) + "\n(show)\n")
	}
	b.WriteString("(take-back)\n(show)\n(restore)\n(show)\n")
	if p.pause > 0 {
		e.timings(&b, p)
	}
	b.WriteString("(exit)\n")
	return b.String()
}

// atOnce is how many changes CLIPS makes between two looks at the clock.
const atOnce = 10

// timings prints each figure as often as fits the pause, for the median.
func (e clipsEncoding) timings(b *strings.Builder, p plan) {
	const repeat = `(deffunction timed-%[1]s () (bind ?begin (time)) (bind ?left 2000)
 (while (and (> ?left 0) (< (- (time) ?begin) %[2]f)) %[3]s (bind ?t (time)) %[4]s (printout t "%[1]s " (/ (- (time) ?t) %[5]d.0) crlf) (bind ?left (- ?left 1))))
(timed-%[1]s)
`
	seconds := p.pause.Seconds()
	fmt.Fprintf(b, repeat, "load", seconds, "(reset)", "(give-all)", 1)
	fmt.Fprintf(b, repeat, "change", seconds, "", fmt.Sprintf("(change-some (mod ?left %d))", len(p.changes)/atOnce), atOnce)
	const rounds = 20
	fmt.Fprintf(b, repeat, "restore", seconds, "", fmt.Sprintf("(loop-for-count %d (take-back) (restore))", rounds), rounds)
}

// flagTemplates names the templates of all flags that some rule sets.
func flagTemplates(s ruleSet) string {
	var out []string
	for _, r := range s.rules {
		out = append(out, flagName(r.sets))
	}
	return strings.Join(out, " ")
}

func (e clipsEncoding) run(p plan) (outcome, error) {
	folder, err := os.MkdirTemp("", "peers")
	if err != nil {
		return outcome{}, err
	}
	defer os.RemoveAll(folder)
	rules, script := filepath.Join(folder, "rules.clp"), filepath.Join(folder, "script.clp")
	if err := os.WriteFile(rules, []byte(e.rules(p.set)), 0o600); err != nil {
		return outcome{}, err
	}
	if err := os.WriteFile(script, []byte(e.script(p, rules)), 0o600); err != nil {
		return outcome{}, err
	}
	printed, err := exec.CommandContext(p.context, "clips", "-f2", script).CombinedOutput()
	if err != nil {
		return outcome{}, fmt.Errorf("%w: %s", err, printed)
	}
	return readOutcome(printed, len(p.set.rules))
}

// readOutcome reads what another program prints: lines of "state f1 f2 …" and of a figure's
// name and value, of which the median counts.
func readOutcome(printed []byte, rules int) (outcome, error) {
	var out outcome
	measured := map[string][]float64{}
	for line := range bytes.Lines(printed) {
		words := strings.Fields(string(line))
		switch {
		case len(words) > 0 && words[0] == "state":
			s := make(state, rules)
			for _, word := range words[1:] {
				flag, err := strconv.Atoi(strings.TrimPrefix(word, "f"))
				if err != nil || flag >= rules {
					return out, fmt.Errorf("%q is no flag", word)
				}
				s[flag] = true
			}
			out.states = append(out.states, s)
		case len(words) == 2:
			v, err := strconv.ParseFloat(words[1], 64)
			if err != nil {
				return out, fmt.Errorf("unexpected line: %s", line)
			}
			measured[words[0]] = append(measured[words[0]], v)
		case len(words) > 0:
			return out, fmt.Errorf("unexpected line: %s", line)
		}
	}
	out.figures = figures{compile: middle(measured["compile"]), load: middle(measured["load"]),
		change: middle(measured["change"]), restore: middle(measured["restore"]), bytes: middle(measured["bytes"])}
	return out, nil
}
