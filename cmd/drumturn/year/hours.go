package year

import "time"

// clock is the time of day.
func clock(t time.Time) time.Duration { return t.Sub(t.Truncate(24 * time.Hour)) }

// openUntil is how long the room was open, since the day began, at a time of day.
func openUntil(at time.Duration) time.Duration { return min(max(at, opensAt), lastStart) - opensAt }

const openPerDay = lastStart - opensAt

// openBetween is for how long the room was open between two instants.
func openBetween(a, b time.Time) time.Duration {
	days := b.Truncate(24*time.Hour).Sub(a.Truncate(24*time.Hour)) / (24 * time.Hour)
	return days*openPerDay + openUntil(clock(b)) - openUntil(clock(a))
}

// openFor is the instant until which the room will have been open for d, from t on.
func openFor(t time.Time, d time.Duration) time.Time {
	d += openUntil(clock(t))
	return t.Truncate(24*time.Hour).AddDate(0, 0, int(d/openPerDay)).Add(opensAt + d%openPerDay)
}
