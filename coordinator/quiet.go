package coordinator

import (
	"time"

	"drumturn/queue"
)

// Quiet is a stretch of every day: from From to To on the local clock, over
// midnight where To is the earlier. The two being the same, or either being
// queue.NoClock, means none; so does the zero value.
type Quiet struct{ From, To queue.Clock }

// None reports whether there is no such stretch.
func (q Quiet) None() bool {
	return q.From == queue.NoClock || q.To == queue.NoClock || q.From == q.To
}

// Ends is the end of the stretch that t lies in, or zero when it lies in none.
func (q Quiet) Ends(t time.Time, zone *time.Location) time.Time {
	if q.None() {
		return time.Time{}
	}
	for back := 1; back >= 0; back-- {
		begin, end := q.on(t, -back, zone)
		if !t.Before(begin) && t.Before(end) {
			// Where the clocks skip all that is not quiet, the next stretch begins at once.
			if next := q.Ends(end, zone); !next.IsZero() {
				return next
			}
			return end
		}
	}
	return time.Time{}
}

// Begins is the next beginning of the stretch after t, or zero when there is none.
func (q Quiet) Begins(t time.Time, zone *time.Location) time.Time {
	for ahead := 0; ahead < 3 && !q.None(); ahead++ {
		if begin, end := q.on(t, ahead, zone); begin.After(t) && end.After(begin) {
			return begin
		}
	}
	return time.Time{}
}

// on is the stretch that begins on the local day of t, or so many days later.
// Noon is on the same day everywhere; midnight may be skipped.
func (q Quiet) on(t time.Time, days int, zone *time.Location) (begin, end time.Time) {
	y, m, d := t.In(zone).Date()
	noon := func(more int) time.Time { return time.Date(y, m, d+days+more, 12, 0, 0, 0, zone) }
	begin = q.From.On(noon(0), zone)
	if q.To > q.From {
		return firstOf(begin), lastOf(q.To.On(noon(0), zone))
	}
	return firstOf(begin), lastOf(q.To.On(noon(1), zone))
}

// Past moves until on by the quiet time between from and it: what counts down
// stands still meanwhile.
func (q Quiet) Past(from, until time.Time, zone *time.Location) time.Time {
	const most = 60 // so that a stretch of nearly the whole day comes to an end
	at, left := from, until.Sub(from)
	for range most {
		if end := q.Ends(at, zone); !end.IsZero() {
			at = end
		}
		begin := q.Begins(at, zone)
		if begin.IsZero() || at.Add(left).Before(begin) {
			break
		}
		left -= begin.Sub(at)
		at = begin
	}
	return at.Add(left)
}

// When clocks go back, some times of day come twice. Quiet lasts from the first
// to the second of them.

func firstOf(t time.Time) time.Time { return twin(t, -1) }
func lastOf(t time.Time) time.Time  { return twin(t, 1) }

// twin is the instant with the same time of day as t on the other side of the
// change of clocks that comes after (side 1) or before (side -1), or t itself.
func twin(t time.Time, side int) time.Time {
	before, after := t.ZoneBounds()
	other := after
	if side < 0 {
		other = before.Add(-1)
	}
	if before.IsZero() && side < 0 || after.IsZero() && side > 0 {
		return t
	}
	_, here := t.Zone()
	_, there := other.In(t.Location()).Zone()
	same := t.Add(time.Duration(here-there) * time.Second)
	if (here-there)*side <= 0 || same.Format("02 15:04") != t.Format("02 15:04") {
		return t
	}
	return same
}
