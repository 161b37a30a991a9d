package journal

import (
	"bytes"
	"database/sql"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// connect opens the database at path; options are keys and values of SQLite's
// file URI, those with an empty value left out. What every connection must have
// is in the data source name, so that each pooled one has it.
func connect(path string, options ...string) (*sql.DB, error) {
	absolute, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	absolute = filepath.ToSlash(absolute)
	if absolute[0] != '/' { // C:/…
		absolute = "/" + absolute
	}
	q := url.Values{"_pragma": {"busy_timeout(5000)", "foreign_keys(1)", "synchronous(FULL)"}}
	readOnly := false
	for i := 0; i < len(options); i += 2 {
		if options[i+1] != "" {
			q.Set(options[i], options[i+1])
		}
		readOnly = readOnly || options[i] == "mode"
	}
	if !readOnly {
		q.Add("_pragma", "journal_mode(WAL)")
	}
	name := url.URL{Scheme: "file", Path: absolute, RawQuery: q.Encode()}
	db, err := sql.Open("sqlite", name.String())
	if err != nil {
		return nil, inFile(path, err)
	}
	db.SetMaxOpenConns(8)
	if err := db.Ping(); err != nil {
		return nil, errors.Join(inFile(path, err), db.Close())
	}
	return db, nil
}

// present makes sure that there is a database that was not cut to nothing: SQLite
// would take an empty file for a new database, and all jobs for gone.
func present(path string) error {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return err
	case info.IsDir():
		return fmt.Errorf("%s is a folder; it should be the jobs' database", path)
	case info.Size() == 0:
		return &Broken{File: path, Problem: "it is empty"}
	}
	return checkHeader(path, info.Size())
}

// checkHeader looks at the first page before SQLite does, which takes a very short
// file for an empty database and writes to it. Format: https://www.sqlite.org/fileformat2.html,
// "The Database Header".
func checkHeader(path string, size int64) error {
	file, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("%s cannot be opened: %w", path, err)
	}
	defer file.Close()
	var header [100]byte
	if _, err := io.ReadFull(file, header[:]); err != nil {
		return &Broken{File: path, Problem: fmt.Sprintf("it is cut short: it has %d bytes", size)}
	}
	if !bytes.HasPrefix(header[:], []byte("SQLite format 3\x00")) {
		return &Broken{File: path, Problem: "it does not start as a database does"}
	}
	page := int64(binary.BigEndian.Uint16(header[16:]))
	if page == 1 {
		page = 1 << 16
	}
	if want := page * int64(binary.BigEndian.Uint32(header[28:])); size < want && !exists(path+"-wal") { // the rest may wait in the write-ahead log
		return &Broken{File: path, Problem: fmt.Sprintf("it is cut short: it has %d bytes and should have %d", size, want)}
	}
	return nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// create makes the database file, with no tables yet, where there is none. It appears under
// its name only when it is whole, so that an empty file under that name is always damage.
func create(path string) error {
	err := present(path)
	if !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, beside := range []string{path + "-wal", marksOf(path)} {
		if exists(beside) {
			return &Broken{File: path, Problem: "it is missing, and its " + filepath.Base(beside) + " is still there"}
		}
	}
	fresh := path + ".new"
	for _, left := range []string{fresh, fresh + "-wal", fresh + "-shm"} {
		if err := os.Remove(left); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	file, err := os.OpenFile(fresh, os.O_CREATE|os.O_EXCL, 0o600) // SQLite gives its other files the same mode
	if err != nil {
		return fmt.Errorf("the jobs folder %s cannot be written: %w", filepath.Dir(path), err)
	}
	if err := file.Close(); err != nil {
		return err
	}
	db, err := connect(fresh)
	if err != nil {
		return err
	}
	_, err = db.Exec(`CREATE TABLE migrations (version INTEGER PRIMARY KEY, applied TEXT NOT NULL, words TEXT NOT NULL) STRICT`)
	if err := errors.Join(inFile(fresh, err), inFile(fresh, db.Close())); err != nil {
		return err
	}
	if err := os.Rename(fresh, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// untouched reports whether the database is at rest in a folder that this program
// cannot write.
func untouched(path string) bool {
	if info, err := os.Stat(path + "-wal"); err == nil && info.Size() > 0 {
		return false
	}
	probe, err := os.CreateTemp(filepath.Dir(path), ".probe-*")
	if err != nil {
		return true
	}
	_ = errors.Join(probe.Close(), os.Remove(probe.Name()))
	return false
}

// Broken says that the database as a whole cannot be used.
type Broken struct {
	File    string
	Problem string
}

func (e *Broken) Error() string {
	return fmt.Sprintf("the jobs' database %s is damaged: %s. Nothing was changed. Put a backup in its place, or save what can be read with: coilside jobs export",
		e.File, e.Problem)
}

// Failed says that the disk or the database did not do its part.
type Failed struct {
	File    string
	Problem string // without the file
	Unsure  bool   // what was to be written may be there all the same
	err     error
}

func (e *Failed) Error() string { return fmt.Sprintf("%s: %s (%v)", e.File, e.Problem, e.err) }

func (e *Failed) Unwrap() error { return e.err }

// said reports whether an error says already what went wrong.
func said[E error](err error) bool {
	_, ok := errors.AsType[E](err)
	return ok
}

// ours reports whether an error is of this package, or says that something is there or not.
func ours(err error) bool {
	return said[*Broken](err) || said[*Failed](err) || said[*Damaged](err) || said[*Differs](err) || said[*BadTransfer](err) || said[*Newer](err) ||
		errors.Is(err, ErrMoved) || errors.Is(err, ErrClosed) || errors.Is(err, fs.ErrExist) || errors.Is(err, fs.ErrNotExist)
}

// problems are what SQLite may meet, in plain words.
var problems = map[int]string{
	sqlite3.SQLITE_FULL:     "the disk is full",
	sqlite3.SQLITE_READONLY: "the file or its folder cannot be written",
	sqlite3.SQLITE_CANTOPEN: "the file cannot be opened; the folder may be read-only",
	sqlite3.SQLITE_BUSY:     "another program holds the database",
	sqlite3.SQLITE_IOERR:    "the disk failed",
}

// inFile says in plain words what went wrong, and in which file.
func inFile(path string, err error) error {
	var met *sqlite.Error
	switch {
	case err == nil, ours(err):
		return err
	case !errors.As(err, &met):
		return &Failed{File: path, Problem: "the database failed", err: err}
	}
	code := met.Code() & 0xff // the rest says more closely where
	if code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB {
		return &Broken{File: path, Problem: met.Error()}
	}
	problem := problems[code]
	if problem == "" {
		problem = "the database failed"
	}
	return &Failed{File: path, Problem: problem, err: err}
}

// syncFolder makes a new name in a folder durable. Windows cannot sync a folder
// and does not need to.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	if err := d.Sync(); err != nil && os.PathSeparator == '/' {
		return errors.Join(err, d.Close())
	}
	return d.Close()
}
