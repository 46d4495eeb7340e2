package ui

import (
	"bytes"
	"image"
	_ "image/png"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// luminance is the relative luminance of a colour #rrggbb (WCAG 2.2, its
// definitions, from memory).
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	v, err := strconv.ParseUint(strings.TrimPrefix(hex, "#"), 16, 32)
	if err != nil {
		t.Fatalf("%q is no colour", hex)
	}
	linear := func(c uint64) float64 {
		x := float64(c&0xff) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return 0.2126*linear(v>>16) + 0.7152*linear(v>>8) + 0.0722*linear(v)
}

// contrast is the contrast ratio of two colours, 1 to 21.
func contrast(t *testing.T, a, b string) float64 {
	x, y := luminance(t, a), luminance(t, b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// themes reads the colours of the style sheet, light and dark.
func themes(t *testing.T) map[string]map[string]string {
	css, err := os.ReadFile("static/app.css")
	if err != nil {
		t.Fatal(err)
	}
	blocks := regexp.MustCompile(`(?s):root \{(.*?)\}`).FindAllSubmatch(css, 2)
	out := map[string]map[string]string{}
	for i, name := range []string{"light", "dark"} {
		out[name] = map[string]string{}
		for _, m := range regexp.MustCompile(`--([a-z-]+): (#[0-9a-f]{6});`).FindAllSubmatch(blocks[i][1], -1) {
			out[name][string(m[1])] = string(m[2])
		}
	}
	return out
}

// TestContrast: text at least 4.5:1 (WCAG 2.2, 1.4.3), what must be seen of
// drawings and controls at least 3:1 (1.4.11).
func TestContrast(t *testing.T) {
	if got := contrast(t, "#ffffff", "#000000"); math.Abs(got-21) > 1e-9 {
		t.Fatalf("white on black is %v, WCAG says 21", got)
	}
	if got := contrast(t, "#777777", "#ffffff"); math.Abs(got-4.48) > 0.005 { // the well-known grey that just fails
		t.Fatalf("#777 on white is %v, want 4.48", got)
	}
	pairs := []struct {
		front, back string
		least       float64
	}{
		{"ink", "paper", 4.5}, {"ink", "card", 4.5}, {"ink", "own-wash", 4.5}, {"soft", "paper", 4.5}, {"soft", "card", 4.5},
		{"soft", "own-wash", 4.5}, {"own", "paper", 4.5}, {"own", "own-wash", 4.5}, {"on-own", "own", 4.5}, {"paper", "ink", 4.5},
		{"bar", "paper", 3}, {"own-bar", "paper", 3}, {"own-bar", "own-wash", 3}, {"edge", "paper", 3}, {"edge", "card", 3},
	}
	for name, colours := range themes(t) {
		for _, p := range pairs {
			front, back := colours[p.front], colours[p.back]
			if front == "" || back == "" {
				t.Errorf("%s: no colour for %s on %s", name, p.front, p.back)
				continue
			}
			if got := contrast(t, front, back); got < p.least {
				t.Errorf("%s: %s on %s has %.2f:1, needs %v:1", name, p.front, p.back, got, p.least)
			}
		}
	}
}

func TestIcons(t *testing.T) {
	for name, size := range map[string]int{"icon-192.png": 192, "icon-512.png": 512, "touch-180.png": 180, "badge-96.png": 96} {
		img, kind, err := image.Decode(bytes.NewReader(drawnIcons()[name]))
		if err != nil || kind != "png" || img.Bounds().Dx() != size || img.Bounds().Dy() != size {
			t.Errorf("%s: %v %v", name, kind, err)
		}
	}
}

// TestNothingComesFromElsewhere: pages and assets name no other server.
func TestNothingComesFromElsewhere(t *testing.T) {
	for name, file := range mustAssets(t).files {
		if regexp.MustCompile(`(https?:)?//[a-z0-9.-]+\.[a-z]+`).Match(file.plain) || bytes.Contains(file.plain, []byte("@import")) {
			t.Errorf("%s names another server", name)
		}
	}
}

func mustAssets(t *testing.T) *assets {
	t.Helper()
	a, err := loadAssets()
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// TestFirstViewIsSmall: the room, its style and script in all, compressed.
func TestFirstViewIsSmall(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	total := 0
	for _, path := range []string{"/r/cellar", "/static/" + s.assets.sum + "/app.css", "/static/" + s.assets.sum + "/app.js", "/icons/icon-192.png", "/manifest.webmanifest"} {
		a := get(path)
		a.header = map[string][]string{"Accept-Encoding": {"gzip"}}
		total += a.of(s).Body.Len()
	}
	if total > 40<<10 {
		t.Errorf("%d bytes, want at most 40 KB", total)
	}
	t.Logf("%d bytes in five requests", total)
}
