package journal

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/gofrs/flock"
)

const (
	databaseName = "jobs.db"
	lockName     = "jobs.lock"
)

// InUse says that another program works on the folder.
type InUse struct{ Folder string }

func (e *InUse) Error() string {
	return fmt.Sprintf("another program works on the jobs in %s; stop it, or talk to it instead", e.Folder)
}

// folder is a SQLite database in a folder, which one program at a time writes to.
type folder struct {
	path   string // of the database
	db     *sql.DB
	lock   *flock.Flock // nil for a reader
	writer *writer      // nil for a reader
	marks  *marks       // nil for a reader
}

// faults are where tests make the disk fail.
type faults struct {
	vfs    string
	commit func(*sql.Tx) error
}

// OpenFolder opens the SQLite database in the folder at path, makes both, readable by
// their owner only, if they do not exist, and brings an older one up to date after a backup.
// Close it after use. Errors: *InUse where another program has it open; *Newer for a folder
// written by a newer program; every other names the file.
func OpenFolder(path string) (*Store, error) { return openFolder(path, faults{}) }

func openFolder(path string, f faults) (*Store, error) {
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
	d := &folder{path: filepath.Join(path, databaseName), lock: lock}
	if err := d.start(f); err != nil {
		return nil, errors.Join(err, d.close())
	}
	return &Store{path: d.path, db: d.db, backend: d}, nil
}

func (d *folder) start(f faults) error {
	if err := create(d.path); err != nil {
		return err
	}
	if err := checkMarks(d.path); err != nil {
		return err
	}
	db, err := connect(d.path, "vfs", f.vfs)
	if err != nil {
		return err
	}
	d.db = db
	version, err := d.version()
	if err != nil {
		return err
	}
	if version > 0 && version < len(migrations) {
		if err := backUp(d.path, db, version); err != nil {
			return err
		}
	}
	if err := migrate(d.path, db, version, migrations, inFile); err != nil {
		return err
	}
	if err := d.checkJobs(); err != nil {
		return err
	}
	if err := d.openMarks(); err != nil {
		return err
	}
	d.writer = startWriter(d.path, db, f.commit)
	return nil
}

func (d *folder) version() (int, error) {
	version, err := versionOf(d.path, d.db, len(migrations))
	return version, inFile(d.path, err)
}

// ReadFolder opens a folder for reading only, also while another program writes
// to it. Nothing is made and nothing migrated: it is an error if there is no
// database, or an older one.
func ReadFolder(path string) (*Store, error) {
	d := &folder{path: filepath.Join(path, databaseName)}
	if err := d.startReading(); err != nil {
		return nil, errors.Join(err, d.close())
	}
	return &Store{path: d.path, db: d.db, backend: d}, nil
}

func (d *folder) startReading() error {
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
	version, err := d.version()
	if err != nil {
		return err
	}
	if version != len(migrations) {
		return older(d.path, version, len(migrations))
	}
	return nil
}

// checkJobs makes sure that no job has fallen out of the list unseen.
func (d *folder) checkJobs() error {
	var found string
	if err := d.db.QueryRow("PRAGMA integrity_check(jobs)").Scan(&found); err != nil {
		return inFile(d.path, err)
	}
	if found != "ok" {
		return &Broken{File: d.path, Problem: found}
	}
	return nil
}

func (d *folder) write(run func(*sql.Tx) error) error {
	if d.writer == nil {
		return fmt.Errorf("%s is open for reading only", d.path)
	}
	return d.writer.do(run)
}

// later leaves the transaction out where the writer is busy.
func (d *folder) later(run func(*sql.Tx) error) {
	if d.writer != nil {
		d.writer.later(run)
	}
}

func (d *folder) read(run func() error) error { return inFile(d.path, run()) }

// check looks at the database's pages, and for records that were acknowledged and are gone.
func (d *folder) check(ctx context.Context, found func(error)) error {
	acknowledged, err := readMarks(d.path)
	if err != nil {
		return err
	}
	switch err := lacking(d.path, d.db, acknowledged); {
	case said[*Broken](err):
		found(err)
	case err != nil:
		return err
	}
	rows, err := d.db.QueryContext(ctx, "PRAGMA integrity_check(20)")
	if err != nil {
		return inFile(d.path, err)
	}
	return inFile(d.path, eachRow(rows, func(rows *sql.Rows) error {
		var says string
		err := rows.Scan(&says)
		if says != "ok" && err == nil {
			found(&Broken{File: d.path, Problem: says})
		}
		return err
	}))
}

func (d *folder) close() error {
	var failed []error
	if d.writer != nil {
		d.writer.stop()
	}
	if d.db != nil {
		failed = append(failed, inFile(d.path, d.db.Close()))
	}
	if d.marks != nil {
		failed = append(failed, d.marks.close())
	}
	if d.lock != nil {
		failed = append(failed, d.lock.Close())
	}
	return errors.Join(failed...)
}

// Turn has nobody to wait for.
func (d *folder) Turn(string) (done func()) { return func() {} }

// Shared is false: the lock keeps other programs away.
func (d *folder) Shared() bool { return false }

// Ready writes something into the folder.
func (d *folder) Ready(context.Context) error {
	f, err := os.CreateTemp(filepath.Dir(d.path), ".ready-*")
	if err != nil {
		return err
	}
	_, err = f.WriteString("ready")
	return errors.Join(err, f.Close(), os.Remove(f.Name()))
}

// Follow has nothing to tell.
func (d *folder) Follow(context.Context, func(job string)) error { return nil }
