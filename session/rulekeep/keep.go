// Package rulekeep keeps rulebooks beside the jobs, by their content hash and as
// the files they were loaded from, so that a job can be replayed on the rules it
// was opened with however the rules have changed since.
package rulekeep

import (
	"fmt"
	"testing/fstest" // its map of files is the plainest file system there is

	"coilside/rules"
	"coilside/session/journal"
)

// Keep keeps the rulebook's files with the jobs, unless they are kept already.
func Keep(jobs *journal.Store, book *rules.Book) error {
	var files []journal.RuleFile
	for i, layer := range book.Sources() {
		for _, f := range layer.Files {
			files = append(files, journal.RuleFile{Layer: i, Name: layer.Name, File: f.Name, Content: f.Data})
		}
	}
	if err := jobs.KeepRules(book.Hash, files); err != nil {
		return fmt.Errorf("the rules cannot be kept: %w", err)
	}
	return nil
}

// Load reads back the rulebook of that content hash. It is an error
// (fs.ErrNotExist) if it is not kept, and another if what is kept is no longer
// what was written.
func Load(jobs *journal.Store, hash string) (*rules.Book, error) {
	files, err := jobs.Rules(hash)
	if err != nil {
		return nil, err
	}
	return Read(hash, files)
}

// Read makes the rulebook of that content hash from its files, by layer. It is an
// error if they do not give that hash.
func Read(hash string, files []journal.RuleFile) (*rules.Book, error) {
	var layers []rules.Layer
	var in fstest.MapFS // the last layer's files
	for _, f := range files {
		if f.Layer == len(layers) {
			in = fstest.MapFS{}
			layers = append(layers, rules.Layer{Name: f.Name, FS: in})
		}
		if f.Layer != len(layers)-1 { // they come by layer
			return nil, fmt.Errorf("the rules kept as %.12s were changed: layer %d is missing", hash, len(layers))
		}
		in[f.File] = &fstest.MapFile{Data: f.Content}
	}
	book, err := rules.Load(layers...)
	if err != nil {
		return nil, fmt.Errorf("the rules kept as %.12s cannot be used: %w", hash, err)
	}
	if book.Hash != hash {
		return nil, fmt.Errorf("the rules kept as %.12s were changed: they are now %.12s", hash, book.Hash)
	}
	return book, nil
}
