package chart

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

// tile is what a pattern repeats: its size, px, and its lines.
type tile struct {
	size float64
	path string
	dots bool
}

var tiles = map[Pattern]tile{
	Slant:   {6, "M-1.5 1.5L1.5-1.5M0 6L6 0M4.5 7.5L7.5 4.5", false},
	Fall:    {6, "M-1.5 4.5L1.5 7.5M0 0L6 6M4.5-1.5L7.5 1.5", false},
	Upright: {3, "M1.5 0V3", false},
	Level:   {4, "M0 2H4", false},
	Dots:    {5, "", true},
	Unknown: {8, "M-2 2L2-2M0 8L8 0M6 10L10 6", false},
}

// fill is the class of an area and the address of its pattern, "" for none.
func (d *drawing) fill(p Pattern) (class, address string) {
	if p == Plain {
		return "chart-area-plain", ""
	}
	if _, ok := tiles[p]; !ok {
		return "chart-fill-" + string(p), ""
	}
	for _, have := range d.patterns {
		if have == p {
			return "chart-fill-tile", "url(#" + d.id(string(p)) + ")"
		}
	}
	d.patterns = append(d.patterns, p)
	return "chart-fill-tile", "url(#" + d.id(string(p)) + ")"
}

// area draws a rectangle filled with a pattern.
func (d *drawing) area(b box, p Pattern, class, tip string) {
	fill, address := d.fill(p)
	d.tipped(tip, "rect", "class", class+" "+fill, "fill", address, "x", n(b.left), "y", n(b.top), "width", n(b.width()), "height", n(b.height()))
}

// defs writes the patterns that were used.
func (d *drawing) defs() {
	if len(d.patterns) == 0 {
		return
	}
	d.pen.begin("defs")
	for _, p := range d.patterns {
		t := tiles[p]
		d.pen.begin("pattern", "id", d.id(string(p)), "width", n(t.size), "height", n(t.size), "patternUnits", "userSpaceOnUse")
		d.put("rect", "class", "chart-ground", "width", n(t.size), "height", n(t.size))
		if t.dots {
			d.put("circle", "class", "chart-dot", "cx", n(t.size/2), "cy", n(t.size/2), "r", "1.1")
		} else {
			d.put("path", "class", "chart-hatch-"+string(p), "d", t.path)
		}
		d.end("pattern")
	}
	d.end("defs")
}
