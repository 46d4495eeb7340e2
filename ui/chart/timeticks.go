package chart

import "time"

// Tick is a mark on an axis of time.
type Tick struct {
	At    time.Time
	Label string
}

// pace is a distance of ticks: so many minutes of the local clock, or days, or months.
type pace struct{ minutes, days, months int }

var paces = [...]pace{
	{minutes: 1}, {minutes: 2}, {minutes: 5}, {minutes: 10}, {minutes: 15}, {minutes: 30},
	{minutes: 60}, {minutes: 120}, {minutes: 180}, {minutes: 360}, {minutes: 720},
	{days: 1}, {days: 2}, {days: 7}, {days: 14}, {months: 1}, {months: 2}, {months: 3}, {months: 6},
	{months: 12}, {months: 24}, {months: 60}, {months: 120}, {months: 600},
}

// length is about how long a pace is.
func (p pace) length() time.Duration {
	const day = 24 * time.Hour
	return time.Duration(p.minutes)*time.Minute + time.Duration(p.days)*day + time.Duration(p.months)*30*day
}

// TimeTicks are the round instants of the local calendar from one instant to
// another, both included: at most about so many, at whole minutes, hours, days
// or months of the zone. Where the clock changes, ticks stay at the round hours
// that the clock shows: one that is skipped has none, one that comes twice two.
func TimeTicks(from, to time.Time, zone *time.Location, most int, l Locale) []Tick {
	if zone == nil {
		zone = time.UTC
	}
	if !to.After(from) || to.Sub(from) > longestAxis {
		return nil
	}
	p := paceFor(to.Sub(from), max(1, most))
	from, to = from.In(zone), to.In(zone)
	if p.minutes > 0 {
		return clockTicks(from, to, p.minutes, l)
	}
	return dayTicks(from, to, p, l)
}

func paceFor(span time.Duration, most int) pace {
	for _, p := range paces {
		if span/p.length() <= time.Duration(most) {
			return p
		}
	}
	return paces[len(paces)-1]
}

// clockTicks are those within a day: where the minutes of the local day divide
// by the pace.
func clockTicks(from, to time.Time, minutes int, l Locale) []Tick {
	grain := min(minutes, 15) // a zone's change is a multiple of a quarter of an hour
	y, m, d := from.Date()
	t := time.Date(y, m, d, from.Hour(), from.Minute()/grain*grain, 0, 0, from.Location())
	if t.After(from) { // the hour comes twice, and this is the other one
		t = from.Truncate(time.Duration(grain) * time.Minute)
	}
	var out []Tick
	for ; !t.After(to); t = t.Add(time.Duration(grain) * time.Minute) {
		if t.Before(from) || t.Second() != 0 || (t.Hour()*60+t.Minute())%minutes != 0 {
			continue
		}
		label := l.clock(t)
		if t.Equal(to) && t.Hour() == 0 && t.Minute() == 0 {
			label = "24:00"
		}
		out = append(out, Tick{t, label})
	}
	return out
}

// dayTicks are at the begin of days: every so many, of the first of a month, or
// the first of every so many months.
func dayTicks(from, to time.Time, p pace, l Locale) []Tick {
	y, m, d := from.Date()
	write := l.day
	if p.months > 0 {
		write, d = l.month, 1
		k := y*12 + int(m) - 1
		k -= k % p.months
		y, m = k/12, time.Month(k%12+1)
	}
	if p.days%7 == 0 && p.days > 0 { // weeks begin on Monday
		d -= (int(from.Weekday()) + 6) % 7
	}
	var out []Tick
	for i := 0; ; i++ {
		t := DayBegin(y, m+time.Month(i*p.months), d+i*p.days, from.Location())
		if t.After(to) {
			return out
		}
		if !t.Before(from) {
			out = append(out, Tick{t, write(t)})
		}
	}
}

// DayBegin is the first instant of a local day: midnight, or where the change of
// the clock skips that, the instant of the change.
func DayBegin(y int, m time.Month, d int, zone *time.Location) time.Time {
	want := time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	t := time.Date(y, m, d, 0, 0, 0, 0, zone)
	if t.Day() != want.Day() {
		_, t = t.ZoneBounds()
	}
	return t
}

// longestAxis is more than any building's history.
const longestAxis = 250 * 365 * 24 * time.Hour
