package chart

import "strings"

// route is the path of a curve across a plot: per column in, through the lowest
// and highest, and out. steps go level to the next column, then up or down.
func route(cols []column, b box, s Scale, steps bool) string {
	var path strings.Builder
	was := false
	for i := range cols {
		c := &cols[i]
		if !c.seen {
			continue
		}
		x := n(b.x((float64(i) + 0.5) / float64(len(cols))))
		at := func(v float64) string { return n(b.y(s.at(v))) }
		switch {
		case !was || c.broken:
			path.WriteString("M" + x + " " + at(c.first))
		case steps:
			path.WriteString("H" + x + "V" + at(c.first))
		default:
			path.WriteString("L" + x + " " + at(c.first))
		}
		was = true
		near, far := c.high, c.low
		if c.last > c.first {
			near, far = c.low, c.high
		}
		y := at(c.first)
		for _, v := range [...]float64{near, far, c.last} {
			if next := at(v); next != y {
				path.WriteString("V" + next)
				y = next
			}
		}
		if lone(cols, i) {
			path.WriteString("h.1") // a point alone would not be seen
		}
	}
	return path.String()
}

// lone reports whether a column is joined to none and has no height.
func lone(cols []column, i int) bool {
	c := &cols[i]
	if c.low != c.high {
		return false
	}
	first := c.broken || !seenBefore(cols, i)
	for k := i + 1; k < len(cols); k++ {
		if cols[k].seen {
			return first && cols[k].broken
		}
	}
	return first
}

func seenBefore(cols []column, i int) bool {
	for k := i - 1; k >= 0; k-- {
		if cols[k].seen {
			return true
		}
	}
	return false
}

// under closes a curve's stretches to the ground, for an area below it.
func under(cols []column, b box, s Scale) string {
	var path strings.Builder
	ground := n(b.y(s.at(max(0, s.Low))))
	open := -1
	closeAt := func(x string) {
		if open >= 0 {
			path.WriteString("H" + x + "V" + ground + "Z")
		}
		open = -1
	}
	last := ""
	for i := range cols {
		c := &cols[i]
		if !c.seen {
			continue
		}
		x := n(b.x((float64(i) + 0.5) / float64(len(cols))))
		if c.broken || open < 0 {
			if last != "" {
				closeAt(last)
			}
			path.WriteString("M" + x + " " + ground)
			open = i
		}
		path.WriteString("H" + x + "V" + n(b.y(s.at(c.high))))
		last = x
	}
	closeAt(last)
	return path.String()
}
