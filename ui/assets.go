package ui

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"strconv"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"
)

//go:embed static/app.css static/sheet.css static/chart.css static/rules.css static/wall.css static/app.js static/wall.js static/touch.js static/sw.js static/passkey.js
var staticFiles embed.FS

// asset is one file as it is sent.
type assetFile struct {
	kind          string // media type
	plain, zipped []byte
}

// assets are the files under static, under one checksum over all of them: an
// address never changes its content, so browsers may keep it for ever.
type assets struct {
	sum   string
	files map[string]assetFile
}

// loadAssets reads and compresses them once.
var loadAssets = sync.OnceValues(func() (*assets, error) {
	a := &assets{files: map[string]assetFile{}}
	all := sha256.New()
	err := fs.WalkDir(staticFiles, "static", func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := staticFiles.ReadFile(name)
		if err != nil {
			return err
		}
		fmt.Fprintf(all, "%s %d\n", name, len(data))
		all.Write(data)
		a.files[path.Base(name)] = assetFile{kind: typeOf(name), plain: data, zipped: zip(data)}
		return nil
	})
	a.sum = hex.EncodeToString(all.Sum(nil))[:16]
	return a, err
})

// typeOf is fixed for what we have: the system's table may differ.
func typeOf(name string) string {
	switch path.Ext(name) {
	case ".css":
		return "text/css; charset=utf-8"
	case ".js":
		return "text/javascript; charset=utf-8"
	default:
		return mime.TypeByExtension(path.Ext(name))
	}
}

func zip(data []byte) []byte {
	var buf bytes.Buffer
	w, _ := gzip.NewWriterLevel(&buf, gzip.BestCompression) // the level is valid
	_, _ = w.Write(data)                                    // a buffer takes all
	_ = w.Close()
	return buf.Bytes()
}

// asset serves a file of the current checksum. Names are looked up, never
// joined to a path.
func (s *Server) asset(c echo.Context) error {
	file, ok := s.assets.files[c.Param("file")]
	if !ok || c.Param("sum") != s.assets.sum {
		return echo.ErrNotFound
	}
	c.Response().Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	return sendFile(c, file)
}

// varies and zipped are headers' values, shared by all answers.
var varies, zipped = []string{"Accept-Encoding"}, []string{"gzip"}

func sendFile(c echo.Context, file assetFile) error {
	h, data := c.Response().Header(), file.plain
	h["Vary"] = varies
	if strings.Contains(c.Request().Header.Get("Accept-Encoding"), "gzip") {
		h["Content-Encoding"], data = zipped, file.zipped
	}
	// With its length an answer needs no chunks.
	h.Set("Content-Length", strconv.Itoa(len(data)))
	return c.Blob(http.StatusOK, file.kind, data)
}

// serviceWorker is served from the top, or it could not look after all pages.
// The checksum is written into it: whatever file changes, the worker does, and
// browsers then fetch and start it anew.
func (s *Server) serviceWorker(c echo.Context) error {
	c.Response().Header().Set("Cache-Control", "no-cache")
	return sendFile(c, s.assets.worker())
}

// worker is the service worker's file with the checksum before it.
func (a *assets) worker() assetFile {
	file := a.files["sw.js"]
	file.plain = append([]byte("self.sum = '"+a.sum+"';\n"), file.plain...)
	file.zipped = zip(file.plain)
	return file
}

// offlinePage is what the worker shows where there is no connection and no
// page was kept. It is the same for everybody who asks.
func (s *Server) offlinePage(c echo.Context) error {
	return s.render(c, http.StatusOK, "offline", nil)
}

// pushKey is the key that a subscription must be made with.
func (s *Server) pushKey(c echo.Context) error {
	c.Response().Header().Set("Cache-Control", "no-cache")
	if s.o.VAPIDKey == "" {
		return echo.ErrNotFound
	}
	return c.String(http.StatusOK, s.o.VAPIDKey)
}
