package page

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strings"
)

//go:embed html
var htmlFiles embed.FS

//go:embed static
var staticFiles embed.FS

// assets are script, style and icons. Their addresses carry a version, so that
// a browser keeps them for as long as they are the same.
type assets struct {
	version string
	files   map[string][]byte
}

func loadAssets() (*assets, error) {
	a := &assets{files: make(map[string][]byte)}
	all := sha256.New()
	err := fs.WalkDir(staticFiles, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := staticFiles.ReadFile(name)
		if err != nil {
			return err
		}
		a.files[path.Base(name)] = data
		_, err = all.Write(data)
		return err
	})
	a.version = hex.EncodeToString(all.Sum(nil)[:6])
	return a, err
}

// address of a file, with its version.
func (a *assets) address(name string) string { return "/static/" + a.version + "/" + name }

const keepForAYear = "max-age=31536000, immutable"

func (a *assets) serve(w http.ResponseWriter, r *http.Request) {
	version, name, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/static/"), "/")
	data, found := a.files[name]
	if !found || version != a.version {
		http.NotFound(w, r)
		return
	}
	w.Header().Set("Cache-Control", keepForAYear)
	w.Header().Set("Content-Type", mime.TypeByExtension(path.Ext(name)))
	_, _ = w.Write(data) // the client may be gone
}
