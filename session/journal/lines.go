package journal

import (
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
)

// Before there was a database, a job's log was a file of lines
// {"n":1,"sum":"…","data":…} in the folder "jobs". The sum stood on the line
// before's, that of the first line on nothing.

const (
	linesExtension = ".jsonl"
	linesName      = "jobs"
	linesAside     = "jobs.version-0" // the backup: the files as they were
)

func linesFolder(database string) string { return filepath.Join(filepath.Dir(database), linesName) }

// takeOverLines puts the logs of a folder of lines into the tables. One that is
// damaged is listed with its problem, which names the file; the file is kept.
func takeOverLines(tx *sql.Tx, folder string) error {
	files, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, file := range files {
		name, ok := strings.CutSuffix(file.Name(), linesExtension)
		if !ok || !ValidName(name) || !file.Type().IsRegular() {
			continue
		}
		content, err := os.ReadFile(filepath.Join(folder, file.Name()))
		if err != nil {
			return err
		}
		if len(content) == 0 {
			continue // made and never written: a stop came between
		}
		aside := filepath.Join(filepath.Dir(folder), linesAside, file.Name())
		if err := takeOver(tx, name, content, aside); err != nil {
			return fmt.Errorf("%s: %w", file.Name(), err)
		}
	}
	return nil
}

func takeOver(tx *sql.Tx, name string, content []byte, aside string) error {
	payloads, problem := readLines(content)
	if problem != "" {
		r := row{name: name, sum: name, problem: fmt.Sprintf("its log %s %s", aside, problem)}
		return r.insert(tx)
	}
	return insertJob(tx, name, nil, payloads)
}

// insertJob puts a whole job into the tables.
func insertJob(tx *sql.Tx, name string, head []byte, payloads [][]byte) error {
	last := row{name: name, records: len(payloads), sum: name, head: head}
	entries := make([]entry, len(payloads))
	for i, p := range payloads {
		last.sum = chain(last.sum, i+1, p)
		entries[i] = entry{row: row{name: name, records: i + 1, sum: last.sum}, data: p}
	}
	if err := last.insert(tx); err != nil {
		return err
	}
	for _, e := range entries {
		if err := e.insertRecord(tx); err != nil {
			return err
		}
	}
	return nil
}

// putLinesAside keeps the files that were taken over as the backup.
func putLinesAside(database string) error {
	folder := linesFolder(database)
	if _, err := os.Stat(folder); err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return nil
		}
		return err
	}
	if err := os.Rename(folder, filepath.Join(filepath.Dir(folder), linesAside)); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(folder))
}

// readLines reads a file of lines; problem is empty where all of it is sound.
func readLines(content []byte) (payloads [][]byte, problem string) {
	var before string
	for rest := content; len(rest) > 0; {
		line, after, whole := bytes.Cut(rest, []byte("\n"))
		payload, sum, wrong := verifyLine(line, len(payloads)+1, before)
		if !whole {
			wrong = "is cut short"
		}
		if wrong != "" {
			return nil, fmt.Sprintf("line %d %s; the %d before it are sound", len(payloads)+1, wrong, len(payloads))
		}
		payloads, before, rest = append(payloads, payload), sum, after
	}
	return payloads, ""
}

type wireLine struct {
	N    int             `json:"n"`
	Sum  string          `json:"sum"`
	Data json.RawMessage `json:"data"`
}

func formatLine(n int, before string, data []byte) (line []byte, sum string) {
	sum = chain(before, n, data)
	return fmt.Appendf(nil, `{"n":%d,"sum":"%s","data":%s}`, n, sum, data), sum
}

func verifyLine(line []byte, n int, before string) (data []byte, sum, problem string) {
	var w wireLine
	if err := json.Unmarshal(line, &w); err != nil {
		return nil, "", "is damaged: it is no longer a record"
	}
	if w.N != n {
		return nil, "", fmt.Sprintf("is out of place: it is numbered %d", w.N)
	}
	want, sum := formatLine(n, before, w.Data)
	if !bytes.Equal(want, line) {
		return nil, "", "is damaged: its checksum does not match"
	}
	return w.Data, sum, ""
}
