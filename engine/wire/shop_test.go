package wire_test

import (
	"io/fs"
	"testing/fstest"
)

// oneFile is a shop's rule folder with one file.
func oneFile(text string) fs.FS { return fstest.MapFS{"shop.yaml": {Data: []byte(text)}} }
