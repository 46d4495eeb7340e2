package tracestory

import (
	"fmt"
	"html"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

const (
	dayOnly = "Mon 2 Jan 2006"
	// oneStrip is the longest recording that is drawn in one strip.
	oneStrip = 36 * time.Hour
	// mostStrips bounds a drawing.
	mostStrips = 120
)

// strip is a stretch of time that is drawn side by side.
type strip struct {
	from, to time.Time
	// day is its title.
	day string
}

// x is where an instant lies, px; it may lie outside.
func (p strip) x(at time.Time) float64 {
	return drawLeft + plotWidth*at.Sub(p.from).Seconds()/p.to.Sub(p.from).Seconds()
}

// clip is where a stretch lies in the plot, px.
func (p strip) clip(from, to time.Time) (a, b float64, ok bool) {
	a, b = max(p.x(from), drawLeft), min(p.x(to), drawLeft+plotWidth)
	return a, b, a < b
}

// strips divides the recording, and says what is left out.
func (s *story) strips() (strips []strip, note string) {
	if s.last.Sub(s.first) <= oneStrip {
		step := timeStep(s.last.Sub(s.first))
		to := s.last.Truncate(step).Add(step)
		return []strip{{from: s.first.Truncate(step), to: to, day: s.first.Format(dayOnly)}}, ""
	}
	early, late := s.hours()
	for _, r := range s.runs {
		for day := r.start.Truncate(24 * time.Hour); day.Before(r.end); day = day.AddDate(0, 0, 1) {
			title := day.Format(dayOnly)
			if n := len(strips); n == 0 || strips[n-1].day != title {
				strips = append(strips, strip{from: day.Add(early), to: day.Add(late), day: title})
			}
		}
	}
	if len(strips) > mostStrips {
		note = fmt.Sprintf("The last %d of %d days with a cycle.", mostStrips, len(strips))
		strips = strips[len(strips)-mostStrips:]
	} else {
		note = "Days without a cycle are left out."
	}
	return strips, note
}

// hours are those of the day, the same for all strips, in which cycles ran.
func (s *story) hours() (early, late time.Duration) {
	const day, margin, least = 24 * time.Hour, 30 * time.Minute, 6 * time.Hour
	early = day
	for _, r := range s.runs {
		midnight := r.start.Truncate(day)
		if r.end.Sub(midnight) > day {
			return 0, day
		}
		early, late = min(early, r.start.Sub(midnight)), max(late, r.end.Sub(midnight))
	}
	early = max(0, early-margin).Truncate(time.Hour)
	late = min(day, (late + margin + time.Hour - 1).Truncate(time.Hour))
	late = max(late, min(early+least, day))
	return min(early, late-least), late
}

// strip draws one, whose plot begins at top.
func (c *canvas) strip(p strip, top float64) {
	base := top + c.plotHeight
	c.put(`<text class="day" x="%d" y="%.0f">%s</text>`, drawLeft, top-25, p.day)
	c.axes(p, top, base)
	for _, q := range c.story.silences {
		to := q.to
		if to.IsZero() {
			to = c.story.last
		}
		if a, b, ok := p.clip(q.from, to); ok {
			c.put(`<rect class="silent" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/>`, a, top, b-a, c.plotHeight)
		}
	}
	for i := range c.story.runs {
		c.run(p, i, top, base)
	}
	c.curve(p, top, base)
}

// run marks a cycle.
func (c *canvas) run(p strip, i int, top, base float64) {
	r := &c.story.runs[i]
	a, b, ok := p.clip(r.start, r.end)
	if ok {
		c.put(`<rect class="run" x="%.1f" y="%.1f" width="%.1f" height="%.1f"/><rect class="edge" x="%.1f" y="%.1f" width="%.1f" height="3"/>`,
			a, top, b-a, c.plotHeight, a, top-3, b-a)
		room := drawLeft + plotWidth - a
		if i+1 < len(c.story.runs) {
			room = min(room, p.x(c.story.runs[i+1].start)-a)
		}
		c.put(`<text class="name" x="%.1f" y="%.1f">%s</text>`, a, top-7, html.EscapeString(runName(r, i, room)))
	}
	if x := p.x(r.told); !r.cutOff && x >= drawLeft && x <= drawLeft+plotWidth {
		c.put(`<path class="told" d="M%.1f %.1fV%.1f"/>`, x, top-3, base)
	}
}

// runName is as much about a cycle as there is room for, px.
func runName(r *run, i int, room float64) string {
	short := fmt.Sprint(i + 1)
	middle := short + ": " + span(r.length())
	long := fmt.Sprintf("%s, %.2f kWh", middle, r.energyWh/1000)
	switch {
	case r.cutOff:
		long += ", cut off"
	case r.kind == cycle.StoppedEarly:
		long += ", stopped early"
	case r.kind == cycle.Presumed:
		long += ", presumed over"
	}
	const perLetter = 6.4
	for _, name := range []string{long, middle} {
		if float64(len(name))*perLetter < room {
			return name
		}
	}
	return short
}

// pointsIn are the readings that matter for a strip: those in it, and the one before.
func (s *story) pointsIn(p strip) []point {
	cmp := func(q point, at time.Time) int { return q.at.Compare(at) }
	from, _ := slices.BinarySearchFunc(s.points, p.from, cmp)
	to, _ := slices.BinarySearchFunc(s.points, p.to, cmp)
	return s.points[max(0, from-1):to]
}
