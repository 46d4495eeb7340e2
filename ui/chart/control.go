package chart

import "math"

// Control is a control chart: what was measured as dots, what is watched as a
// line, and the limits that it should stay within.
type Control struct {
	Frame
	// Labels are those of the points, such as their days.
	Labels []string
	// Dots are single values; what is no number is left out. DotName explains them.
	Dots    []float64
	DotName string
	Lines   []ControlLine
	Limits  []ControlLine
	// Alarms are the points at which a line left its limits; AlarmName explains them.
	Alarms    []int
	AlarmName string
	// Tip says what stands at a point.
	Tip func(i int) string
	// FromZero begins the values at 0, for charts of sums rather than of changes.
	FromZero bool
	Height   float64
}

// ControlLine is a line across the points.
type ControlLine struct {
	Name   string
	Values []float64
	Dashed bool
}

// SVG draws the chart.
func (c *Control) SVG(s Size) string {
	scale := c.scale()
	height := c.Height
	if height == 0 {
		height = s.height
	}
	d := &drawing{f: &c.Frame, size: s, width: s.width}
	plot := box{left: d.axisRoom(scale), top: unitRoom, right: s.width - 8}
	plot.bottom = plot.top + height
	keys := d.rows(c.keys())
	end := plot.bottom + lineRoom
	d = c.begin(s, end+float64(len(keys))*keyHeight+2)
	d.plot = plot
	d.valueAxis(scale)
	for _, l := range c.Limits {
		c.line(d, scale, l.Values, "chart-limit")
	}
	c.dots(d, scale)
	for _, l := range c.Lines {
		class := "chart-curve"
		if l.Dashed {
			class += " chart-dashed"
		}
		c.line(d, scale, l.Values, class)
	}
	c.alarms(d, scale)
	c.names(d)
	d.legend(end, keys)
	return d.done()
}

// scale covers everything that is drawn, as NIST draws its charts: not from 0
// unless that is asked for.
func (c *Control) scale() Scale {
	low, high := math.Inf(1), math.Inf(-1)
	take := func(all []float64) {
		for _, v := range all {
			if !math.IsNaN(v) && !math.IsInf(v, 0) {
				low, high = min(low, sane(v)), max(high, sane(v))
			}
		}
	}
	take(c.Dots)
	for _, l := range c.Lines {
		take(l.Values)
	}
	for _, l := range c.Limits {
		take(l.Values)
	}
	if low > high {
		low, high = 0, 1
	}
	if c.FromZero {
		low = min(low, 0)
	}
	return NiceScale(low, high, 6)
}

// x is where a point stands: half a slot from the edges.
func (c *Control) x(d *drawing, i int) float64 {
	return d.plot.x((float64(i) + 0.5) / float64(max(1, len(c.Labels))))
}

// line draws values as a line, which breaks where they are no numbers.
func (c *Control) line(d *drawing, s Scale, values []float64, class string) {
	path, joined := "", false
	for i, v := range values {
		if i >= len(c.Labels) {
			break
		}
		if math.IsNaN(v) || math.IsInf(v, 0) {
			joined = false
			continue
		}
		command := "M"
		if joined {
			command = "L"
		}
		path += command + n(c.x(d, i)) + " " + n(d.plot.y(s.at(v)))
		joined = true
	}
	if path != "" {
		d.put("path", "class", class, "d", path+"h.1")
	}
}

func (c *Control) dots(d *drawing, s Scale) {
	for i, v := range c.Dots {
		if i < len(c.Labels) && !math.IsNaN(v) && !math.IsInf(v, 0) {
			d.tipped(c.tip(i), "circle", "class", "chart-dot-value", "cx", n(c.x(d, i)), "cy", n(d.plot.y(s.at(v))), "r", "2.5")
		}
	}
}

// alarms puts a diamond on the first line, or on the dot where that has no value.
func (c *Control) alarms(d *drawing, s Scale) {
	for _, i := range c.Alarms {
		v := math.NaN()
		for _, values := range c.alarmed() {
			if math.IsNaN(v) && i >= 0 && i < len(values) && i < len(c.Labels) {
				v = values[i]
			}
		}
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			d.diamond(c.x(d, i), d.plot.y(s.at(v)), c.tip(i))
		}
	}
}

func (c *Control) alarmed() [][]float64 {
	var all [][]float64
	for _, l := range c.Lines {
		all = append(all, l.Values)
	}
	return append(all, c.Dots)
}

// diamond is the mark of an alarm.
func (d *drawing) diamond(x, y float64, tip string) {
	d.tipped(tip, "path", "class", "chart-alarm", "d", "M"+n(x)+" "+n(y-6)+"l6 6l-6 6l-6-6Z")
}

func (c *Control) tip(i int) string {
	if c.Tip != nil {
		return c.Tip(i)
	}
	return ""
}

func (c *Control) names(d *drawing) {
	var spots []spot
	for i, label := range c.Labels {
		spots = append(spots, spot{c.x(d, i), label})
	}
	d.below(d.plot.bottom+lineRoom-5, "chart-time", spots)
}

func (c *Control) keys() []key {
	var keys []key
	if c.DotName != "" {
		keys = append(keys, key{text: c.DotName, mark: func(d *drawing, x, y float64) {
			d.put("circle", "class", "chart-dot-value", "cx", n(x), "cy", n(y), "r", "2.5")
		}})
	}
	for _, l := range c.Lines {
		line := "chart-curve"
		if l.Dashed {
			line += " chart-dashed"
		}
		keys = append(keys, key{text: l.Name, line: line})
	}
	for _, l := range c.Limits {
		if l.Name != "" {
			keys = append(keys, key{text: l.Name, line: "chart-limit"})
		}
	}
	if len(c.Alarms) > 0 && c.AlarmName != "" {
		keys = append(keys, key{text: c.AlarmName, mark: func(d *drawing, x, y float64) { d.diamond(x, y, "") }})
	}
	return keys
}
