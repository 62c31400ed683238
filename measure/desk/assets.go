package desk

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"net/http"
	"path"
)

// The page's own files hold no patient data and need no secret.

//go:embed page
var pageFiles embed.FS

// asset is one file of the page.
type asset struct {
	kind, tag string // media type; entity tag, by content
	data      []byte
}

// assets serves the page's files, each under its name, the page itself under /.
type assets map[string]asset

func newAssets() (assets, error) {
	all := assets{}
	err := fs.WalkDir(pageFiles, "page", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := pageFiles.ReadFile(name)
		sum := sha256.Sum256(data)
		all["/"+path.Base(name)] = asset{mediaType(name), `"` + hex.EncodeToString(sum[:16]) + `"`, data}
		return err
	})
	all["/"] = all["/index.html"]
	return all, err
}

// mediaType does not ask the machine, whose tables differ.
func mediaType(name string) string {
	switch path.Ext(name) {
	case ".js":
		return "text/javascript; charset=utf-8"
	case ".css":
		return "text/css; charset=utf-8"
	case ".html":
		return "text/html; charset=utf-8"
	}
	return "image/svg+xml"
}

func (a assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	f, ok := a[r.URL.Path]
	if !ok {
		http.Error(w, "not found", http.StatusNotFound)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Set("Cache-Control", "no-cache") // asked for each time, sent where it changed
	h.Set("ETag", f.tag)
	if r.Header.Get("If-None-Match") == f.tag {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(f.data)
}
