// Package journal keeps append-only logs, one a job, and the rules that they
// were made with, in one SQLite database. It stores opaque payloads and knows
// nothing of what they mean.
//
// Every record carries a sum: the SHA-256, in hex, of the sum before it, its number
// and its data. The first one stands on the job's name. The job's row holds how many
// records there are and the last sum, under a seal of its own. So a changed, missing, added
// or moved record is found when the log is read back.
package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/gofrs/flock"
)

const (
	databaseName = "jobs.db"
	lockName     = "jobs.lock"
)

// ErrMoved says that the log on disk is not where its reader left it; open it
// again.
var ErrMoved = errors.New("another program has written to this job's log")

// ErrClosed says that the folder was closed before the call.
var ErrClosed = errors.New("the jobs folder is closed")

// InUse says that another program works on the folder.
type InUse struct{ Folder string }

func (e *InUse) Error() string {
	return fmt.Sprintf("another program works on the jobs in %s; stop it, or talk to it instead", e.Folder)
}

// Folder is a folder of journals. It is safe for concurrent use.
type Folder struct {
	path   string // of the database
	db     *sql.DB
	lock   *flock.Flock // nil for a reader
	writer *writer      // nil for a reader

	// Progress is told, job after job, how many of an export or an import are done;
	// nil = nobody is.
	Progress func(done, most int)
}

func (d *Folder) progress(done, most int) {
	if d.Progress != nil {
		d.Progress(done, most)
	}
}

// faults are where tests make the disk fail.
type faults struct {
	vfs    string
	commit func(*sql.Tx) error
}

// OpenFolder opens the folder at path, makes it, readable by its owner only, if
// it does not exist, and brings an older one up to date after a backup. Close it after
// use. Errors: *InUse where another program has it open; *Newer for a folder
// written by a newer program; every other names the file.
func OpenFolder(path string) (*Folder, error) { return openFolder(path, faults{}) }

func openFolder(path string, f faults) (*Folder, error) {
	if err := os.MkdirAll(path, 0o700); err != nil {
		return nil, fmt.Errorf("the jobs folder cannot be made: %w", err)
	}
	lock := flock.New(filepath.Join(path, lockName), flock.SetPermissions(0o600))
	held, err := lock.TryLock()
	if err != nil {
		return nil, fmt.Errorf("the jobs folder %s cannot be written: %w", path, err)
	}
	if !held {
		return nil, errors.Join(&InUse{Folder: path}, lock.Close())
	}
	d := &Folder{path: filepath.Join(path, databaseName), lock: lock}
	if err := d.start(f); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

func (d *Folder) start(f faults) error {
	if err := create(d.path); err != nil {
		return err
	}
	db, err := connect(d.path, "vfs", f.vfs)
	if err != nil {
		return err
	}
	d.db = db
	if err := migrate(d.path, db); err != nil {
		return err
	}
	if err := d.checkJobs(); err != nil {
		return err
	}
	d.writer = startWriter(d.path, db, f.commit)
	return nil
}

// ReadFolder opens a folder for reading only, also while another program writes
// to it. Nothing is made and nothing migrated: it is an error if there is no
// database, or an older one.
func ReadFolder(path string) (*Folder, error) {
	d := &Folder{path: filepath.Join(path, databaseName)}
	if err := d.startReading(); err != nil {
		return nil, errors.Join(err, d.Close())
	}
	return d, nil
}

func (d *Folder) startReading() error {
	if err := present(d.path); err != nil {
		if _, older := os.Stat(linesFolder(d.path)); older == nil && errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s was left by an older program; start the service on it once to bring it up to date", filepath.Dir(d.path))
		}
		return err
	}
	options := []string{"mode", "ro"}
	if untouched(d.path) { // a folder that cannot be written, at rest: no lock file is to be made
		options = append(options, "immutable", "1")
	}
	var err error
	if d.db, err = connect(d.path, options...); err != nil {
		return err
	}
	version, err := versionOf(d.path, d.db)
	if err != nil {
		return err
	}
	if version != len(migrations) {
		return fmt.Errorf("%s has version %d and this program reads version %d; start the service on it once to bring it up to date", d.path, version, len(migrations))
	}
	return nil
}

// Path is where the database is, for messages.
func (d *Folder) Path() string { return d.path }

// Close ends the writing, after what was handed in is on disk, and gives the folder
// free.
func (d *Folder) Close() error {
	var failed []error
	if d.writer != nil {
		d.writer.stop()
	}
	if d.db != nil {
		failed = append(failed, inFile(d.path, d.db.Close()))
	}
	if d.lock != nil {
		failed = append(failed, d.lock.Close())
	}
	return errors.Join(failed...)
}

// checkJobs makes sure that no job has fallen out of the list unseen.
func (d *Folder) checkJobs() error {
	var found string
	if err := d.db.QueryRow("PRAGMA integrity_check(jobs)").Scan(&found); err != nil {
		return inFile(d.path, err)
	}
	if found != "ok" {
		return &Broken{File: d.path, Problem: found}
	}
	return nil
}

// Head is what the list of jobs says about one.
type Head struct {
	Name    string
	Records int
	Head    []byte // as it was given with the last record; empty = none was
	Damage  error  // not nil where the log cannot be used
}

// Heads lists the journals, sorted by name, without reading their records.
func (d *Folder) Heads() ([]Head, error) {
	rows, err := d.db.Query("SELECT name, records, sum, head, seal, problem FROM jobs ORDER BY name")
	if err != nil {
		return nil, inFile(d.path, err)
	}
	defer rows.Close()
	var heads []Head
	for rows.Next() {
		var r row
		if err := rows.Scan(&r.name, &r.records, &r.sum, &r.head, &r.seal, &r.problem); err != nil {
			return nil, inFile(d.path, err)
		}
		heads = append(heads, Head{Name: r.name, Records: r.records, Head: r.head, Damage: r.damage(d.path)})
	}
	return heads, inFile(d.path, rows.Err())
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
func (d *Folder) Create(name string, payload, head []byte) (*File, error) {
	if !ValidName(name) {
		return nil, badName(name)
	}
	f := &File{folder: d, name: name, sum: name}
	next, err := f.next(payload, head)
	if err != nil {
		return nil, err
	}
	err = d.write(func(tx *sql.Tx) error {
		if err := next.insert(tx); err != nil {
			return err
		}
		return next.insertRecord(tx)
	})
	if err != nil {
		return nil, err
	}
	f.records, f.sum = next.records, next.sum
	return f, nil
}

// Open reads a journal back and verifies every record. It is an error
// (fs.ErrNotExist) if there is none of that name, and a *Damaged if it is not as
// it was written.
func (d *Folder) Open(name string) (*File, [][]byte, error) {
	if !ValidName(name) {
		return nil, nil, badName(name)
	}
	tx, err := d.db.BeginTx(context.Background(), &sql.TxOptions{ReadOnly: true})
	if err != nil {
		return nil, nil, inFile(d.path, err)
	}
	defer tx.Rollback() //nolint:errcheck // nothing was written
	r, payloads, err := readJob(tx, d.path, name)
	if err != nil {
		return nil, nil, err
	}
	return &File{folder: d, name: name, records: r.records, sum: r.sum}, payloads, nil
}

func (d *Folder) write(run func(*sql.Tx) error) error {
	if d.writer == nil {
		return fmt.Errorf("%s is open for reading only", d.path)
	}
	return d.writer.do(run)
}
