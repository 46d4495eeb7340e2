package ui

import (
	"bytes"
	"encoding/json"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"net/http"
	"sync"

	"github.com/labstack/echo/v4"
)

// The icon is the board in small: three rows on a time axis, the middle one
// marked as yours.
var (
	iconInk   = color.NRGBA{0x1b, 0x26, 0x33, 0xff}
	iconPaper = color.NRGBA{0xfb, 0xf8, 0xf2, 0xff}
	iconOwn   = color.NRGBA{0xf0, 0xa4, 0x3c, 0xff}
)

// drawnIcons is every icon, by file name, drawn once.
var drawnIcons = sync.OnceValue(func() map[string][]byte {
	return map[string][]byte{
		"icon-192.png":  drawIcon(192, iconInk, iconPaper, iconOwn),
		"icon-512.png":  drawIcon(512, iconInk, iconPaper, iconOwn),
		"touch-180.png": drawIcon(180, iconInk, iconPaper, iconOwn),
		"badge-96.png":  drawIcon(96, color.NRGBA{}, iconPaper, iconPaper),
	}
})

// drawIcon fills a square whose outer fifth may be cut off by a mask.
func drawIcon(size int, ground, bar, own color.NRGBA) []byte {
	img := image.NewNRGBA(image.Rect(0, 0, size, size))
	fill := func(x, y, w, h float64, c color.NRGBA) {
		f := float64(size)
		r := image.Rect(int(x*f), int(y*f), int((x+w)*f), int((y+h)*f))
		draw.Draw(img, r, image.NewUniform(c), image.Point{}, draw.Src)
	}
	fill(0, 0, 1, 1, ground)
	fill(0.22, 0.20, 0.035, 0.60, bar) // now
	fill(0.22, 0.25, 0.34, 0.125, bar)
	fill(0.22, 0.4375, 0.55, 0.125, own)
	fill(0.22, 0.625, 0.20, 0.125, bar)
	var buf bytes.Buffer
	_ = png.Encode(&buf, img) // a buffer takes all
	return buf.Bytes()
}

// icon serves one of them.
func (s *Server) icon(c echo.Context) error {
	data, ok := drawnIcons()[c.Param("file")]
	if !ok {
		return echo.ErrNotFound
	}
	c.Response().Header().Set("Cache-Control", "public, max-age=86400")
	return c.Blob(http.StatusOK, "image/png", data)
}

// manifest makes the pages installable.
func (s *Server) manifest(c echo.Context) error {
	type icon struct {
		Src     string `json:"src"`
		Sizes   string `json:"sizes"`
		Type    string `json:"type"`
		Purpose string `json:"purpose,omitempty"`
	}
	c.Response().Header().Set("Cache-Control", "no-cache")
	data, err := json.Marshal(map[string]any{
		"id": s.base + "/", "name": "Laundry · " + s.o.Building, "short_name": "Laundry",
		"start_url": s.base + "/", "scope": s.base + "/", "display": "standalone",
		"background_color": "#fbf8f2", "theme_color": "#1b2633",
		"icons": []icon{
			{s.base + "/icons/icon-192.png", "192x192", "image/png", ""},
			{s.base + "/icons/icon-512.png", "512x512", "image/png", ""},
			{s.base + "/icons/icon-512.png", "512x512", "image/png", "maskable"},
		},
	})
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "application/manifest+json", data)
}
