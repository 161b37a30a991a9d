package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// migration brings a database from the version before to its own: the place in
// migrations, from 1.
type migration struct {
	words string
	run   func(tx *sql.Tx, path string) error
	after func(path string) error // once it is on disk; may be done again
}

var migrations = []migration{
	{"logs as lines of JSON, one file a job, become tables", createTables, putLinesAside},
}

const tables = `
CREATE TABLE jobs (
	name    TEXT PRIMARY KEY,
	records INTEGER NOT NULL, -- how many there are
	sum     TEXT NOT NULL,    -- of the last one
	head    BLOB NOT NULL,    -- what a list shows of the job, JSON
	seal    TEXT NOT NULL,    -- checksum of this row
	problem TEXT NOT NULL     -- why its records could not be taken over
) STRICT;
CREATE TABLE records (
	job  TEXT NOT NULL REFERENCES jobs (name),
	n    INTEGER NOT NULL CHECK (n >= 1),
	sum  TEXT NOT NULL, -- SHA-256 over the sum before (first: the job's name), n and data
	data BLOB NOT NULL, -- what one call wrote, JSON
	PRIMARY KEY (job, n)
) STRICT;
CREATE TABLE rules (
	hash    TEXT NOT NULL, -- of the whole rulebook
	layer   INTEGER NOT NULL,
	name    TEXT NOT NULL, -- of the layer
	file    TEXT NOT NULL,
	content BLOB NOT NULL,
	PRIMARY KEY (hash, layer, file)
) STRICT;`

// Newer says that a newer program has written the database.
type Newer struct {
	File         string
	Version, Own int
}

func (e *Newer) Error() string {
	return fmt.Sprintf("%s was written by a newer program (version %d of its layout; this program knows up to %d); use that program", e.File, e.Version, e.Own)
}

// versionOf gives the version of a database's layout; 0 = there are no tables yet.
func versionOf(path string, db *sql.DB, own int) (int, error) {
	var version int
	if err := db.QueryRow("SELECT coalesce(max(version), 0) FROM migrations").Scan(&version); err != nil {
		return 0, err
	}
	if version > own {
		return 0, &Newer{File: path, Version: version, Own: own}
	}
	return version, nil
}

// older says to a reader, who migrates nothing, that a database is an older program's.
func older(path string, version, own int) error {
	return fmt.Errorf("%s has version %d and this program reads version %d; start the service on it once to bring it up to date", path, version, own)
}

// migrate brings a database up to date, one transaction a version; plain puts in words
// what the database met.
func migrate(path string, db *sql.DB, version int, all []migration, plain func(string, error) error) error {
	for i, m := range all {
		if i >= version {
			if err := m.apply(path, db, i+1); err != nil {
				return fmt.Errorf("bring %s to version %d: %w", path, i+1, plain(path, err))
			}
		}
		if m.after != nil {
			if err := m.after(path); err != nil {
				return fmt.Errorf("after bringing %s to version %d: %w", path, i+1, err)
			}
		}
	}
	return nil
}

func (m *migration) apply(path string, db *sql.DB, version int) error {
	tx, err := db.Begin()
	if err != nil {
		return err
	}
	err = m.run(tx, path)
	if err == nil {
		_, err = tx.Exec("INSERT INTO migrations VALUES ($1, $2, $3)", version, time.Now().UTC().Format(time.RFC3339), m.words)
	}
	if err != nil {
		return errors.Join(err, tx.Rollback())
	}
	return tx.Commit()
}

// backUp copies a database before it is migrated. A copy that is there already
// was made by a migration that did not end: the database has not changed since.
func backUp(path string, db *sql.DB, version int) error {
	copied := fmt.Sprintf("%s.version-%d", path, version)
	if _, err := os.Stat(copied); err == nil {
		return nil
	}
	half := copied + ".half"
	if err := os.Remove(half); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	if _, err := db.Exec("VACUUM INTO $1", half); err != nil {
		return fmt.Errorf("back up before the move to a newer version: %w", inFile(path, err))
	}
	if err := os.Rename(half, copied); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

func createTables(tx *sql.Tx, path string) error {
	if _, err := tx.Exec(tables); err != nil {
		return err
	}
	return takeOverLines(tx, linesFolder(path))
}
