// Package rulesets holds the shipped knowledge as files a technician can read,
// and their embedding. It holds data only.
package rulesets

import (
	"embed"
	"io/fs"
)

//go:embed relay
var files embed.FS

// Relay returns the shipped knowledge about relay-controlled circuits, rooted at
// its folder of YAML files.
func Relay() fs.FS {
	sub, err := fs.Sub(files, "relay")
	if err != nil {
		panic(err) // the path is fixed at compile time
	}
	return sub
}
