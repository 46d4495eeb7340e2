package chart

import (
	"fmt"
	"math"
)

// Heat is a week of hours: a cell for each hour of each day, darker the more
// there was, with the value written in it.
type Heat struct {
	Frame
	// Days are the names of the rows, Hours those of the columns.
	Days, Hours []string
	// Values are by day, then hour; what is no number is not known.
	Values [][]float64
	// Cell writes a value into its cell: at most three characters. nil: as the locale does.
	Cell func(v float64) string
	// Tip says what a cell shows.
	Tip     func(day, hour int) string
	Unheard string
}

// shades is how many steps from nothing to the most there are.
const shades = 5

// cells is how a heat map lies: days down and hours across, or on a narrow
// screen the other way round.
type cells struct {
	across, down []string
	turned       bool
	width, rows  float64 // of a cell, px
}

// SVG draws the chart.
func (h *Heat) SVG(s Size) string {
	g := cells{across: h.Hours, down: h.Days, rows: 26}
	if s.width < Wide.width {
		g = cells{across: h.Days, down: h.Hours, turned: true, rows: 20}
	}
	room := 0.0
	for _, name := range g.down {
		room = max(room, textWidth(name))
	}
	d := &drawing{f: &h.Frame, size: s, width: s.width}
	plot := box{left: min(room+space, s.width*0.4), top: lineHeight + 4, right: s.width - 1}
	plot.bottom = plot.top + g.rows*float64(len(g.down))
	g.width = plot.width() / float64(max(1, len(g.across)))
	keys := d.rows(h.keys())
	end := plot.bottom + space
	d = h.begin(s, end+float64(len(keys))*keyHeight+2)
	d.plot = plot
	h.names(d, g)
	h.draw(d, g)
	d.legend(end, keys)
	return d.done()
}

// names writes what the rows and columns are.
func (h *Heat) names(d *drawing, g cells) {
	for i, name := range g.down {
		d.label(d.plot.left-space, d.plot.top+(float64(i)+0.5)*g.rows+textSize*0.35, "end", "chart-value", name)
	}
	var spots []spot
	for i, name := range g.across {
		spots = append(spots, spot{d.plot.left + (float64(i)+0.5)*g.width, name})
	}
	d.below(d.plot.top-space, "chart-time", spots)
}

func (h *Heat) draw(d *drawing, g cells) {
	most := h.most()
	for row := range g.down {
		for col := range g.across {
			day, hour := row, col
			if g.turned {
				day, hour = col, row
			}
			h.cell(d, box{
				d.plot.left + float64(col)*g.width, d.plot.top + float64(row)*g.rows,
				d.plot.left + float64(col+1)*g.width, d.plot.top + float64(row+1)*g.rows,
			}, day, hour, most)
		}
	}
}

// cell draws one hour: its shade, and its value in it.
func (h *Heat) cell(d *drawing, b box, day, hour int, most float64) {
	v := h.value(day, hour)
	tip := ""
	if h.Tip != nil {
		tip = h.Tip(day, hour)
	}
	if math.IsNaN(v) {
		d.area(b, Unknown, "chart-cell", tip)
		return
	}
	shade := shadeOf(v, most)
	d.tipped(tip, "rect", "class", fmt.Sprintf("chart-cell chart-shade-%d", shade),
		"x", n(b.left), "y", n(b.top), "width", n(b.width()), "height", n(b.height()))
	if text := h.text(v); v > 0 && textWidth(text) <= b.width() {
		class := "chart-in-cell"
		if shade >= shades-1 {
			class += " chart-on-dark"
		}
		d.label((b.left+b.right)/2, (b.top+b.bottom)/2+textSize*0.33, "middle", class, text)
	}
}

func (h *Heat) text(v float64) string {
	if h.Cell != nil {
		return h.Cell(v)
	}
	return h.number(v, 0)
}

// value is that of an hour; not a number where there is none.
func (h *Heat) value(day, hour int) float64 {
	if day >= len(h.Values) || hour >= len(h.Values[day]) {
		return math.NaN()
	}
	return h.Values[day][hour]
}

func (h *Heat) most() float64 {
	most := 0.0
	for day := range h.Values {
		for _, v := range h.Values[day] {
			if !math.IsNaN(v) {
				most = max(most, sane(v))
			}
		}
	}
	return most
}

// shadeOf is 0 for nothing, else 1 to shades in even steps.
func shadeOf(v, most float64) int {
	if !(v > 0) || most <= 0 {
		return 0
	}
	return min(shades, 1+int(sane(v)/most*shades*0.999999))
}

// keys explain the shades by what they mean.
func (h *Heat) keys() []key {
	most := h.most()
	var keys []key
	for i := 0; i <= shades && most > 0; i++ {
		text := h.number(0, 0)
		if i > 0 {
			text = "≤ " + h.label(most*float64(i)/shades, most)
		}
		if i == shades {
			text += " " + h.Unit
		}
		keys = append(keys, key{text: text, mark: func(d *drawing, x, y float64) {
			d.put("rect", "class", fmt.Sprintf("chart-cell chart-shade-%d", i), "x", n(x-swatch/2), "y", n(y-7), "width", n(swatch), "height", "14")
		}})
	}
	return keys
}

func (h *Heat) label(v, most float64) string {
	decimals := 0
	if most < 10 {
		decimals = 1
	}
	return h.number(v, decimals)
}
