// Package page is the screen that the service shows to a browser: files, written by
// hand, that use the same calls as any other program. It knows nothing of their
// meaning.
package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
	"strconv"
	"strings"
)

//go:embed files
var files embed.FS

// Path is where the page's files are; the page itself is at /.
const Path = "/page/"

// file is one file of the page as it is sent.
type file struct {
	kind         string
	plain, small []byte // small is gzipped
	mark         string // of this content
}

// kinds are the media types of the files. Go's own table asks the machine it runs on.
var kinds = map[string]string{
	".html": "text/html; charset=utf-8", ".css": "text/css; charset=utf-8",
	".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml",
}

// Handler serves the page at / and its files below Path.
func Handler() http.Handler {
	all := read()
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		name := strings.TrimPrefix(r.URL.Path, Path)
		if r.URL.Path == "/" {
			name = "index.html"
		}
		f, ok := all[name]
		if !ok {
			http.NotFound(w, r)
			return
		}
		f.serve(w, r)
	})
}

// read takes the files out of the program. They are part of it, so that one which
// can't be read is a fault of the build.
func read() map[string]file {
	all := map[string]file{}
	entries, err := fs.ReadDir(files, "files")
	if err != nil {
		panic(err)
	}
	for _, e := range entries {
		content, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			panic(err)
		}
		sum := sha256.Sum256(content)
		all[e.Name()] = file{kinds[path.Ext(e.Name())], content, zipped(content), `"` + hex.EncodeToString(sum[:12]) + `"`}
	}
	return all
}

func zipped(content []byte) []byte {
	var out bytes.Buffer
	w, _ := gzip.NewWriterLevel(&out, gzip.BestCompression) // the level is one there is
	_, _ = w.Write(content)                                 // a buffer takes all
	_ = w.Close()
	return out.Bytes()
}

func (f *file) serve(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	Protect(h, r.Host)
	h.Set("Cache-Control", "no-cache") // kept, and asked about each time: a new version shows at once
	h.Set("ETag", f.mark)
	h.Set("Vary", "Accept-Encoding")
	if r.Header.Get("If-None-Match") == f.mark {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := f.plain
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		body = f.small
		h.Set("Content-Encoding", "gzip")
	}
	h.Set("Content-Type", f.kind)
	h.Set("Content-Length", strconv.Itoa(len(body)))
	if r.Method != http.MethodHead {
		_, _ = w.Write(body)
	}
}

// Protect sets what a browser is to hold a page of this service to: nothing from
// elsewhere, nothing inline, no frame around it. Host is the name it is asked by;
// some browsers do not count a WebSocket to it as its own.
func Protect(h http.Header, host string) {
	h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self' ws://"+host+" wss://"+host+
		"; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types coilside-markup")
	h.Set("Permissions-Policy", "microphone=(self), camera=(), geolocation=()")
	h.Set("Cross-Origin-Opener-Policy", "same-origin")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	h.Set("Referrer-Policy", "no-referrer")
}
