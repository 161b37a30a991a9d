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
func (d *Store) KeepRules(hash string, files []RuleFile) error {
	var kept bool
	err := d.read(func() error {
		return d.db.QueryRow("SELECT EXISTS (SELECT 1 FROM rules WHERE hash = $1)", hash).Scan(&kept)
	})
	if err != nil || kept {
		return err
	}
	return d.write(func(tx *sql.Tx) error { return insertRules(tx, hash, files) })
}

func insertRules(tx *sql.Tx, hash string, files []RuleFile) error {
	for _, f := range files {
		if _, err := tx.Exec("INSERT INTO rules (hash, layer, name, file, content) VALUES ($1, $2, $3, $4, $5) ON CONFLICT DO NOTHING",
			hash, f.Layer, f.Name, f.File, nonNil(f.Content)); err != nil {
			return err
		}
	}
	return nil
}

// Rules gives the files kept under a content hash, by layer and name. It is an
// error (fs.ErrNotExist) if there are none. That they still give that hash is for the
// caller to check.
func (d *Store) Rules(hash string) (files []RuleFile, err error) {
	err = d.view(func(tx *sql.Tx) error {
		files = nil
		rows, err := tx.Query("SELECT layer, name, file, content FROM rules WHERE hash = $1 ORDER BY layer, file", hash)
		if err != nil {
			return err
		}
		return eachRow(rows, func(rows *sql.Rows) error {
			var f RuleFile
			err := rows.Scan(&f.Layer, &f.Name, &f.File, &f.Content)
			f.Content = nonNil(f.Content)
			files = append(files, f)
			return err
		})
	})
	if err == nil && len(files) == 0 {
		err = fmt.Errorf("no rules are kept as %s: %w", hash, fs.ErrNotExist)
	}
	return files, err
}

// RuleHashes lists the content hashes that rules are kept under, sorted.
func (d *Store) RuleHashes() (hashes []string, err error) {
	err = d.view(func(tx *sql.Tx) error {
		hashes = nil
		rows, err := tx.Query("SELECT DISTINCT hash FROM rules ORDER BY hash")
		if err != nil {
			return err
		}
		return eachRow(rows, func(rows *sql.Rows) error {
			var h string
			err := rows.Scan(&h)
			hashes = append(hashes, h)
			return err
		})
	})
	return hashes, err
}
