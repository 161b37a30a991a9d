package journal

import (
	"bufio"
	"bytes"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"slices"
)

// The transfer format is text, one JSON object a line, in this order:
//
//	{"coilside":"jobs","version":1}
//	{"rules":"HASH","layer":0,"name":"relay","file":"coil.yaml","content":"BASE64"}
//	{"job":"NAME","n":1,"sum":"SUM","data":{…}}
//	{"end":{"jobs":1,"records":1,"rule_files":1}}
//
// There is a line for every file of the rulebooks that the folder keeps, and one for every
// record of every job, in order. HASH is a rulebook's content hash. SUM is the SHA-256, in hex, of the sum
// before it, a space, n, a space and data as it is written here; the sum before that of
// record 1 is the job's name. The last line shows that nothing is missing.
const (
	transferKind    = "jobs"
	transferVersion = 1
	mostLine        = 64 << 20 // bytes
)

type transferLine struct {
	Coilside string `json:"coilside,omitempty"`
	Version  int    `json:"version,omitempty"`

	Rules     string `json:"rules,omitempty"`
	*RuleFile        // of Rules

	Job  string          `json:"job,omitempty"`
	N    int             `json:"n,omitempty"`
	Sum  string          `json:"sum,omitempty"`
	Data json.RawMessage `json:"data,omitempty"`

	End *counts `json:"end,omitempty"`
}

type counts struct {
	Jobs      int `json:"jobs"`
	Records   int `json:"records"`
	RuleFiles int `json:"rule_files"`
}

// Export writes jobs, all where no names are given, and the rules they were
// made with. A job that is damaged is left out and its problem is among those
// returned; the rest is whole. The error is that of a reading or writing that could not
// go on.
func (d *Store) Export(to io.Writer, names ...string) (problems []error, err error) {
	out := bufio.NewWriter(to)
	lines := json.NewEncoder(out)
	lines.SetEscapeHTML(false)
	if err := lines.Encode(transferLine{Coilside: transferKind, Version: transferVersion}); err != nil {
		return nil, err
	}
	var n counts
	if n.RuleFiles, err = d.exportRules(lines); err != nil {
		return nil, err
	}
	if len(names) == 0 {
		heads, err := d.Heads()
		if err != nil {
			return nil, err
		}
		for _, h := range heads {
			names = append(names, h.Name)
		}
	}
	for i, name := range names {
		d.progress(i, len(names))
		_, payloads, err := d.Open(name)
		if err != nil {
			problems = append(problems, err)
			continue
		}
		if err := exportJob(out, name, payloads); err != nil {
			return problems, err
		}
		n.Jobs, n.Records = n.Jobs+1, n.Records+len(payloads)
	}
	if err := lines.Encode(transferLine{End: &n}); err != nil {
		return problems, err
	}
	return problems, out.Flush()
}

func (d *Store) exportRules(lines *json.Encoder) (written int, err error) {
	hashes, err := d.RuleHashes()
	if err != nil {
		return 0, err
	}
	for _, hash := range hashes {
		files, err := d.Rules(hash)
		if err != nil {
			return written, err
		}
		for _, f := range files {
			if err := lines.Encode(transferLine{Rules: hash, RuleFile: &f}); err != nil {
				return written, err
			}
			written++
		}
	}
	return written, nil
}

// exportJob writes the data byte for byte: the sums stand on them.
func exportJob(out io.Writer, name string, payloads [][]byte) error {
	sum := name
	for i, p := range payloads {
		sum = chain(sum, i+1, p)
		if _, err := fmt.Fprintf(out, `{"job":"%s","n":%d,"sum":"%s","data":%s}`+"\n", name, i+1, sum, p); err != nil {
			return err
		}
	}
	return nil
}

// Transfer is what an export holds.
type Transfer struct {
	Rules   map[string][]RuleFile // by content hash
	Jobs    map[string][][]byte   // records by name of the job
	counted counts
	sums    map[string]string
	started bool
	ended   bool
}

// ReadTransfer reads an export and verifies it. The error names the line.
func ReadTransfer(from io.Reader) (*Transfer, error) {
	t := &Transfer{Rules: map[string][]RuleFile{}, Jobs: map[string][][]byte{}, sums: map[string]string{}}
	lines := bufio.NewScanner(from)
	lines.Buffer(nil, mostLine)
	at := 0
	for lines.Scan() {
		at++
		if err := t.line(lines.Bytes()); err != nil {
			return nil, fmt.Errorf("line %d: %w", at, err)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, fmt.Errorf("line %d: %w", at+1, err)
	}
	if !t.ended {
		return nil, fmt.Errorf("line %d: the last line is missing: this export was cut short", at+1)
	}
	return t, nil
}

func (t *Transfer) line(text []byte) error {
	var l transferLine
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&l); err != nil {
		return fmt.Errorf("this is no line of an export: %w", err)
	}
	switch {
	case !t.started:
		if l.Coilside != transferKind || l.Version != transferVersion {
			return errors.New(`an export of jobs starts with {"coilside":"jobs","version":1}`)
		}
		t.started = true
		return nil
	case t.ended:
		return errors.New("there is more after the last line")
	case l.Rules != "" && l.RuleFile != nil:
		t.Rules[l.Rules] = append(t.Rules[l.Rules], *l.RuleFile)
		t.counted.RuleFiles++
		return nil
	case l.Job != "":
		return t.record(l)
	case l.End != nil:
		t.ended = true
		if *l.End != t.counted {
			return fmt.Errorf("this export should hold %d jobs, %d records and %d rule files; here are %d, %d and %d", l.End.Jobs, l.End.Records, l.End.RuleFiles,
				t.counted.Jobs, t.counted.Records, t.counted.RuleFiles)
		}
		return nil
	}
	return errors.New("this is no line of an export")
}

func (t *Transfer) record(l transferLine) error {
	if !ValidName(l.Job) {
		return fmt.Errorf("%q cannot name a job", l.Job)
	}
	before, known := t.sums[l.Job]
	if !known {
		before = l.Job
		t.counted.Jobs++
	}
	if want := len(t.Jobs[l.Job]) + 1; l.N != want {
		return fmt.Errorf("record %d of job %s comes where number %d should", l.N, l.Job, want)
	}
	if l.Sum != chain(before, l.N, l.Data) {
		return fmt.Errorf("record %d of job %s is damaged: its checksum does not match", l.N, l.Job)
	}
	t.Jobs[l.Job] = append(t.Jobs[l.Job], l.Data)
	t.sums[l.Job] = l.Sum
	t.counted.Records++
	return nil
}

// Imported says what an import did.
type Imported struct {
	Jobs, Records int
	Same          int // jobs that were here already, record for record
}

// Import takes over what an export holds, all in one transaction or nothing. A
// job that is here already, record for record, is passed over; one that differs
// is an error that names it.
func (d *Store) Import(t *Transfer) (done Imported, err error) {
	err = d.write(func(tx *sql.Tx) error {
		done = Imported{} // a transaction may be tried twice
		for _, hash := range slices.Sorted(maps.Keys(t.Rules)) {
			if err := insertRules(tx, hash, t.Rules[hash]); err != nil {
				return err
			}
		}
		for i, name := range slices.Sorted(maps.Keys(t.Jobs)) {
			d.progress(i, len(t.Jobs))
			same, err := d.importJob(tx, name, t.Jobs[name])
			if err != nil {
				return err
			}
			if same {
				done.Same++
				continue
			}
			done.Jobs, done.Records = done.Jobs+1, done.Records+len(t.Jobs[name])
		}
		return nil
	})
	if err != nil {
		return Imported{}, err
	}
	return done, nil
}

// Differs says that a job to be imported is here already with other records.
type Differs struct{ Job, File string }

func (e *Differs) Error() string {
	return fmt.Sprintf("job %s is in %s already and differs; nothing was imported", e.Job, e.File)
}

func (d *Store) importJob(tx *sql.Tx, name string, payloads [][]byte) (same bool, err error) {
	_, here, err := d.readJob(tx, row{name: name, sum: name})
	var damaged *Damaged
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return false, insertJob(tx, name, nil, payloads)
	case errors.As(err, &damaged):
		return false, fmt.Errorf("%w; nothing was imported", err)
	case err != nil:
		return false, err
	case !slices.EqualFunc(here, payloads, bytes.Equal):
		return false, &Differs{Job: name, File: d.path}
	}
	return true, nil
}
