package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/mattn/go-isatty"
	"github.com/peterh/liner"
)

// lines is where a conversation hears from: a pipe, or a terminal with line editing.
type lines interface {
	// next reads one line; io.EOF when there are no more.
	next(ctx context.Context, prompt string) (string, error)
	close() error
}

// editor reads lines in a terminal that can be edited and recalled; Tab completes what
// may be answered.
type editor struct {
	state   *liner.State
	history string   // file; "" = not kept
	offers  []string // completions at the moment
}

// newEditor starts line editing, or gives nil where the terminal cannot.
func newEditor(history string) *editor {
	if !liner.TerminalSupported() {
		return nil
	}
	e := &editor{state: liner.NewLiner(), history: history}
	e.state.SetCtrlCAborts(true)
	e.state.SetCompleter(e.complete)
	if f, err := os.Open(history); err == nil {
		_, _ = e.state.ReadHistory(f) // what cannot be read is only a convenience
		_ = f.Close()
	}
	return e
}

func (e *editor) complete(line string) []string {
	var out []string
	for _, o := range e.offers {
		if strings.HasPrefix(o, strings.ToLower(line)) {
			out = append(out, o)
		}
	}
	return out
}

func (e *editor) next(ctx context.Context, prompt string) (string, error) {
	type read struct {
		line string
		err  error
	}
	got := make(chan read, 1)
	go func() {
		line, err := e.state.Prompt(prompt)
		got <- read{line, err}
	}()
	select {
	case r := <-got:
		if errors.Is(r.err, liner.ErrPromptAborted) {
			return "", io.EOF // Ctrl-C leaves as Ctrl-D does; the job is kept
		}
		if len(r.line) > mostLine {
			r.line = r.line[:mostLine]
		}
		if strings.TrimSpace(r.line) != "" {
			e.state.AppendHistory(r.line)
		}
		return r.line, r.err
	case <-ctx.Done():
		return "", ctx.Err()
	}
}

// close gives the terminal back and keeps what was typed, for the user's eyes only.
func (e *editor) close() error {
	err := e.state.Close()
	if e.history == "" {
		return err
	}
	f, openErr := os.OpenFile(e.history, os.O_CREATE|os.O_TRUNC|os.O_WRONLY, 0o600)
	if openErr != nil {
		return err // a folder that cannot be written costs the history, not the conversation
	}
	_, writeErr := e.state.WriteHistory(f)
	return errors.Join(err, writeErr, f.Close())
}

// historyFile is where a terminal's lines are kept between conversations.
func (s *setup) historyFile() string {
	folder, err := s.folder()
	if err != nil {
		return ""
	}
	return filepath.Join(folder, "chat_history")
}

func isTerminal(v any) bool {
	f, ok := v.(*os.File)
	return ok && (isatty.IsTerminal(f.Fd()) || isatty.IsCygwinTerminal(f.Fd()))
}

// wantsColour follows NO_COLOR (no-color.org: any value but the empty one means none)
// and TERM=dumb; a file or a pipe gets none.
func wantsColour(out io.Writer) bool {
	return isTerminal(out) && os.Getenv("NO_COLOR") == "" && os.Getenv("TERM") != "dumb"
}

// paints are the colours of lines by how they begin: what to beware of stands out, what
// to do is bold, reasons step back. Colour never says what the words do not.
var paints = []struct{ begins, code string }{
	{"Careful:", "\x1b[1;33m"}, {"Next:", "\x1b[1m"}, {"Before the next test:", "\x1b[1;33m"}, {"Found", "\x1b[1;32m"}, {"Do:", "\x1b[1m"},
	{"Why:", "\x1b[2m"}, {"Note:", "\x1b[2m"},
}

func painted(text string) string {
	all := strings.Split(text, "\n")
	for i, line := range all {
		for _, p := range paints {
			if strings.HasPrefix(line, p.begins) {
				all[i] = p.code + line + "\x1b[0m"
				break
			}
		}
	}
	return strings.Join(all, "\n")
}
