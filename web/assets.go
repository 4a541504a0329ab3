package web

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
	"sync"

	"padlark/flight/phrase"
	"padlark/storage/report/chart"
)

//go:embed static templates api
var files embed.FS

// assets are the files that a browser loads, ready to send. All of them live
// under one version, made from everything there is: a browser may keep them for
// ever, and the modules' imports of each other need no rewriting.
type assets struct {
	version string
	files   map[string]asset
}

type asset struct {
	kind  string
	plain []byte
	// gzip packs it when it is first asked for: a start has nobody to wait for that,
	// and all of them take longer than the rest of it.
	gzip func() []byte
}

func loadAssets() (*assets, error) {
	a := &assets{files: map[string]asset{}}
	sum := sha256.New()
	err := fs.WalkDir(files, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		body, err := files.ReadFile(name)
		if err != nil {
			return err
		}
		if name == "static/page.css" {
			body = append([]byte(chart.Variables()), body...)
		}
		kind := mime.TypeByExtension(path.Ext(name))
		switch path.Ext(name) { // the system's own table may differ
		case ".js":
			kind = "text/javascript; charset=utf-8"
		case ".css":
			kind = "text/css; charset=utf-8"
		case ".png":
			kind = "image/png"
		case ".svg":
			kind = "image/svg+xml"
		}
		fmt.Fprintf(sum, "%s %d\n", name, len(body))
		_, _ = sum.Write(body) // a hash takes everything
		a.files[strings.TrimPrefix(name, "static/")] = asset{kind: kind, plain: body, gzip: sync.OnceValue(func() []byte { return squeeze(body) })}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("load embedded files: %w", err)
	}
	for _, l := range phrase.Languages() {
		body := append([]byte("globalThis.padlarkTexts = "), encode(phrase.Texts(l))...)
		_, _ = sum.Write(body)
		a.files[textsFile(l)] = asset{kind: "text/javascript; charset=utf-8", plain: body, gzip: sync.OnceValue(func() []byte { return squeeze(body) })}
	}
	a.version = hex.EncodeToString(sum.Sum(nil)[:6])
	return a, nil
}

// textsFile is the name of the script with the texts of a language.
func textsFile(l phrase.Language) string { return "texts." + string(l) + ".js" }

// path is where the pages link to a file.
func (a *assets) path(name string) (string, error) {
	if _, ok := a.files[name]; !ok {
		return "", fmt.Errorf("link file %q: it is not embedded", name)
	}
	return "/static/" + a.version + "/" + name, nil
}

func (s *Server) serveAsset(w http.ResponseWriter, r *http.Request) error {
	name := r.PathValue("file")
	f, ok := s.assets.files[name]
	if !ok {
		return notFound("file", name, "load the page again")
	}
	h := w.Header()
	h.Set("Content-Type", f.kind)
	h.Add("Vary", "Accept-Encoding")
	h.Set("Cache-Control", "no-cache") // a page from before an update may ask for an old version
	if r.PathValue("version") == s.assets.version {
		h.Set("Cache-Control", "public, max-age=31536000, immutable")
	}
	body := f.plain
	if acceptsGzip(r) {
		if packed := f.gzip(); len(packed) < len(body) {
			h.Set("Content-Encoding", "gzip")
			body = packed
		}
	}
	h.Set("Content-Length", fmt.Sprint(len(body)))
	_, _ = w.Write(body) // the viewer may be gone
	return nil
}
