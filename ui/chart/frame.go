package chart

import "math"

// Size is one of the sizes at which a chart is drawn, in CSS pixels.
type Size struct {
	name          string
	width, height float64
}

// Wide is for desks, tablets and paper, Narrow for phones.
var (
	Wide   = Size{"wide", 840, 260}
	Narrow = Size{"narrow", 380, 240}
)

// Frame is what every chart has.
type Frame struct {
	// ID tells the charts of a page apart: small letters, digits, dashes.
	ID string
	// Title says what is drawn, for those who cannot see it; Text may say more.
	Title, Text string
	// Unit is that of the values, written above their axis.
	Unit string
	// Left is how much room the labels of the values get at the least, px, so that
	// charts below each other have their plots below each other.
	Left float64
	Locale
}

// Text is 13 px high. A glyph is taken to be wider than it is on average, so
// that labels are kept apart whatever the font.
const (
	textSize   = 13
	glyphWidth = 8
	lineHeight = 17
	space      = 6
	unitRoom   = lineHeight + 8 // above the plot, for the unit
)

// textWidth is how wide a label may be, px.
func textWidth(s string) float64 { return float64(len([]rune(s))) * glyphWidth }

// box is a rectangle of the drawing, px.
type box struct{ left, top, right, bottom float64 }

func (b box) width() float64  { return b.right - b.left }
func (b box) height() float64 { return b.bottom - b.top }

// x is where a share of the width lies, y where one of the height, from below.
func (b box) x(share float64) float64 { return b.left + share*b.width() }
func (b box) y(share float64) float64 { return b.bottom - share*b.height() }

// drawing is a chart under way.
type drawing struct {
	pen
	f             *Frame
	size          Size
	width, height float64
	plot          box
}

// begin opens the drawing, of the size's width and a height.
func (f *Frame) begin(s Size, height float64) *drawing {
	d := &drawing{f: f, size: s, width: s.width, height: height}
	title, text := d.id("title"), ""
	if f.Text != "" {
		text = d.id("text")
	}
	label := title
	if text != "" {
		label += " " + text
	}
	d.pen.begin("svg", "class", "chart chart-"+s.name, "viewBox", "0 0 "+n(s.width)+" "+n(height),
		"width", n(s.width), "height", n(height), "role", "img", "aria-labelledby", label, "focusable", "false")
	d.words("title", f.Title, "id", title)
	if text != "" {
		d.words("desc", f.Text, "id", text)
	}
	return d
}

// id is an identifier that no other drawing of the page has.
func (d *drawing) id(what string) string { return named(d.f.ID, d.size.name, what) }

// done closes the drawing.
func (d *drawing) done() string {
	d.end("svg")
	return d.String()
}

// axisRoom is what the labels of a value axis need to its left.
func (d *drawing) axisRoom(s Scale) float64 {
	room := 0.0
	for _, v := range s.Ticks() {
		room = max(room, textWidth(s.label(v, d.f.Locale)))
	}
	return min(max(room+space+2, d.f.Left), d.width*0.4)
}

// valueAxis draws the grid across the plot, the values beside and the unit above it.
func (d *drawing) valueAxis(s Scale) {
	for _, v := range s.Ticks() {
		y := d.plot.y(s.at(v))
		class := "chart-grid"
		if v == 0 || v == s.Low && s.Low > 0 {
			class = "chart-base"
		}
		d.put("line", "class", class, "x1", n(d.plot.left), "x2", n(d.plot.right), "y1", n(y), "y2", n(y))
		d.label(d.plot.left-space, y+textSize*0.35, "end", "chart-value", s.label(v, d.f.Locale))
	}
	if d.f.Unit != "" {
		d.label(max(d.plot.left-space, textWidth(d.f.Unit)), d.plot.top-lineHeight*0.75, "end", "chart-unit", d.f.Unit)
	}
}

// label writes a text.
func (d *drawing) label(x, y float64, anchor, class, text string) {
	if anchor == "start" {
		anchor = ""
	}
	d.words("text", text, "class", class, "x", n(x), "y", n(y), "text-anchor", anchor)
}

// spot is a label below the axis, with the middle of where it stands.
type spot struct {
	x    float64
	text string
}

// below writes labels under the plot that do not touch each other: where they
// would, every second, third, or so is left out.
func (d *drawing) below(y float64, class string, spots []spot) {
	for i := range spots { // none sticks out
		half := textWidth(spots[i].text) / 2
		spots[i].x = min(max(spots[i].x, half), d.width-half)
	}
	every := 1
	for every < len(spots) && !apart(spots, every) {
		every++
	}
	for i := 0; i < len(spots); i += every {
		d.label(spots[i].x, y, "middle", class, spots[i].text)
	}
}

// apart reports whether every so manieth label stands clear of the next.
func apart(spots []spot, every int) bool {
	end := math.Inf(-1)
	for i := 0; i < len(spots); i += every {
		half := textWidth(spots[i].text) / 2
		if spots[i].x-half < end {
			return false
		}
		end = spots[i].x + half + space
	}
	return true
}
