package chart

import "math"

// Pattern is how an area is filled, so that it is told from others without its
// colour. The zero value is plain.
type Pattern string

// The patterns.
const (
	Plain   Pattern = ""
	Dark    Pattern = "dark"    // full
	Slant   Pattern = "slant"   // lines rising to the right
	Fall    Pattern = "fall"    // lines falling to the right
	Upright Pattern = "upright" // close vertical lines
	Level   Pattern = "level"   // horizontal lines
	Dots    Pattern = "dots"
	Empty   Pattern = "empty" // an outline only
	Unknown Pattern = "unknown"
)

// The lines of patterns are drawn one by one, not as tiles that repeat: browsers
// that print make a picture of each area that is filled with tiles, and a page of
// charts becomes a file of many megabytes.

// hatch is the lines of a pattern: how far apart they are, px, and which way they go.
type hatch struct {
	apart float64
	lines func(b box, apart float64) string
}

var hatches = map[Pattern]hatch{
	Slant: {4.25, rising}, Fall: {4.25, falling}, Upright: {3, upright}, Level: {4, level}, Dots: {5, dots}, Unknown: {5.5, rising},
}

// steps calls fn for the multiples of a distance within a range, ends left out.
// Areas beside each other have their lines in one line.
func steps(from, to, apart float64, fn func(at float64)) {
	for k := math.Floor(from/apart) + 1; k*apart < to; k++ {
		fn(k * apart)
	}
}

// rising are lines on which x + y is the same, falling those on which x - y is.
func rising(b box, apart float64) string {
	path := ""
	steps(b.left+b.top, b.right+b.bottom, apart*math.Sqrt2, func(c float64) {
		from, to := max(b.left, c-b.bottom), min(b.right, c-b.top)
		path += segment(from, c-from, to, c-to)
	})
	return path
}

func falling(b box, apart float64) string {
	path := ""
	steps(b.left-b.bottom, b.right-b.top, apart*math.Sqrt2, func(c float64) {
		from, to := max(b.left, c+b.top), min(b.right, c+b.bottom)
		path += segment(from, from-c, to, to-c)
	})
	return path
}

func segment(x1, y1, x2, y2 float64) string {
	return "M" + n(x1) + " " + n(y1) + "L" + n(x2) + " " + n(y2)
}

func upright(b box, apart float64) string {
	path := ""
	steps(b.left, b.right, apart, func(x float64) { path += "M" + n(x) + " " + n(b.top) + "V" + n(b.bottom) })
	return path
}

func level(b box, apart float64) string {
	path := ""
	steps(b.top, b.bottom, apart, func(y float64) { path += "M" + n(b.left) + " " + n(y) + "H" + n(b.right) })
	return path
}

// dots are lines of no length with round ends.
func dots(b box, apart float64) string {
	path := ""
	steps(b.top, b.bottom, apart, func(y float64) {
		steps(b.left, b.right, apart, func(x float64) { path += "M" + n(x) + " " + n(y) + "h0" })
	})
	return path
}

// fill is the class of an area with a pattern.
func (p Pattern) fill() string {
	if _, hatched := hatches[p]; hatched {
		return "chart-ground"
	}
	if p == Plain {
		return "chart-area-plain"
	}
	return "chart-fill-" + string(p)
}

// area draws a rectangle with a pattern.
func (d *drawing) area(b box, p Pattern, class, tip string) {
	d.tipped(tip, "rect", "class", class+" "+p.fill(), "x", n(b.left), "y", n(b.top), "width", n(b.width()), "height", n(b.height()))
	h, hatched := hatches[p]
	if !hatched {
		return
	}
	if path := h.lines(b, h.apart); path != "" {
		d.put("path", "class", "chart-hatch chart-hatch-"+string(p), "d", path)
	}
}
