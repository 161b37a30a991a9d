package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
)

// Imported says what an import did.
type Imported struct {
	Jobs, Records int
	Same          int // jobs that were here already, record for record
}

// Import takes over what an export holds, all in one transaction or nothing. However long
// it is, one rulebook or one record of it is in memory at a time. Progress is told of the bytes
// read. A job that is here already, record for record, is passed over. Errors: *BadTransfer;
// *Differs for a job that is here already and differs; others are of the store.
func (d *Store) Import(from io.ReadSeeker) (done Imported, err error) {
	size, err := from.Seek(0, io.SeekEnd)
	if err != nil {
		return Imported{}, err
	}
	err = d.write(func(tx *sql.Tx) error {
		if _, err := from.Seek(0, io.SeekStart); err != nil { // a transaction may be tried again
			return &BadTransfer{Line: 1, Problem: err.Error()}
		}
		into := &importing{store: d, tx: tx}
		t := transfer{to: into}
		err := t.read(&reading{Reader: from, most: size, tell: d.progress})
		done = into.done
		return err
	})
	if err != nil {
		return Imported{}, err
	}
	return done, nil
}

// CheckExport reads an export and verifies it; sound says what is wrong with a rulebook's
// files. The error is a *BadTransfer. As little of it is in memory as in Import.
func CheckExport(from io.Reader, sound func(hash string, files []RuleFile) error) error {
	t := transfer{to: nobody{}, sound: sound}
	return t.read(from)
}

// nobody takes nothing.
type nobody struct{}

func (nobody) rules(string, []RuleFile) error { return nil }
func (nobody) record(*entry) error            { return nil }
func (nobody) jobEnds(row) error              { return nil }

// Differs says that a job to be imported is here already with other records.
type Differs struct{ Job, File string }

func (e *Differs) Error() string {
	return fmt.Sprintf("job %s is in %s already and differs", e.Job, e.File)
}

// importing puts what is read into the tables.
type importing struct {
	store *Store
	tx    *sql.Tx
	done  Imported
	here  *row // the job that is being read, where it is here already
}

func (i *importing) rules(hash string, files []RuleFile) error {
	return insertRules(i.tx, hash, files)
}

func (i *importing) record(e *entry) error {
	if e.records == 1 {
		if err := i.begin(e.name); err != nil {
			return err
		}
	}
	if i.here != nil {
		return nil // its sums are compared at its end
	}
	return e.insertRecord(i.tx)
}

// begin looks whether a job is here, sound, and makes its row where it is not.
func (i *importing) begin(name string) error {
	start := row{name: name, sum: name}
	now, err := i.store.eachRecord(i.tx, start, func([]byte) {})
	if errors.Is(err, fs.ErrNotExist) {
		i.here = nil
		return start.insert(i.tx)
	}
	i.here = &now
	return err
}

func (i *importing) jobEnds(last row) error {
	switch {
	case i.here == nil:
		i.done.Jobs, i.done.Records = i.done.Jobs+1, i.done.Records+last.records
		return last.update(i.tx, row{name: last.name, sum: last.name})
	case i.here.records != last.records || i.here.sum != last.sum:
		return &Differs{Job: last.name, File: i.store.path}
	}
	i.done.Same++
	return nil
}

// reading tells how far it is.
type reading struct {
	io.Reader
	done, most int64
	tell       func(done, most int)
}

func (r *reading) Read(p []byte) (int, error) {
	n, err := r.Reader.Read(p)
	r.done += int64(n)
	r.tell(int(r.done), int(r.most))
	return n, err
}
