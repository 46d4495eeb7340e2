package chart

import (
	"slices"
	"time"
)

// Time is a chart over time: curves, with phases in a lane below and marks above.
type Time struct {
	Frame
	From, To time.Time
	Zone     *time.Location
	Curves   []Curve
	Ribbons  []Ribbon
	Bands    []Band
	Marks    []Mark
	// Gaps are hatched, and called what Unheard says.
	Gaps    []Gap
	Unheard string
	// Least is what the value axis reaches up to at the least.
	Least float64
	// Height is that of the plot, px; 0: the size's own.
	Height float64
}

// Curve is one line of a chart over time.
type Curve struct {
	// Name stands in the legend when there is more than one, or a Ribbon.
	Name  string
	Trace *Trace
	// Filled draws the area below it, Dashed another line, Steps levels between readings.
	Filled, Dashed, Steps bool
}

// Ribbon is a range that changes over time, such as where a value was said to
// lie. A value holds until the next; From and To bound its whole length.
type Ribbon struct {
	Name   string
	Points []Range
	End    time.Time
}

// Range is a ribbon's range from an instant on.
type Range struct {
	At        time.Time
	Low, High float64
}

// Band is a stretch with a name, such as a phase of a programme.
type Band struct {
	From, To time.Time
	Name     string
	Pattern  Pattern
	Tip      string
}

// Mark is an instant with a name.
type Mark struct {
	At   time.Time
	Text string
	// Dotted is for what was only said, not measured.
	Dotted bool
}

const (
	laneHeight = 16
	lineRoom   = 24 // for the labels under an axis
)

// SVG draws the chart.
func (c *Time) SVG(s Size) string {
	scale := NiceScale(0, c.highest(), 5)
	height := c.Height
	if height == 0 {
		height = s.height
	}
	d := &drawing{f: &c.Frame, size: s, width: s.width}
	left := max(d.axisRoom(scale), textWidth("00:00")/2)
	plot := box{left: left, right: s.width - textWidth("00:00")/2 - 2}
	marks, lanes := c.place(plot, s.width)
	plot.top = unitRoom + float64(lanes)*lineHeight
	plot.bottom = plot.top + height
	below := plot.bottom
	if len(c.Bands) > 0 {
		below += laneHeight + 4
	}
	keys := d.rows(c.keys())
	end := below + lineRoom
	d = c.begin(s, end+float64(len(keys))*keyHeight+2)
	d.plot = plot
	d.valueAxis(scale)
	c.drawGaps(d)
	c.timeAxis(d, below)
	c.drawRibbons(d, scale)
	c.drawCurves(d, scale)
	c.drawBands(d)
	c.drawMarks(d, marks)
	d.legend(end, keys)
	return d.done()
}

// highest is the highest value of all that is drawn.
func (c *Time) highest() float64 {
	high := c.Least
	for _, curve := range c.Curves {
		if curve.Trace == nil {
			continue
		}
		if v, ok := curve.Trace.Highest(); ok {
			high = max(high, v)
		}
	}
	for _, r := range c.Ribbons {
		for _, p := range r.Points {
			high = max(high, sane(p.High))
		}
	}
	return high
}

// share is where an instant lies between From and To, 0 to 1.
func (c *Time) share(at time.Time) float64 {
	if !c.To.After(c.From) {
		return 0
	}
	v := float64(at.Sub(c.From)) / float64(c.To.Sub(c.From))
	return min(max(v, 0), 1)
}

// timeAxis draws the ticks of time; their labels stand below.
func (c *Time) timeAxis(d *drawing, below float64) {
	ticks := TimeTicks(c.From, c.To, c.Zone, int(d.plot.width()/60), c.Locale)
	var spots []spot
	for _, t := range ticks {
		x := d.plot.x(c.share(t.At))
		d.put("line", "class", "chart-tick", "x1", n(x), "x2", n(x), "y1", n(d.plot.top), "y2", n(below+4))
		spots = append(spots, spot{x, t.Label})
	}
	d.below(below+lineRoom-5, "chart-time", spots)
}

func (c *Time) drawGaps(d *drawing) {
	for _, g := range c.Gaps {
		b := d.plot
		b.left, b.right = d.plot.x(c.share(g.From)), d.plot.x(c.share(g.To))
		if b.width() <= 0 {
			continue
		}
		tip := c.Unheard
		if tip != "" {
			tip += ": " + c.span(g.From, g.To)
		}
		d.area(b, Unknown, "chart-gap", tip)
		if textWidth(c.Unheard)+2*space < b.width() {
			d.label((b.left+b.right)/2, b.top+textSize+space, "middle", "chart-unheard", c.Unheard)
		}
	}
}

// span is "14:02–14:20", in the zone.
func (c *Time) span(from, to time.Time) string {
	return c.clock(c.local(from)) + "–" + c.clock(c.local(to))
}

func (c *Time) local(t time.Time) time.Time {
	if c.Zone == nil {
		return t.UTC()
	}
	return t.In(c.Zone)
}

func (c *Time) drawCurves(d *drawing, s Scale) {
	for _, curve := range c.Curves {
		if curve.Trace == nil {
			continue
		}
		cols := curve.Trace.melt(int(d.plot.width()))
		class := "chart-curve"
		if curve.Dashed {
			class += " chart-dashed"
		}
		if curve.Filled {
			if path := under(cols, d.plot, s); path != "" {
				d.put("path", "class", "chart-under", "d", path)
			}
		}
		if path := route(cols, d.plot, s, curve.Steps); path != "" {
			d.put("path", "class", class, "d", path)
		}
	}
}

func (c *Time) drawRibbons(d *drawing, s Scale) {
	for _, r := range c.Ribbons {
		path, back := "", ""
		for i, p := range r.Points {
			end := r.End
			if i+1 < len(r.Points) {
				end = r.Points[i+1].At
			}
			x, to := n(d.plot.x(c.share(p.At))), n(d.plot.x(c.share(end)))
			command := "L"
			if i == 0 {
				command = "M"
			}
			path += command + x + " " + n(d.plot.y(s.at(p.High))) + "H" + to
			low := n(d.plot.y(s.at(p.Low)))
			back = "L" + to + " " + low + "H" + x + back
		}
		if path != "" {
			d.put("path", "class", "chart-ribbon", "d", path+back+"Z")
		}
	}
}

func (c *Time) drawBands(d *drawing) {
	for _, band := range c.Bands {
		b := box{d.plot.x(c.share(band.From)), d.plot.bottom + 4, d.plot.x(c.share(band.To)), d.plot.bottom + 4 + laneHeight}
		if b.width() <= 0 {
			continue
		}
		tip := band.Tip
		if tip == "" {
			tip = band.Name + ": " + c.span(band.From, band.To)
		}
		d.area(b, band.Pattern, "chart-band", tip)
	}
}

// keys are what the legend explains: the curves when there are several things
// to tell apart, and the patterns of the bands.
func (c *Time) keys() []key {
	var keys []key
	if len(c.Curves)+len(c.Ribbons) > 1 {
		for _, curve := range c.Curves {
			line := "chart-curve"
			if curve.Dashed {
				line += " chart-dashed"
			}
			keys = append(keys, key{text: curve.Name, line: line})
		}
		for _, r := range c.Ribbons {
			keys = append(keys, key{text: r.Name, mark: func(d *drawing, x, y float64) {
				d.put("rect", "class", "chart-ribbon", "x", n(x-swatch/2), "y", n(y-6), "width", n(swatch), "height", "12")
			}})
		}
	}
	var seen []string
	for _, b := range c.Bands {
		if !slices.Contains(seen, b.Name) {
			seen = append(seen, b.Name)
			keys = append(keys, key{text: b.Name, pattern: b.Pattern})
		}
	}
	if len(c.Gaps) > 0 && c.Unheard != "" {
		keys = append(keys, key{text: c.Unheard, pattern: Unknown})
	}
	return keys
}
