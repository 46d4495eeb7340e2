package tracestory

import (
	"bytes"
	"fmt"
	"html"
	"os"
	"path/filepath"
	"time"
)

// Measures of the drawing, px.
const (
	drawWidth  = 1200
	drawLeft   = 60
	drawRight  = 20
	drawHead   = 66
	plotWidth  = drawWidth - drawLeft - drawRight
	stripAbove = 42
	stripBelow = 26
)

const svgStyle = `
:root { --paper: #fdfcf9; --ink: #22252b; --soft: #5f646d; --grid: #e2dfd6; --power: #1f4e79; --run: #c08a1e; }
@media (prefers-color-scheme: dark) {
  :root { --paper: #16181c; --ink: #e9e7e2; --soft: #a3a7af; --grid: #2d3137; --power: #8ec1ea; --run: #e0b457; }
}
text { font: 12px system-ui, sans-serif; fill: var(--soft); }
.title { font-size: 17px; font-weight: 600; fill: var(--ink); }
.day, .name { fill: var(--ink); }
.day { font-weight: 600; }
.paper { fill: var(--paper); }
.grid { stroke: var(--grid); }
.axis { stroke: var(--soft); }
.run { fill: var(--run); fill-opacity: .2; }
.edge { fill: var(--run); }
.told { stroke: var(--run); stroke-width: 1.5; stroke-dasharray: 3 3; }
.area { fill: var(--power); fill-opacity: .15; }
.power { fill: none; stroke: var(--power); stroke-width: 1.1; stroke-linejoin: round; }
.hatch { stroke: var(--soft); stroke-opacity: .45; }
.silent { fill: url(#silent); }
`

// canvas is a drawing under way.
type canvas struct {
	bytes.Buffer
	story *story
	gap   time.Duration
	watts scale
	// plotHeight is that of one strip's plot, px.
	plotHeight float64
}

func (c *canvas) put(format string, args ...any) { fmt.Fprintf(c, format+"\n", args...) }

// writeSVG draws the power with the found cycles into a file, whole or not at all.
func writeSVG(path string, s *story, gap time.Duration) error {
	part, err := os.CreateTemp(filepath.Dir(path), ".drawing-*.svg")
	if err != nil {
		return err
	}
	defer os.Remove(part.Name())
	_, err = part.Write(drawSVG(s, gap))
	if e := part.Chmod(0o644); err == nil {
		err = e
	}
	if e := part.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	return os.Rename(part.Name(), path)
}

// drawSVG draws one strip for a recording of a day and a half at most, or one
// for each day with a cycle.
func drawSVG(s *story, gap time.Duration) []byte {
	strips, note := s.strips()
	c := &canvas{story: s, gap: gap, plotHeight: 90}
	if len(strips) == 1 {
		c.plotHeight = 300
	}
	c.watts = niceScale(max(s.peakW, 10), max(3, int(c.plotHeight/50)))
	height := drawHead + float64(len(strips))*(stripAbove+c.plotHeight+stripBelow) + 10
	c.head(height, note)
	for i, p := range strips {
		c.strip(p, drawHead+float64(i)*(stripAbove+c.plotHeight+stripBelow)+stripAbove)
	}
	c.put("</svg>")
	return c.Bytes()
}

// head writes what stands above the strips.
func (c *canvas) head(height float64, note string) {
	s := c.story
	title := html.EscapeString(fmt.Sprintf("%s, %s: %s", s.name, s.kind, count(len(s.runs), "cycle", "cycles")))
	c.put(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %.0f" width="%d" height="%.0f" role="img" aria-labelledby="t d">`,
		drawWidth, height, drawWidth, height)
	c.put(`<title id="t">%s</title>`, title)
	c.put(`<desc id="d">Power over time, with the cycles that were found marked.</desc>`)
	c.put(`<style>%s</style>`, svgStyle)
	c.put(`<defs><pattern id="silent" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch" d="M0 0V7"/></pattern></defs>`)
	c.put(`<rect class="paper" width="100%%" height="100%%"/>`)
	c.put(`<text class="title" x="%d" y="28">%s</text>`, drawLeft, title)
	c.put(`<g transform="translate(%d 42)"><rect class="run" width="22" height="13"/><rect class="edge" width="22" height="3"/>`+
		`<text x="28" y="11">a cycle, from its start to its end</text>`+
		`<path class="told" d="M245 0V13"/><text x="253" y="11">when its end was told</text>`+
		`<rect class="silent" x="400" width="22" height="13"/><text x="428" y="11">no word from the meter</text>`+
		`<text x="590" y="11">%s</text></g>`, drawLeft, html.EscapeString(note))
}
