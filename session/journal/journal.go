// Package journal keeps append-only logs on disk, one file a job, one JSON line
// a record. It stores opaque payloads and knows nothing of what they mean.
//
// A line is {"n":1,"sum":"…","data":…}. The sum is the SHA-256, in hex, of the
// line before's sum, the line's number and its data, so that a changed, missing,
// added or moved line is found when the file is read back.
package journal

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

const extension = ".jsonl"

// Folder is a folder of journals.
type Folder struct{ path string }

// OpenFolder opens the folder at path and makes it, readable by its owner only,
// if it does not exist.
func OpenFolder(path string) (*Folder, error) {
	if err := os.MkdirAll(path, 0o700); err != nil {
		return nil, fmt.Errorf("the jobs folder cannot be made: %w", err)
	}
	return &Folder{path: path}, nil
}

// Names lists the journals in the folder that hold something, sorted.
func (d *Folder) Names() ([]string, error) {
	entries, err := os.ReadDir(d.path)
	if err != nil {
		return nil, fmt.Errorf("the jobs folder cannot be read: %w", err)
	}
	var names []string
	for _, e := range entries {
		name, ok := strings.CutSuffix(e.Name(), extension)
		if !ok || !ValidName(name) || !e.Type().IsRegular() {
			continue
		}
		if info, err := e.Info(); err == nil && info.Size() == 0 {
			continue // made and never written: a stop came between
		}
		names = append(names, name)
	}
	slices.Sort(names)
	return names, nil
}

// ValidName reports whether name can name a journal: 1 to 64 of a–z, 0–9 and
// "-". Nothing else, so that a name can never lead out of the folder.
func ValidName(name string) bool {
	if name == "" || len(name) > 64 {
		return false
	}
	return strings.IndexFunc(name, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-'
	}) < 0
}

func (d *Folder) file(name string) (string, error) {
	if !ValidName(name) {
		return "", fmt.Errorf("%q cannot name a journal: %w", name, fs.ErrNotExist)
	}
	return filepath.Join(d.path, name+extension), nil
}

// Create starts an empty journal. It is an error (fs.ErrExist) if there is one
// of that name that holds something.
func (d *Folder) Create(name string) (*File, error) {
	path, err := d.file(name)
	if err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if errors.Is(err, fs.ErrExist) {
		if info, problem := os.Lstat(path); problem == nil && info.Mode().IsRegular() && info.Size() == 0 {
			return &File{path: path}, nil
		}
	}
	if err != nil {
		return nil, err
	}
	if err := errors.Join(f.Sync(), f.Close(), syncFolder(d.path)); err != nil {
		return nil, errors.Join(err, os.Remove(path))
	}
	return &File{path: path}, nil
}

// Remove deletes a journal; for one that was created and never written.
func (f *File) Remove() error { return os.Remove(f.path) }

// Open reads a journal back and verifies every line. It is an error
// (fs.ErrNotExist) if there is none of that name, and a *Damaged if a line is
// not as it was written.
func (d *Folder) Open(name string) (*File, [][]byte, error) {
	path, err := d.file(name)
	if err != nil {
		return nil, nil, err
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return nil, nil, err
	}
	f := &File{path: path}
	var payloads [][]byte
	for rest := content; len(rest) > 0; {
		line, after, whole := bytes.Cut(rest, []byte("\n"))
		payload, sum, problem := verify(line, f.lines+1, f.sum)
		if !whole {
			problem = "is cut short"
		}
		if problem != "" {
			return nil, nil, &Damaged{File: path, Line: f.lines + 1, Problem: problem}
		}
		payloads = append(payloads, payload)
		f.lines, f.sum, f.size = f.lines+1, sum, f.size+int64(len(line))+1
		rest = after
	}
	return f, payloads, nil
}

// Damaged says that a journal is not as it was written.
type Damaged struct {
	File    string
	Line    int // from 1; the lines before it are sound
	Problem string
}

func (d *Damaged) Error() string {
	return fmt.Sprintf("%s line %d %s; the %d lines before it are sound", d.File, d.Line, d.Problem, d.Line-1)
}

type wireLine struct {
	N    int             `json:"n"`
	Sum  string          `json:"sum"`
	Data json.RawMessage `json:"data"`
}

func format(n int, before string, data []byte) (line []byte, sum string) {
	h := sha256.New()
	h.Write([]byte(before + " " + strconv.Itoa(n) + " "))
	h.Write(data)
	sum = hex.EncodeToString(h.Sum(nil))
	return fmt.Appendf(nil, `{"n":%d,"sum":"%s","data":%s}`, n, sum, data), sum
}

// verify checks one line against its number and the sum before it; problem is
// empty when it is sound.
func verify(line []byte, n int, before string) (data []byte, sum, problem string) {
	var w wireLine
	if err := json.Unmarshal(line, &w); err != nil {
		return nil, "", "is damaged: it is no longer a record"
	}
	if w.N != n {
		return nil, "", fmt.Sprintf("is out of place: it is numbered %d", w.N)
	}
	want, sum := format(n, before, w.Data)
	if !bytes.Equal(want, line) {
		return nil, "", "is damaged: its checksum does not match"
	}
	return w.Data, sum, ""
}
