package usage

import (
	"math"
	"slices"
	"sort"
	"time"

	"drumturn/coordinator/cycle"
)

// curve is a machine's power over a stretch of time as a staircase: from each
// instant on so many watts, until the next one.
//
// A reading holds until the next one, as in the cycle engine (a switched heater is
// a staircase), but no longer than a meter may be silent: what it drew after
// that is not known, and counts as nothing. Where the meter has a register, the
// staircase is raised or lowered so that it encloses what the register counted.
type curve struct {
	steps []step
	// sums[i] is the energy before step i, Wh.
	sums []float64
}

type step struct {
	from, to time.Time
	watts    float64
}

func (s *step) wh() float64 { return s.watts * s.to.Sub(s.from).Hours() }

const (
	// anchorEvery is how far apart the words of a register are compared with the
	// watts at least, so that one that counts in coarse steps does not move energy
	// about within a few minutes.
	anchorEvery = 15 * time.Minute
)

// curveOf draws the curve from a machine's readings, in the order of time, up to
// an instant for which the last of them may still hold.
func curveOf(readings []cycle.Reading, silent time.Duration, modulus float64, until time.Time) *curve {
	d := drawing{silent: silent, register: cycle.Register{Modulus: modulus}}
	for i := range readings {
		d.take(&readings[i])
	}
	d.hold(until)
	c := &curve{steps: append(d.done, d.open...)}
	sum := 0.0
	c.sums = make([]float64, 0, len(c.steps)+1)
	for i := range c.steps {
		c.sums = append(c.sums, sum)
		sum += c.steps[i].wh()
	}
	c.sums = append(c.sums, sum)
	return c
}

// drawing is a curve while it is drawn.
type drawing struct {
	silent   time.Duration
	register cycle.Register
	// done are steps that are settled; open those since the register's last word
	// that counted, which was at anchor with so many Wh.
	done, open []step
	anchor     time.Time
	counted    float64
	// At and watts are the newest reading; known says that it tells the power.
	at    time.Time
	watts float64
	known bool
	dark  bool // some time since the anchor has no power
}

func (d *drawing) take(r *cycle.Reading) {
	if !d.at.IsZero() && !r.At.After(d.at) {
		return
	}
	if !d.at.IsZero() {
		d.hold(r.At)
	}
	d.at, d.known = r.At, !math.IsNaN(r.Watts) && !math.IsInf(r.Watts, 0)
	d.watts = 0
	if d.known {
		d.watts = max(0, r.Watts)
	}
	delta, ok := d.register.Add(r.At, r.Wh)
	switch {
	case ok:
		d.counted += delta
		if d.dark || r.At.Sub(d.anchor) >= anchorEvery {
			d.settle(r.At, d.counted)
		}
	case d.register.At.Equal(r.At): // a first word, or that of another register
		d.settle(r.At, d.energy())
	}
}

// hold draws the newest reading up to an instant.
func (d *drawing) hold(to time.Time) {
	long := to.Sub(d.at)
	if d.at.IsZero() || long <= 0 {
		return
	}
	if !d.known || d.silent > 0 && long > d.silent {
		d.dark = true
		return
	}
	d.open = append(d.open, step{d.at, to, d.watts})
}

func (d *drawing) energy() (wh float64) {
	for i := range d.open {
		wh += d.open[i].wh()
	}
	return wh
}

// settle makes the steps since the anchor enclose so many Wh. Energy of a time
// whose power is not known is spread over all of it evenly.
func (d *drawing) settle(to time.Time, wh float64) {
	drawn := d.energy()
	switch {
	case drawn > 0 && (!d.dark || wh <= drawn):
		for i := range d.open {
			d.open[i].watts *= wh / drawn
		}
		d.done = append(d.done, d.open...)
	case !d.anchor.IsZero() && wh > 0:
		d.done = append(d.done, d.fill(to, wh-drawn)...)
	default:
		d.done = append(d.done, d.open...)
	}
	d.open, d.anchor, d.counted, d.dark = nil, to, 0, false
}

// fill spreads energy over the holes between the open steps since the anchor, or
// where there are none over all of the time.
func (d *drawing) fill(to time.Time, wh float64) []step {
	var holes []step
	at := d.anchor
	for _, s := range d.open {
		if s.from.After(at) {
			holes = append(holes, step{at, s.from, 0})
		}
		at = s.to
	}
	if to.After(at) {
		holes = append(holes, step{at, to, 0})
	}
	var long time.Duration
	for _, h := range holes {
		long += h.to.Sub(h.from)
	}
	all := d.open
	if long > 0 {
		for i := range holes {
			holes[i].watts = wh / long.Hours()
		}
		all = append(all, holes...)
	}
	slices.SortFunc(all, func(a, b step) int { return a.from.Compare(b.from) })
	return all
}

// until is the energy up to an instant, Wh.
func (c *curve) until(t time.Time) float64 {
	i := sort.Search(len(c.steps), func(i int) bool { return c.steps[i].from.After(t) })
	if i == 0 {
		return 0
	}
	s := c.steps[i-1]
	if s.to.After(t) {
		s.to = t
	}
	return c.sums[i-1] + s.wh()
}

// between is the energy drawn in a stretch of time, Wh.
func (c *curve) between(from, to time.Time) float64 { return c.until(to) - c.until(from) }

// known is how much of a stretch of time has a power.
func (c *curve) known(from, to time.Time) (sum time.Duration) {
	for i := range c.steps {
		sum += stretch{c.steps[i].from, c.steps[i].to}.clip(from, to).length()
	}
	return sum
}
