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
	store *Store
	last  row // as it was read or written here last
}

// Path is where the journal is, for messages.
func (f *File) Path() string { return f.store.path }

// Records is how many there are.
func (f *File) Records() int { return f.last.records }

// Head is what was given with the last record.
func (f *File) Head() []byte { return f.last.head }

// Append adds one record and returns once it is on disk. Payload is JSON; head
// is what Store.Heads gives for the job from then on. On any error but an uncertain *Failed
// the journal is as it was before. Errors: ErrMoved where others have written since.
func (f *File) Append(payload, head []byte) error {
	before := f.last
	return f.put(payload, head, func(r *row, tx *sql.Tx) error { return r.update(tx, before) })
}

// put writes a record, and its job's row by the function given.
func (f *File) put(payload, head []byte, move func(*row, *sql.Tx) error) error {
	next, err := f.next(payload, head)
	if err != nil {
		return err
	}
	tries := 0
	err = f.store.write(func(tx *sql.Tx) error {
		tries++
		refused := move(&next.row, tx)
		if refused == nil {
			return next.insertRecord(tx)
		}
		if tries > 1 && next.written(tx) { // an earlier try came through and its answer was lost
			return nil
		}
		return refused
	})
	if err != nil {
		return err
	}
	f.store.acknowledged(next.name, next.records)
	f.last = next.row
	return nil
}

// SetHead gives the journal another head, unless others have written since. It does not
// wait and may be lost: a head can be made again.
func (f *File) SetHead(head []byte) {
	before := f.last
	f.last.head = head
	next := f.last
	f.store.later(func(tx *sql.Tx) error { return next.update(tx, before) })
}

// News gives the records that others have written since the journal was read or
// written here last; fresh reports whether there are some, or another head. It is ErrMoved
// where they do not follow on what was read here: open the journal again.
func (f *File) News() (payloads [][]byte, fresh bool, err error) {
	now := row{}
	err = f.store.read(func() (err error) {
		now, err = readRow(f.store.db, f.store.path, f.last.name)
		return err
	})
	if err != nil || now.sameAs(f.last) {
		return nil, false, err
	}
	err = f.store.view(func(tx *sql.Tx) (err error) {
		now, payloads, err = f.store.readJob(tx, f.last)
		return err
	})
	if said[*Damaged](err) {
		return nil, true, ErrMoved // whether there is damage is seen when all of it is read
	}
	if err != nil {
		return nil, false, err
	}
	f.last = now
	return payloads, true, nil
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
	e := &entry{row: row{name: f.last.name, records: f.last.records + 1, head: head}, data: data.Bytes()}
	e.sum = chain(f.last.sum, e.records, e.data)
	return e, nil
}

func (r *row) insert(tx *sql.Tx) error {
	done, err := tx.Exec("INSERT INTO jobs ("+rowColumns+") VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT DO NOTHING",
		r.name, r.records, r.sum, nonNil(r.head), r.sealed(), r.problem)
	return one(done, err, fs.ErrExist)
}

// update moves a job on, unless it has moved already.
func (r *row) update(tx *sql.Tx, before row) error {
	done, err := tx.Exec("UPDATE jobs SET records = $1, sum = $2, head = $3, seal = $4 WHERE name = $5 AND records = $6 AND sum = $7",
		r.records, r.sum, nonNil(r.head), r.sealed(), r.name, before.records, before.sum)
	return one(done, err, ErrMoved)
}

func (e *entry) insertRecord(tx *sql.Tx) error {
	_, err := tx.Exec("INSERT INTO records (job, n, sum, data) VALUES ($1, $2, $3, $4)", e.name, e.records, e.sum, e.data)
	return err
}

// written reports whether this very record is there.
func (e *entry) written(tx *sql.Tx) bool {
	var sum string
	err := tx.QueryRow("SELECT sum FROM records WHERE job = $1 AND n = $2", e.name, e.records).Scan(&sum)
	return err == nil && sum == e.sum
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

// readRow reads a job's row and makes sure that it is as it was written.
func readRow(from interface {
	QueryRow(query string, args ...any) *sql.Row
}, file, name string) (row, error) {
	r, err := scanRow(from.QueryRow("SELECT "+rowColumns+" FROM jobs WHERE name = $1", name))
	if errors.Is(err, sql.ErrNoRows) {
		return row{}, fmt.Errorf("there is no job %s in %s: %w", name, file, fs.ErrNotExist)
	}
	if err != nil {
		return row{}, err
	}
	return r, r.damage(file)
}

// readJob reads a job's row and the records that follow on after, and verifies them.
func (d *Store) readJob(tx *sql.Tx, after row) (now row, payloads [][]byte, err error) {
	now, err = d.eachRecord(tx, after, func(data []byte) { payloads = append(payloads, data) })
	if err != nil {
		return row{}, nil, err
	}
	return now, payloads, nil
}

// eachRecord is readJob record by record. What was handed on counts only if there is no error.
func (d *Store) eachRecord(tx *sql.Tx, after row, each func(data []byte)) (now row, err error) {
	if now, err = readRow(tx, d.path, after.name); err != nil {
		return row{}, err
	}
	rows, err := tx.Query("SELECT n, sum, data FROM records WHERE job = $1 AND n > $2 ORDER BY n", after.name, after.records)
	if err != nil {
		return row{}, err
	}
	at, last := after.records, after.sum
	err = eachRow(rows, func(rows *sql.Rows) error {
		var n int
		var sum string
		var data []byte
		if err := rows.Scan(&n, &sum, &data); err != nil {
			return err
		}
		at++
		if n != at || sum != chain(last, n, data) {
			return damagedRecord(d.path, after.name, at, n)
		}
		each(data)
		last = sum
		return nil
	})
	if err != nil {
		return row{}, err
	}
	if at != now.records || last != now.sum {
		return row{}, &Damaged{File: d.path, Job: after.name, Line: at + 1,
			Problem: fmt.Sprintf("has %d records where %d were written", at, now.records)}
	}
	return now, nil
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
