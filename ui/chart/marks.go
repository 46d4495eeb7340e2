package chart

import (
	"cmp"
	"slices"
)

// placed is a mark's label with where it stands: its lane, counted from above,
// and its line, which goes down from there.
type placed struct {
	mark        Mark
	lane        int
	x           float64 // of the line
	left, right float64 // of the label
}

// place puts the labels of the marks above the plot, in as few lanes as keep
// them clear of each other and of each other's lines: those nearest to an edge
// first, for they have the fewest places to stand.
func (c *Time) place(plot box, width float64) (all []placed, lanes int) {
	marks := slices.Clone(c.Marks)
	edge := func(m Mark) float64 { return min(c.share(m.At), 1-c.share(m.At)) }
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(edge(a), edge(b)) })
	for _, m := range marks {
		p := c.placeOne(m, all, plot, width)
		all, lanes = append(all, p), max(lanes, p.lane+1)
	}
	return all, lanes
}

// placeOne finds the first lane with room: over the line, else to its right or
// left. Where lines are so close that one must run through a label, only the
// labels stay clear of each other.
func (c *Time) placeOne(m Mark, others []placed, plot box, width float64) placed {
	p := placed{mark: m, x: plot.x(c.share(m.At))}
	w := textWidth(m.Text)
	for ; p.lane <= len(others); p.lane++ {
		for _, left := range [...]float64{p.x - w/2, p.x - 2, p.x + 2 - w} {
			p.left = min(max(left, 0), max(0, width-w))
			p.right = p.left + w
			if !slices.ContainsFunc(others, p.hits) {
				return p
			}
		}
	}
	p.left = min(max(p.x-w/2, 0), max(0, width-w))
	p.right = p.left + w
	return p // in a lane of its own
}

// hits reports whether the label of one, or its line, runs through the other's label.
func (p placed) hits(o placed) bool {
	switch {
	case p.lane == o.lane:
		return p.left < o.right+space && o.left < p.right+space
	case p.lane > o.lane:
		return o.x > p.left-2 && o.x < p.right+2
	}
	return p.x > o.left-2 && p.x < o.right+2
}

func (c *Time) drawMarks(d *drawing, marks []placed) {
	for _, p := range marks {
		class := "chart-mark"
		if p.mark.Dotted {
			class += " chart-dotted"
		}
		d.put("line", "class", class, "x1", n(p.x), "x2", n(p.x), "y1", n(float64(p.lane+1)*lineHeight+3), "y2", n(d.plot.bottom))
	}
	for _, p := range marks {
		d.label((p.left+p.right)/2, float64(p.lane+1)*lineHeight-2, "middle", "chart-mark-word", p.mark.Text)
	}
}
