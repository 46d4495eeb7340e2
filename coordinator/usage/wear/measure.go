package wear

import (
	"math"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

// Span is a cycle to be measured, as it was declared.
type Span struct {
	Number     uint64
	Start, End time.Time
	EnergyWh   float64
	PeakW      float64
	// Next is when the machine was started again; zero when it was not yet.
	Next time.Time
}

const (
	// holds is how long a reading stands for the power after it: meters that
	// report on change speak at least once a minute, so after this a hole begins.
	holds = 3 * time.Minute
	// whole is the share of a cycle that must have been heard for its figures to count.
	whole = 0.95
	// RestAfter is when a machine that is done has switched off what it had on
	// for its owner (common practice, no source), and RestUntil how long its
	// standby is looked at.
	RestAfter = 45 * time.Minute
	RestUntil = 4 * time.Hour
	// restLeast is how much of it must have been heard.
	restLeast = 10 * time.Minute
	// heaterLeast is what a machine with a resistance heater takes at least, W;
	// a motor alone and a heat pump take less (common practice, no source).
	heaterLeast = 1200
	// spinWithin is how long before its end a wash spins for the last time, and
	// spinFor how long the strongest stretch of it is.
	spinWithin = 15 * time.Minute
	spinFor    = 30 * time.Second
	// spinLeast is the least power that is taken for a spin, W.
	spinLeast = 60
)

// Until is when everything that Measure wants to see of a cycle has been read.
func (s Span) Until() time.Time {
	until := s.End.Add(RestUntil)
	if !s.Next.IsZero() && s.Next.Before(until) {
		until = s.Next
	}
	return until
}

// Measure reckons a cycle's figures from its meter's readings from Start to
// Until, in order; washes says whether the machine can spin. Where too much was
// not heard, a figure is NaN: it is never guessed.
func Measure(s Span, readings []cycle.Reading, washes bool) Cycle {
	c := unmeasured(s.Number, s.Start, s.End)
	c.PeakW = s.PeakW
	run := between(readings, s.Start, s.End)
	if length := s.End.Sub(s.Start); length > 0 && heard(run) >= time.Duration(whole*float64(length)) {
		c.Value[Length] = length.Minutes()
		if s.EnergyWh > 0 {
			c.Value[Energy] = s.EnergyWh / 1000
		}
		c.Value[Heating] = heating(run)
		if washes {
			c.Value[Spin] = spin(run, s.End)
		}
	}
	c.Value[Standby] = standby(between(readings, s.End.Add(RestAfter), s.Until()))
	return c
}

// stretch is a time over which a power held.
type stretch struct {
	from  time.Time
	d     time.Duration
	watts float64
}

// between are the stretches from one instant to another. What was not heard is
// left out.
func between(readings []cycle.Reading, from, to time.Time) []stretch {
	var all []stretch
	for i, r := range readings {
		begin, end := r.At, to
		if i+1 < len(readings) {
			end = readings[i+1].At
		}
		watts, d := powerOf(readings, i), end.Sub(begin)
		if math.IsNaN(watts) || d > holds {
			continue
		}
		if begin.Before(from) {
			begin = from
		}
		if end.After(to) {
			end = to
		}
		if d = end.Sub(begin); d > 0 {
			all = append(all, stretch{begin, d, watts})
		}
	}
	return all
}

// powerOf is the power from reading i to the next: what it says, or where the
// meter has a register only, the register's rise until the next.
func powerOf(readings []cycle.Reading, i int) float64 {
	r := readings[i]
	if !math.IsNaN(r.Watts) {
		return max(0, r.Watts)
	}
	if i+1 == len(readings) {
		return math.NaN()
	}
	next := readings[i+1]
	rise, d := next.Wh-r.Wh, next.At.Sub(r.At)
	if d <= 0 || rise < 0 {
		return math.NaN()
	}
	return rise / d.Hours()
}

func heard(all []stretch) (sum time.Duration) {
	for _, s := range all {
		sum += s.d
	}
	return sum
}

// strongest is the highest mean power over a window of a length, W; 0 when less was heard.
func strongest(all []stretch, window time.Duration) float64 {
	var best, ws float64
	var d time.Duration
	first := 0
	for _, s := range all {
		ws += s.watts * s.d.Seconds()
		d += s.d
		for d-all[first].d >= window {
			ws -= all[first].watts * all[first].d.Seconds()
			d -= all[first].d
			first++
		}
		if d >= window {
			best = max(best, ws/d.Seconds())
		}
	}
	return best
}

// heating is how long a resistance heater was on, minutes; NaN where there is
// none, or the programme did without.
func heating(all []stretch) float64 {
	hot := strongest(all, time.Minute)
	if hot < heaterLeast {
		return math.NaN()
	}
	var d time.Duration
	for _, s := range all {
		if s.watts >= hot/2 {
			d += s.d
		}
	}
	return d.Minutes()
}

// spin is the power of the strongest half minute of a wash's end that is no
// heating, W; NaN where none shows.
func spin(all []stretch, end time.Time) float64 {
	below := math.Inf(1)
	if hot := strongest(all, time.Minute); hot >= heaterLeast {
		below = hot / 2
	}
	last := slices.DeleteFunc(slices.Clone(all), func(s stretch) bool {
		return end.Sub(s.from) > spinWithin || s.watts >= below
	})
	if w := strongest(last, spinFor); w >= spinLeast {
		return w
	}
	return math.NaN()
}

// standby is the median power over time, W: a pump that runs once more, or a
// door that lights a lamp, does not count.
func standby(all []stretch) float64 {
	total := heard(all)
	if total < restLeast {
		return math.NaN()
	}
	slices.SortFunc(all, func(a, b stretch) int {
		switch {
		case a.watts < b.watts:
			return -1
		case a.watts > b.watts:
			return 1
		}
		return 0
	})
	var d time.Duration
	for _, s := range all {
		if d += s.d; 2*d >= total {
			return s.watts
		}
	}
	return math.NaN()
}
