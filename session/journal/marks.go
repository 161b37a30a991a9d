package journal

import (
	"database/sql"
	"errors"
	"fmt"
	"hash/crc32"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
)

// SQLite takes its write-ahead log for ended where that is damaged, and drops what comes after
// without a word. So a file beside the database says what was acknowledged: a line for every
// record, written once the record is on disk and before anybody is told. The file is not
// synced: it outlives the program at once and a power loss after a moment, and never says
// more than is true. What has reached the database itself, out of the log, has other sums to
// find damage by, and its lines are dropped.
const (
	marksName = "jobs.acknowledged"
	mostMarks = 4 << 20 // bytes, some 100,000 records, before the log is emptied
)

// marks is that file, open for writing.
type marks struct {
	mu   sync.Mutex
	file *os.File
	size int64
}

func marksOf(database string) string { return filepath.Join(filepath.Dir(database), marksName) }

// markLine is one record's line; one that is torn or damaged says nothing.
func markLine(job string, n int) string {
	said := fmt.Sprintf("%s %d", job, n)
	return fmt.Sprintf("%s %08x\n", said, crc32.ChecksumIEEE([]byte(said)))
}

// readMarks gives how many records of each job were acknowledged; none where there is no file.
func readMarks(database string) (map[string]int, error) {
	content, err := os.ReadFile(marksOf(database))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("what was acknowledged cannot be read: %w", err)
	}
	acknowledged := map[string]int{}
	for line := range strings.Lines(string(content)) {
		var job string
		var n int
		if _, err := fmt.Sscanf(line, "%s %d", &job, &n); err == nil && line == markLine(job, n) {
			acknowledged[job] = max(acknowledged[job], n)
		}
	}
	return acknowledged, nil
}

// lacking says which records were acknowledged and are not in the database; nil = none.
func lacking(path string, db *sql.DB, acknowledged map[string]int) error {
	const mostNamed = 5
	var jobs []string
	for _, name := range slices.Sorted(maps.Keys(acknowledged)) {
		now, err := readRow(db, path, name)
		switch n := acknowledged[name]; {
		case errors.Is(err, fs.ErrNotExist):
			jobs = append(jobs, fmt.Sprintf("job %s is gone, with %d", name, n))
		case said[*Damaged](err): // is said when the job is read
		case err != nil:
			return inFile(path, err)
		case now.records < n:
			jobs = append(jobs, fmt.Sprintf("job %s has %d of %d", name, now.records, n))
		}
	}
	if len(jobs) == 0 {
		return nil
	}
	if more := len(jobs) - mostNamed; more > 0 {
		jobs = append(jobs[:mostNamed], fmt.Sprintf("%d more jobs", more))
	}
	return &Broken{File: path, Problem: fmt.Sprintf("records that were acknowledged are missing: %s (to go on without them, delete %s)", strings.Join(jobs, "; "), marksOf(path))}
}

// checkMarks makes sure that what was acknowledged is there, before anything is written:
// SQLite's first writer would clear away what is left of the log.
func checkMarks(path string) error {
	acknowledged, err := readMarks(path)
	if err != nil || len(acknowledged) == 0 {
		return err
	}
	db, err := connect(path, "mode", "ro")
	if err != nil {
		return err
	}
	return errors.Join(lacking(path, db, acknowledged), inFile(path, db.Close()))
}

// openMarks opens the file, for its owner only, and drops what it says if the database
// needs its log no more.
func (d *folder) openMarks() error {
	file, err := os.OpenFile(marksOf(d.path), os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return fmt.Errorf("the jobs folder %s cannot be written: %w", filepath.Dir(d.path), err)
	}
	info, err := file.Stat()
	if err != nil {
		return errors.Join(err, file.Close())
	}
	d.marks = &marks{file: file, size: info.Size()}
	return d.dropMarks()
}

// acknowledged notes a record. Where the disk has no room for that, the record is there all
// the same: only its loss would not be noticed.
func (d *folder) acknowledged(job string, n int) {
	m := d.marks
	m.mu.Lock()
	defer m.mu.Unlock()
	wrote, _ := m.file.WriteString(markLine(job, n))
	if m.size += int64(wrote); m.size > mostMarks {
		_ = d.dropMarks()
	}
}

// dropMarks brings all of the log into the database and then empties the file, unless
// somebody who reads the log just now keeps it from that.
func (d *folder) dropMarks() error {
	var busy, frames, moved int
	if err := d.db.QueryRow("PRAGMA wal_checkpoint(TRUNCATE)").Scan(&busy, &frames, &moved); err != nil {
		return inFile(d.path, err)
	}
	if busy != 0 {
		return nil
	}
	if err := d.marks.file.Truncate(0); err != nil {
		return err
	}
	d.marks.size = 0
	return nil
}

// close may be called again.
func (m *marks) close() error {
	if err := m.file.Close(); !errors.Is(err, fs.ErrClosed) {
		return err
	}
	return nil
}
