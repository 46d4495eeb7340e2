package chart

// key is one entry of a legend: a line, a dot, or a filled box, and its word.
type key struct {
	text    string
	line    string  // class of the line; "" for a box
	pattern Pattern // of the box
	mark    func(d *drawing, x, y float64)
}

const (
	swatch    = 26 // px
	keyHeight = 20
)

// rows arranges a legend in lines that fit the width.
func (d *drawing) rows(keys []key) [][]key {
	var out [][]key
	x := 0.0
	for _, k := range keys {
		w := swatch + space + textWidth(k.text) + 3*space
		if len(out) == 0 || x+w > d.width {
			out, x = append(out, nil), 0
		}
		out[len(out)-1] = append(out[len(out)-1], k)
		x += w
	}
	return out
}

// legend writes the rows from a height down.
func (d *drawing) legend(top float64, rows [][]key) {
	for i, row := range rows {
		x, y := 1.0, top+float64(i)*keyHeight
		for _, k := range row {
			middle := y + keyHeight/2
			switch {
			case k.mark != nil:
				k.mark(d, x+swatch/2, middle)
			case k.line != "":
				d.put("line", "class", k.line, "x1", n(x), "x2", n(x+swatch), "y1", n(middle), "y2", n(middle))
			default:
				d.area(box{x, middle - 6, x + swatch, middle + 6}, k.pattern, "chart-key", "")
			}
			d.label(x+swatch+space, middle+textSize*0.35, "start", "chart-word", k.text)
			x += swatch + space + textWidth(k.text) + 3*space
		}
	}
}
