package rules

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Layer is one folder of rule files: a ruleset. FS is rooted in that folder.
type Layer struct {
	Name string // shown before file names in errors; often the folder's path
	FS   fs.FS
}

// maxFile bounds one rule file, in bytes.
const maxFile = 4 << 20

// Load reads every *.yaml and *.yml of the layers (folders named "cases" hold
// tests of rules, not rules, and are left out), lays later layers over earlier
// ones and checks the whole. On failure the error is an Errors that holds
// everything found wrong, or the error of reading a file.
func Load(layers ...Layer) (*Book, error) { return new(Loader).Load(layers...) }

func (kept *Loader) load(layers ...Layer) (*Book, error) {
	l := &loader{found: &problems{}, merged: newMerge(), kept: kept}
	for i, layer := range layers {
		if err := l.read(i, layer); err != nil {
			return nil, err
		}
	}
	if len(layers) == 0 {
		l.found.add(spot{}, CodeFile, "no rule folder was given", "")
	}
	if len(l.found.list) > 0 && l.broken {
		return nil, l.found.list.sorted()
	}
	book := l.merged.finish()
	if len(layers) > 0 {
		book.Name = layers[len(layers)-1].Name
	}
	book.Hash, book.sources = l.hash(), l.sources
	check(l.merged, l.found, kept)
	if len(l.found.list) > 0 {
		return nil, l.found.list.sorted()
	}
	return book, nil
}

type loader struct {
	found   *problems
	merged  *merge
	content []string // layer, file name and content hash, in order
	sources []SourceLayer
	broken  bool // a file is not YAML: checking names would only add noise
	kept    *Loader
}

func (l *loader) read(number int, layer Layer) error {
	names, err := ruleFiles(layer.FS)
	if err != nil {
		return fmt.Errorf("read rule folder %s: %w", layer.Name, err)
	}
	if len(names) == 0 {
		l.found.list = append(l.found.list, &Error{Pos: Pos{File: layer.Name}, Code: CodeFile,
			Message: "this folder holds no rule files", Hint: "rule files end in .yaml"})
		l.broken = true
	}
	l.merged.begin(number)
	source := SourceLayer{Name: layer.Name}
	for _, name := range names {
		data, err := fs.ReadFile(layer.FS, name)
		if err != nil {
			return fmt.Errorf("read rule file: %w", err)
		}
		sum := sha256.Sum256(data)
		l.content = append(l.content, fmt.Sprintf("%d %q %x\n", number, name, sum))
		source.Files = append(source.Files, SourceFile{Name: name, Data: data})
		l.file(fileKey{path.Join(layer.Name, name), sum}, data)
	}
	l.merged.endLayer()
	l.sources = append(l.sources, source)
	return nil
}

func ruleFiles(fsys fs.FS) ([]string, error) {
	var names []string
	err := fs.WalkDir(fsys, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == "cases":
			return fs.SkipDir
		case !d.IsDir() && (path.Ext(name) == ".yaml" || path.Ext(name) == ".yml"):
			names = append(names, name)
		}
		return nil
	})
	slices.Sort(names)
	return names, err
}

// hash is the SHA-256, in hex, over the layers' file names and contents.
func (l *loader) hash() string {
	sum := sha256.Sum256([]byte(strings.Join(l.content, "")))
	return hex.EncodeToString(sum[:])
}

func (l *loader) file(key fileKey, data []byte) {
	if len(data) > maxFile {
		l.found.list = append(l.found.list, &Error{Pos: Pos{File: key.name}, Code: CodeBudget,
			Message: fmt.Sprintf("this file is larger than %d MB", maxFile>>20), Hint: "split it"})
		l.broken = true
		return
	}
	if read, ok := l.kept.read(key); ok {
		r := &reader{problems: l.found, src: read.src}
		r.topLevel(read.doc.Content[0], l.merged)
		return
	}
	before := len(l.found.list)
	r := &reader{problems: l.found, src: newSource(key.name, data)}
	doc := l.parse(r, data)
	if doc == nil {
		l.broken = true
		return
	}
	x := &expander{reader: r}
	x.expand(doc, nil)
	if x.stuck {
		l.broken = true
		return
	}
	if len(l.found.list) == before {
		l.kept.files[key] = readFile{r.src, doc}
	}
	r.topLevel(doc.Content[0], l.merged)
}

// parse reads exactly one YAML document without aliases.
func (l *loader) parse(r *reader, data []byte) *yaml.Node {
	decoder := yaml.NewDecoder(bytes.NewReader(data))
	var doc, second yaml.Node
	err := decoder.Decode(&doc)
	if errors.Is(err, io.EOF) {
		r.add(spot{src: r.src, node: &yaml.Node{Line: 1, Column: 1}}, CodeFile, "this file is empty", "delete it, or write rules in it")
		return nil
	}
	if err != nil {
		r.syntax(err)
		return nil
	}
	if err := decoder.Decode(&second); !errors.Is(err, io.EOF) {
		if err != nil {
			r.syntax(err)
			return nil
		}
		r.add(spot{src: r.src, node: &yaml.Node{Line: second.Line, Column: 1}}, CodeSyntax,
			"this file holds a second YAML document", "remove the line ---, or make it a file of its own")
		return nil
	}
	var refused refused
	refused.look(&doc)
	switch {
	case refused.long != nil:
		r.fail(refused.long, CodeBudget, "", "this text has more than %d characters", maxScalar)
		return nil
	case refused.alias != nil:
		r.fail(refused.alias, CodeSyntax, "write the value out, or use `for`", "anchors and aliases (& and *) are not read here")
		return nil
	}
	return &doc
}

// maxScalar bounds one text of a rule file, in bytes.
const maxScalar = 20_000

// refused holds the first node of each kind that is YAML, but not for rule files.
type refused struct{ long, alias *yaml.Node }

func (f *refused) look(n *yaml.Node) {
	if len(n.Value) > maxScalar && f.long == nil {
		f.long = n
	}
	if (n.Kind == yaml.AliasNode || n.Anchor != "") && f.alias == nil {
		f.alias = n
	}
	for _, c := range n.Content {
		f.look(c)
	}
}

var yamlLine = regexp.MustCompile(`^(?:yaml: )?(?:line (\d+): )?`)

// syntax reports what the YAML parser refused.
func (r *reader) syntax(err error) {
	text := err.Error()
	m := yamlLine.FindStringSubmatch(text)
	line, _ := strconv.Atoi(m[1])
	message := "this is not readable as YAML: "
	if strings.HasPrefix(text[len(m[0]):], "did not find expected") {
		// The parser counts these from 0 and points at the start of the block.
		line++
		message = "what starts here is not readable as YAML: "
	}
	source := r.src.line(line)
	column := len(source) - len(strings.TrimLeft(source, " \t")) + 1
	hint := ""
	if strings.Contains(text, "expected ',' or") {
		hint = "close the bracket or brace; a text that holds , : # ? or a quote goes between \" and \""
	}
	if strings.Contains(source, "\t") {
		hint = "indent with spaces, not tabs"
	}
	r.add(spot{src: r.src, node: &yaml.Node{Line: max(line, 1), Column: column}}, CodeSyntax,
		message+text[len(m[0]):], hint)
}
