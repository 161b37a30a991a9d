// Package rulekeep keeps rulebooks in a folder by their content hash, as the files
// they were loaded from, so that a job can be replayed on the rules it was
// opened with however the rules have changed since.
package rulekeep

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"

	"coilside/rules"
)

// Folder is a folder of kept rulebooks: one folder a content hash, in it the
// layers 0, 1, … with their files, and their names in layers.json.
type Folder struct{ path string }

// OpenFolder opens the folder at path and makes it, readable by its owner only,
// if it does not exist.
func OpenFolder(path string) (*Folder, error) {
	if err := os.MkdirAll(path, 0o700); err != nil {
		return nil, fmt.Errorf("the folder for rules in use cannot be made: %w", err)
	}
	return &Folder{path: path}, nil
}

const layersFile = "layers.json"

// Keep writes the rulebook's files, unless they are kept already. The folder
// appears whole or not at all.
func (d *Folder) Keep(book *rules.Book) error {
	to := filepath.Join(d.path, book.Hash)
	if _, err := os.Stat(filepath.Join(to, layersFile)); err == nil {
		return nil
	}
	making, err := os.MkdirTemp(d.path, "making-")
	if err != nil {
		return fmt.Errorf("the rules cannot be kept: %w", err)
	}
	defer os.RemoveAll(making) // gone already where all went well
	if err := write(making, book); err != nil {
		return fmt.Errorf("the rules cannot be kept: %w", err)
	}
	if err := os.Rename(making, to); err != nil {
		if _, there := os.Stat(filepath.Join(to, layersFile)); there == nil {
			return nil // another program kept them meanwhile
		}
		return fmt.Errorf("the rules cannot be kept: %w", err)
	}
	return syncFolder(d.path)
}

func write(folder string, book *rules.Book) error {
	var names []string
	for i, layer := range book.Sources() {
		names = append(names, layer.Name)
		for _, f := range layer.Files {
			path := filepath.Join(folder, strconv.Itoa(i), filepath.FromSlash(f.Name))
			if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
				return err
			}
			if err := writeFile(path, f.Data); err != nil {
				return err
			}
		}
	}
	list, err := json.Marshal(names)
	if err != nil {
		return err
	}
	return writeFile(filepath.Join(folder, layersFile), list)
}

func writeFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Sync(), f.Close())
}

func syncFolder(path string) error {
	d, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// Load reads back the rulebook of that content hash. It is an error
// (fs.ErrNotExist) if it is not kept, and another if what is kept is no longer
// what was written.
func (d *Folder) Load(hash string) (*rules.Book, error) {
	if !validHash(hash) {
		return nil, fmt.Errorf("%q is no content hash: %w", hash, fs.ErrNotExist)
	}
	folder := filepath.Join(d.path, hash)
	list, err := os.ReadFile(filepath.Join(folder, layersFile))
	if err != nil {
		return nil, err
	}
	var names []string
	if err := json.Unmarshal(list, &names); err != nil {
		return nil, fmt.Errorf("the rules kept as %s cannot be read: %w", hash[:12], err)
	}
	layers := make([]rules.Layer, len(names))
	for i, name := range names {
		layers[i] = rules.Layer{Name: name, FS: os.DirFS(filepath.Join(folder, strconv.Itoa(i)))}
	}
	book, err := rules.Load(layers...)
	if err != nil {
		return nil, fmt.Errorf("the rules kept as %s cannot be used: %w", hash[:12], err)
	}
	if book.Hash != hash {
		return nil, fmt.Errorf("the rules kept as %s were changed: they are now %s", hash[:12], book.Hash[:12])
	}
	return book, nil
}

// validHash keeps a hash from leading out of the folder.
func validHash(hash string) bool {
	if len(hash) != 64 {
		return false
	}
	for _, r := range hash {
		if (r < '0' || r > '9') && (r < 'a' || r > 'f') {
			return false
		}
	}
	return true
}
