package year

import (
	"math"
	"time"
)

// What draws are about.
const (
	drying uint64 = iota + 1
	booking
	walking
	weight
	tapping
	programme
	missing
	strolling
	fetching
	forgetting
	heeding
	hurrying
	saying
	claiming
	barging
	pushing
	moving
	returning
	enduring
	rising
)

// unit draws an even number in (0, 1) that depends on nothing but its arguments:
// SplitMix64 (Steele, Lea and Flood 2014) over them.
func unit(seed, who, what uint64, again int) float64 {
	x := seed
	for _, v := range [...]uint64{who, what, uint64(again)} {
		x += v + 0x9e3779b97f4a7c15
		x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
		x = (x ^ x>>27) * 0x94d049bb133111eb
		x ^= x >> 31
	}
	return (float64(x>>11) + 0.5) / (1 << 53)
}

// share is the wish's draw about something, when that is decided for the again-th time.
func (w *Wish) share(what uint64, again int) float64 {
	return unit(w.seed, uint64(w.Number)+1<<20, what, again)
}

// length draws from a law of lengths.
func (w *Wish) length(l Lengths, what uint64, again int) time.Duration {
	normal := math.Sqrt2 * math.Erfinv(2*w.share(what, again)-1)
	return time.Duration(float64(l.Median) * math.Exp(l.Spread*normal))
}

// late is how long after the end of its wash, or of its dry, a load is fetched.
func (w *Wish) late(dry bool) time.Duration {
	again := 0
	if dry {
		again = 1
	}
	if w.share(forgetting, again) < w.habits.Forgets {
		return w.length(w.habits.Forgotten, fetching, again)
	}
	return w.length(w.habits.Late, fetching, again)
}

// awake is t, or the morning after when t lies in the hours in which nobody comes.
func (w *Wish) awake(t time.Time) time.Time { return w.morningFrom(t, nobodyComes) }

// byDay is t, or the morning after when the room is shut at t.
func (w *Wish) byDay(t time.Time) time.Time { return w.morningFrom(t, lastStart) }

// morningFrom is t, or within the first hour of the next morning when t is at
// night, which begins at a time of day.
func (w *Wish) morningFrom(t time.Time, night time.Duration) time.Time {
	midnight := t.Truncate(24 * time.Hour)
	morning := opensAt + time.Duration(w.share(rising, 0)*float64(time.Hour))
	switch at := clock(t); {
	case at >= night:
		return midnight.AddDate(0, 0, 1).Add(morning)
	case at < opensAt:
		return midnight.Add(morning)
	}
	return t
}
