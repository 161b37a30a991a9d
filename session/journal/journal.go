// Package journal keeps append-only logs, one a job, and the rules that they
// were made with, in the tables of a database: SQLite in a folder, for one program, or
// PostgreSQL, for several at once. It stores opaque payloads and knows nothing of what they
// mean.
//
// Every record carries a sum: the SHA-256, in hex, of the sum before it, its number
// and its data. The first one stands on the job's name. The job's row holds how many
// records there are and the last sum, under a seal of its own. So a changed, missing, added
// or moved record is found when the log is read back.
package journal

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"strings"
)

// ErrMoved says that the log is not where its reader left it: take the News, or open
// it again.
var ErrMoved = errors.New("another program has written to this job's log")

// ErrClosed says that the store was closed before the call.
var ErrClosed = errors.New("the jobs are closed")

// Store keeps journals. It is safe for concurrent use.
type Store struct {
	path string // names the database in messages, without what is secret
	db   *sql.DB
	backend

	// Progress is told, job after job, how many of an export or an import are done;
	// nil = nobody is.
	Progress func(done, most int)
}

// backend is what SQLite and PostgreSQL do each in its own way. Tables and statements
// are the same for both. Its errors say in plain words what went wrong, and in which
// database; those of this package and of package fs come out as they are.
type backend interface {
	// write does one transaction, all of it or nothing, and returns once it is on disk.
	// Run may be called again where a transaction failed.
	write(run func(*sql.Tx) error) error
	// later does a transaction that may be lost.
	later(run func(*sql.Tx) error)
	// read does what only reads. Run may be called again where it failed.
	read(run func() error) error
	// acknowledged is told of each record that is on disk, before its writer is.
	acknowledged(job string, n int)
	// check looks for damage beneath the tables and tells of what it finds.
	check(ctx context.Context, found func(error)) error
	// close ends the writing, after what was handed in is on disk, and lets the database go.
	close() error

	// Turn waits until no other program is at work on a job; done lets the next one go on.
	// It only saves work that would be in vain: a writer that comes late is told so with or
	// without it, and who waits for too long goes on.
	Turn(job string) (done func())
	// Shared reports whether other programs may write to the same jobs.
	Shared() bool
	// Ready reports why nothing can be stored now; nil = it can.
	Ready(ctx context.Context) error
	// Follow tells, until ctx ends or the database is lost, the name of each job that any
	// program writes to, and at its start "", as it may have missed some. Where no other
	// program can write it returns at once.
	Follow(ctx context.Context, changed func(job string)) error
}

// Path names the database, for messages.
func (d *Store) Path() string { return d.path }

// Close ends the work on the journals, after what was handed in is on disk.
func (d *Store) Close() error { return d.close() }

func (d *Store) progress(done, most int) {
	if d.Progress != nil {
		d.Progress(done, most)
	}
}

// view reads in one transaction, which sees one moment of the database.
func (d *Store) view(run func(*sql.Tx) error) error {
	return d.read(func() error {
		tx, err := d.db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
		if err != nil {
			return err
		}
		defer tx.Rollback() //nolint:errcheck // nothing was written
		return run(tx)
	})
}

func eachRow(rows *sql.Rows, each func(*sql.Rows) error) error {
	defer rows.Close()
	for rows.Next() {
		if err := each(rows); err != nil {
			return err
		}
	}
	return rows.Err()
}

// Head is what the list of jobs says about one.
type Head struct {
	Name    string
	Records int
	Head    []byte // as it was given with the last record; empty = none was
	Damage  error  // not nil where the log cannot be used
}

// Heads lists the journals, sorted by name, without reading their records.
func (d *Store) Heads() (heads []Head, err error) {
	err = d.view(func(tx *sql.Tx) error {
		heads = nil
		rows, err := tx.Query("SELECT " + rowColumns + " FROM jobs ORDER BY name")
		if err != nil {
			return err
		}
		return eachRow(rows, func(rows *sql.Rows) error {
			r, err := scanRow(rows)
			heads = append(heads, Head{Name: r.name, Records: r.records, Head: r.head, Damage: r.damage(d.path)})
			return err
		})
	})
	return heads, err
}

// row is what the database holds of a job beside its records.
type row struct {
	name    string
	records int
	sum     string
	head    []byte
	seal    string
	problem string // why its records could not be taken over
}

const rowColumns = "name, records, sum, head, seal, problem"

func scanRow(from interface{ Scan(...any) error }) (r row, err error) {
	err = from.Scan(&r.name, &r.records, &r.sum, &r.head, &r.seal, &r.problem)
	return r, err
}

// sameAs reports whether nothing was written in between.
func (r row) sameAs(before row) bool {
	return r.records == before.records && r.sum == before.sum && bytes.Equal(r.head, before.head)
}

func (r *row) sealed() string {
	return digest(r.name, fmt.Sprint(r.records), r.sum, string(r.head), r.problem)
}

func (r *row) damage(file string) error {
	switch {
	case r.seal != r.sealed():
		return &Damaged{File: file, Job: r.name, Problem: "the job's line in the list is damaged: its checksum does not match"}
	case r.problem != "":
		return &Damaged{File: file, Job: r.name, Problem: r.problem}
	}
	return nil
}

// ValidName reports whether name can name a journal: 1 to 64 of a–z, 0–9 and
// "-".
func ValidName(name string) bool {
	if name == "" || len(name) > 64 {
		return false
	}
	return strings.IndexFunc(name, func(r rune) bool {
		return (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-'
	}) < 0
}

func badName(name string) error {
	return fmt.Errorf("%q cannot name a journal: %w", name, fs.ErrNotExist)
}

// Create starts a journal with its first record and head; it is on disk when
// Create returns. It is an error (fs.ErrExist) if there is one of that name.
func (d *Store) Create(name string, payload, head []byte) (*File, error) {
	if !ValidName(name) {
		return nil, badName(name)
	}
	f := &File{store: d, last: row{name: name, sum: name}}
	if err := f.put(payload, head, (*row).insert); err != nil {
		return nil, err
	}
	return f, nil
}

// Open reads a journal back and verifies every record. It is an error
// (fs.ErrNotExist) if there is none of that name, and a *Damaged if it is not as
// it was written.
func (d *Store) Open(name string) (f *File, payloads [][]byte, err error) {
	if !ValidName(name) {
		return nil, nil, badName(name)
	}
	f = &File{store: d}
	err = d.view(func(tx *sql.Tx) (err error) {
		f.last, payloads, err = d.readJob(tx, row{name: name, sum: name})
		return err
	})
	if err != nil {
		return nil, nil, err
	}
	return f, payloads, nil
}
