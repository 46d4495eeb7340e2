package tracestory

import (
	"fmt"
	"strings"
	"time"
)

// column is the range of power within one px of time.
type column struct {
	lo, hi float64
	ok     bool
}

// columns brings readings down to one range a px. A reading holds until the
// next, but not over a hole of gap or more, nor beyond the last one.
func columns(p strip, points []point, gap time.Duration) []column {
	cols := make([]column, plotWidth+1)
	perPx := p.to.Sub(p.from) / plotWidth
	at := func(t time.Time) int { return int(t.Sub(p.from) / perPx) }
	for i, q := range points {
		until := q.at
		if i+1 < len(points) && points[i+1].at.Sub(q.at) < gap {
			until = points[i+1].at
		}
		if until.Before(p.from) {
			continue
		}
		for k := max(0, at(q.at)); k <= min(plotWidth, at(until)); k++ {
			cols[k].add(float64(q.w))
		}
	}
	return cols
}

func (c *column) add(w float64) {
	if !c.ok {
		*c = column{w, w, true}
		return
	}
	c.lo, c.hi = min(c.lo, w), max(c.hi, w)
}

// curve draws the power.
func (c *canvas) curve(p strip, top, base float64) {
	y := func(w float64) float64 { return base - c.plotHeight*w/c.watts.top }
	cols := columns(p, c.story.pointsIn(p), c.gap)
	for i := 0; i < len(cols); {
		n := i
		for n < len(cols) && cols[n].ok {
			n++
		}
		if n > i {
			area, line := outline(cols[i:n], float64(drawLeft+i), base, y)
			c.put(`<path class="area" d="%s"/><path class="power" d="%s"/>`, area, line)
		}
		i = n + 1
	}
}

// outline writes the paths of a stretch without holes: the area below the upper
// edge, and a line that goes through both edges.
func outline(cols []column, x0, base float64, y func(float64) float64) (area, line string) {
	var a, l strings.Builder
	fmt.Fprintf(&a, "M%g %.1f", x0, base)
	last := -1.0
	for i, c := range cols {
		x, hi, lo := x0+float64(i), y(c.hi), y(c.lo)
		if i == 0 || i+1 == len(cols) || cols[i-1].hi != c.hi || cols[i+1].hi != c.hi {
			fmt.Fprintf(&a, "L%g %.1f", x, hi)
		}
		switch {
		case i == 0:
			fmt.Fprintf(&l, "M%g %.1fV%.1f", x, hi, lo)
			last = lo
		case hi == last && lo == last && i+1 < len(cols) && cols[i+1] == c:
			// Level: the line goes on to where it changes.
		case last-hi < lo-last:
			fmt.Fprintf(&l, "L%g %.1fV%.1f", x, hi, lo)
			last = lo
		default:
			fmt.Fprintf(&l, "L%g %.1fV%.1f", x, lo, hi)
			last = hi
		}
	}
	fmt.Fprintf(&a, "L%g %.1fZ", x0+float64(len(cols)-1), base)
	return a.String(), l.String()
}
