package journal

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"os"
)

// ErrMoved says that another program has written to the journal since it was
// opened; open it again.
var ErrMoved = errors.New("another program has written to this job's log")

// File is one journal. It is not safe for concurrent use; its owner serialises.
type File struct {
	path  string
	lines int
	size  int64
	sum   string
	// sync is os.File.Sync; tests make it fail.
	sync func(*os.File) error
}

// Path is where the journal is, for messages.
func (f *File) Path() string { return f.path }

// Append adds one record and returns once it is on disk. Payload is JSON. On any
// error the journal is as it was before.
func (f *File) Append(payload []byte) error {
	var data bytes.Buffer
	if err := json.Compact(&data, payload); err != nil {
		return fmt.Errorf("the record is no JSON: %w", err)
	}
	line, sum := format(f.lines+1, f.sum, data.Bytes())
	line = append(line, '\n')
	out, err := os.OpenFile(f.path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	if err := f.write(out, line); err != nil {
		return errors.Join(err, out.Close())
	}
	if err := out.Close(); err != nil {
		return err
	}
	f.lines, f.size, f.sum = f.lines+1, f.size+int64(len(line)), sum
	return nil
}

func (f *File) write(out *os.File, line []byte) error {
	info, err := out.Stat()
	if err != nil {
		return err
	}
	if info.Size() != f.size {
		return ErrMoved
	}
	sync := f.sync
	if sync == nil {
		sync = (*os.File).Sync
	}
	_, err = out.WriteAt(line, f.size)
	if err == nil {
		err = sync(out)
	}
	if err != nil {
		// Half a record must not stay: the next one would be written after it.
		return errors.Join(err, out.Truncate(f.size))
	}
	return nil
}

// syncFolder makes a new file's name durable.
func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}
