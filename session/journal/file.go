package journal

import (
	"bytes"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
)

// File is one journal. It is not safe for concurrent use; its owner serialises.
type File struct {
	folder  *Folder
	name    string
	records int
	sum     string
}

// Path is where the journal is, for messages.
func (f *File) Path() string { return f.folder.path }

// Append adds one record and returns once it is on disk. Payload is JSON; head
// is what Folder.Heads gives for the job from then on. On any error the journal
// is as it was before.
func (f *File) Append(payload, head []byte) error {
	next, err := f.next(payload, head)
	if err != nil {
		return err
	}
	before, sum := f.records, f.sum
	err = f.folder.write(func(tx *sql.Tx) error {
		if err := next.update(tx, before, sum); err != nil {
			return err
		}
		return next.insertRecord(tx)
	})
	if err != nil {
		return err
	}
	f.records, f.sum = next.records, next.sum
	return nil
}

// SetHead keeps a head for a journal that has none, such as one taken over from
// elsewhere. It does not wait and may be lost: a head can be made again.
func (f *File) SetHead(head []byte) {
	r := row{name: f.name, records: f.records, sum: f.sum, head: head}
	if f.folder.writer != nil {
		f.folder.writer.later(func(tx *sql.Tx) error { return r.update(tx, r.records, r.sum) })
	}
}

// entry is a job's row together with the record that it ends in.
type entry struct {
	row
	data []byte
}

func (f *File) next(payload, head []byte) (*entry, error) {
	var data bytes.Buffer
	if err := json.Compact(&data, payload); err != nil {
		return nil, fmt.Errorf("the record is no JSON: %w", err)
	}
	e := &entry{row: row{name: f.name, records: f.records + 1, head: head}, data: data.Bytes()}
	e.sum = chain(f.sum, e.records, e.data)
	return e, nil
}

func (r *row) insert(tx *sql.Tx) error {
	done, err := tx.Exec("INSERT INTO jobs (name, records, sum, head, seal, problem) VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
		r.name, r.records, r.sum, nonNil(r.head), r.sealed(), r.problem)
	return one(done, err, fs.ErrExist)
}

// update moves a job on, unless it has moved already.
func (r *row) update(tx *sql.Tx, before int, sum string) error {
	done, err := tx.Exec("UPDATE jobs SET records = ?, sum = ?, head = ?, seal = ? WHERE name = ? AND records = ? AND sum = ?",
		r.records, r.sum, nonNil(r.head), r.sealed(), r.name, before, sum)
	return one(done, err, ErrMoved)
}

func (e *entry) insertRecord(tx *sql.Tx) error {
	_, err := tx.Exec("INSERT INTO records (job, n, sum, data) VALUES (?, ?, ?, ?)", e.name, e.records, e.sum, e.data)
	return err
}

// one makes it otherwise where a statement changed no row.
func one(done sql.Result, err, otherwise error) error {
	if err != nil {
		return err
	}
	if n, err := done.RowsAffected(); err != nil || n == 1 {
		return err
	}
	return otherwise
}

func nonNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}

// chain is the sum of a record that follows the one with the sum before.
func chain(before string, n int, data []byte) string {
	h := sha256.New()
	h.Write([]byte(before + " " + strconv.Itoa(n) + " "))
	h.Write(data)
	return hex.EncodeToString(h.Sum(nil))
}

// digest is the SHA-256, in hex, over texts that cannot run into each other.
func digest(texts ...string) string {
	h := sha256.New()
	for _, t := range texts {
		fmt.Fprintf(h, "%d:%s\n", len(t), t)
	}
	return hex.EncodeToString(h.Sum(nil))
}

// readJob reads a job with all its records and verifies them.
func readJob(tx *sql.Tx, file, name string) (*row, [][]byte, error) {
	r := row{name: name}
	err := tx.QueryRow("SELECT records, sum, head, seal, problem FROM jobs WHERE name = ?", name).Scan(&r.records, &r.sum, &r.head, &r.seal, &r.problem)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil, fmt.Errorf("there is no job %s in %s: %w", name, file, fs.ErrNotExist)
	}
	if err != nil {
		return nil, nil, inFile(file, err)
	}
	if err := r.damage(file); err != nil {
		return nil, nil, err
	}
	rows, err := tx.Query("SELECT n, sum, data FROM records WHERE job = ? ORDER BY n", name)
	if err != nil {
		return nil, nil, inFile(file, err)
	}
	defer rows.Close()
	var payloads [][]byte
	last := name
	for rows.Next() {
		var n int
		var sum string
		var data []byte
		if err := rows.Scan(&n, &sum, &data); err != nil {
			return nil, nil, inFile(file, err)
		}
		at := len(payloads) + 1
		if n != at || sum != chain(last, n, data) {
			return nil, nil, damagedRecord(file, name, at, n)
		}
		payloads, last = append(payloads, data), sum
	}
	if err := rows.Err(); err != nil {
		return nil, nil, inFile(file, err)
	}
	if len(payloads) != r.records || last != r.sum {
		return nil, nil, &Damaged{File: file, Job: name, Line: len(payloads) + 1,
			Problem: fmt.Sprintf("has %d records where %d were written", len(payloads), r.records)}
	}
	return &r, payloads, nil
}

func damagedRecord(file, name string, at, n int) error {
	problem := "is damaged: its checksum does not match"
	if n != at {
		problem = fmt.Sprintf("is missing; number %d comes next", n)
	}
	return &Damaged{File: file, Job: name, Line: at, Problem: problem}
}

// Damaged says that a journal is not as it was written.
type Damaged struct {
	File    string
	Job     string
	Line    int // record, from 1; those before it are sound; 0 = none in particular
	Problem string
}

func (d *Damaged) Error() string {
	if d.Line == 0 {
		return fmt.Sprintf("%s, job %s: %s", d.File, d.Job, d.Problem)
	}
	return fmt.Sprintf("%s, job %s: record %d %s; the %d before it are sound", d.File, d.Job, d.Line, d.Problem, d.Line-1)
}
