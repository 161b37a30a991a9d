package journal

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
)

// The transfer format is text, one JSON object a line, in this order:
//
//	{"coilside":"jobs","version":1}
//	{"rules":"HASH","layer":0,"name":"relay","file":"coil.yaml","content":"BASE64"}
//	{"job":"NAME","n":1,"sum":"SUM","data":{…}}
//	{"end":{"jobs":1,"records":1,"rule_files":1}}
//
// There is a line for every file of the rulebooks that the folder keeps, rulebook after
// rulebook, and one for every record of every job, job after job. HASH is a rulebook's content hash. SUM is the SHA-256, in hex, of the sum
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

// BadTransfer says what is wrong with an export that was to be read.
type BadTransfer struct {
	Line    int // from 1
	Problem string
}

func (e *BadTransfer) Error() string { return fmt.Sprintf("line %d: %s", e.Line, e.Problem) }

// taker is handed what an export holds, as it is read.
type taker interface {
	rules(hash string, files []RuleFile) error // all files of one rulebook
	record(e *entry) error                     // of the job handed in last, or the first of the next
	jobEnds(last row) error                    // after its last record
}

// transfer is an export that is being read. It holds one rulebook, or one record, at a time.
type transfer struct {
	to      taker
	sound   func(hash string, files []RuleFile) error // what is wrong with a rulebook; nil = nobody looks
	at      int                                       // lines
	started bool
	ended   bool
	counted counts
	hash    string // of the rulebook whose files are being read; "" = none
	hashAt  int    // its first line
	files   []RuleFile
	job     row // as far as its records were read; no name = none
}

// read reads an export, verifies it and hands on what it holds. The errors are a
// *BadTransfer, or come from the taker.
func (t *transfer) read(from io.Reader) error {
	lines := bufio.NewScanner(from)
	lines.Buffer(nil, mostLine)
	for lines.Scan() {
		t.at++
		if err := t.line(lines.Bytes()); err != nil {
			return err
		}
	}
	t.at++
	if err := lines.Err(); err != nil {
		return t.bad("%v", err)
	}
	if !t.ended {
		return t.bad("the last line is missing: this export was cut short")
	}
	return nil
}

func (t *transfer) bad(format string, args ...any) error {
	return &BadTransfer{Line: t.at, Problem: fmt.Sprintf(format, args...)}
}

func (t *transfer) line(text []byte) error {
	var l transferLine
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&l); err != nil {
		return t.bad("this is no line of an export: %v", err)
	}
	switch {
	case !t.started:
		if l.Coilside != transferKind || l.Version != transferVersion {
			return t.bad(`an export of jobs starts with {"coilside":"jobs","version":1}`)
		}
		t.started = true
		return nil
	case t.ended:
		return t.bad("there is more after the last line")
	case l.Rules != "" && l.RuleFile != nil:
		return t.ruleFile(l.Rules, *l.RuleFile)
	case l.Job != "":
		return t.record(l)
	case l.End != nil:
		return t.end(*l.End)
	}
	return t.bad("this is no line of an export")
}

func (t *transfer) ruleFile(hash string, f RuleFile) error {
	if hash != t.hash {
		if err := t.rulesEnd(); err != nil {
			return err
		}
		t.hash, t.hashAt = hash, t.at
	}
	t.files = append(t.files, f)
	t.counted.RuleFiles++
	return nil
}

// rulesEnd hands on the rulebook whose files were read, if there is one.
func (t *transfer) rulesEnd() error {
	if t.hash == "" {
		return nil
	}
	hash, files := t.hash, t.files
	t.hash, t.files = "", nil
	if t.sound != nil {
		if err := t.sound(hash, files); err != nil {
			return &BadTransfer{Line: t.hashAt, Problem: err.Error()}
		}
	}
	return t.to.rules(hash, files)
}

func (t *transfer) record(l transferLine) error {
	if !ValidName(l.Job) {
		return t.bad("%q cannot name a job", l.Job)
	}
	if err := t.rulesEnd(); err != nil {
		return err
	}
	if l.Job != t.job.name {
		if err := t.jobEnds(); err != nil {
			return err
		}
		t.job = row{name: l.Job, sum: l.Job}
		t.counted.Jobs++
	}
	switch want := t.job.records + 1; {
	case l.N != want:
		return t.bad("record %d of job %s comes where number %d should", l.N, l.Job, want)
	case l.Sum != chain(t.job.sum, l.N, l.Data):
		return t.bad("record %d of job %s is damaged: its checksum does not match", l.N, l.Job)
	}
	t.job.records, t.job.sum = l.N, l.Sum
	t.counted.Records++
	return t.to.record(&entry{row: t.job, data: l.Data})
}

func (t *transfer) jobEnds() error {
	if t.job.name == "" {
		return nil
	}
	last := t.job
	t.job = row{}
	return t.to.jobEnds(last)
}

func (t *transfer) end(said counts) error {
	t.ended = true
	if said != t.counted {
		return t.bad("this export should hold %d jobs, %d records and %d rule files; here are %d, %d and %d", said.Jobs, said.Records, said.RuleFiles,
			t.counted.Jobs, t.counted.Records, t.counted.RuleFiles)
	}
	if err := t.rulesEnd(); err != nil {
		return err
	}
	return t.jobEnds()
}
