package journal

import (
	"database/sql"
	"fmt"
	"io/fs"
)

// RuleFile is one file of a rulebook that jobs were made with.
type RuleFile struct {
	Layer   int    `json:"layer"` // from 0; later ones are laid over earlier ones
	Name    string `json:"name"`  // of the layer
	File    string `json:"file"`  // path in the layer, with slashes
	Content []byte `json:"content"`
}

// KeepRules keeps the files of a rulebook under its content hash; they are on disk when
// it returns. Files kept under that hash already stay as they are.
func (d *Folder) KeepRules(hash string, files []RuleFile) error {
	var kept bool
	if err := d.db.QueryRow("SELECT EXISTS (SELECT 1 FROM rules WHERE hash = ?)", hash).Scan(&kept); err != nil {
		return inFile(d.path, err)
	}
	if kept {
		return nil
	}
	return d.write(func(tx *sql.Tx) error { return insertRules(tx, hash, files) })
}

func insertRules(tx *sql.Tx, hash string, files []RuleFile) error {
	for _, f := range files {
		if _, err := tx.Exec("INSERT INTO rules (hash, layer, name, file, content) VALUES (?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
			hash, f.Layer, f.Name, f.File, nonNil(f.Content)); err != nil {
			return err
		}
	}
	return nil
}

// Rules gives the files kept under a content hash, by layer and name. It is an
// error (fs.ErrNotExist) if there are none. That they still give that hash is for the
// caller to check.
func (d *Folder) Rules(hash string) ([]RuleFile, error) {
	rows, err := d.db.Query("SELECT layer, name, file, content FROM rules WHERE hash = ? ORDER BY layer, file", hash)
	if err != nil {
		return nil, inFile(d.path, err)
	}
	defer rows.Close()
	var files []RuleFile
	for rows.Next() {
		var f RuleFile
		if err := rows.Scan(&f.Layer, &f.Name, &f.File, &f.Content); err != nil {
			return nil, inFile(d.path, err)
		}
		f.Content = nonNil(f.Content)
		files = append(files, f)
	}
	if err := rows.Err(); err != nil {
		return nil, inFile(d.path, err)
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("no rules are kept as %s: %w", hash, fs.ErrNotExist)
	}
	return files, nil
}

// RuleHashes lists the content hashes that rules are kept under, sorted.
func (d *Folder) RuleHashes() ([]string, error) {
	rows, err := d.db.Query("SELECT DISTINCT hash FROM rules ORDER BY hash")
	if err != nil {
		return nil, inFile(d.path, err)
	}
	defer rows.Close()
	var hashes []string
	for rows.Next() {
		var h string
		if err := rows.Scan(&h); err != nil {
			return nil, inFile(d.path, err)
		}
		hashes = append(hashes, h)
	}
	return hashes, inFile(d.path, rows.Err())
}
