package cycle

import "time"

// sameHole is how long a hole may be for the cycle before and after it to be the
// same whatever the clock says: a power cut from which the machine goes on.
const sameHole = 30 * time.Minute

// hear ends a silence, and remembers a hole in the readings of a running cycle
// until it is known whether the cycle came out of it.
func (f *Fixed) hear(now, at time.Time) {
	m := &f.mem
	if m.HeardAt.IsZero() {
		return
	}
	if m.Silent {
		m.Silent = false
		f.say(Heard, now).Start = m.LastAt
	}
	// A meter that kept its readings while it was cut off leaves no hole, nor
	// does one whose clock is set right.
	hole := min(at.Sub(m.LastAt), now.Sub(m.HeardAt))
	if hole <= f.set.SilentAfter {
		return
	}
	m.Derived.Forget()
	m.High, m.Strong, m.Rise, m.Coming = false, false, fixedRise{}, NoPhase
	if m.Running {
		// What was low before the hole says nothing about the time in it.
		m.Low, m.Hole = false, hole
	}
}

// same tells whether work at an instant after a hole still is the running
// cycle: the hole was short, or the cycle has not outlasted what is sensible.
func (f *Fixed) same(at time.Time) bool {
	m := &f.mem
	return m.Hole <= sameHole || at.Sub(m.Start) <= m.Runs.Longest(f.set)
}

// split closes the cycle before a hole where it was last seen to work, and
// lets the work after it be the start of another.
func (f *Fixed) split(now, at time.Time, w float64) {
	f.close(Presumed, now, f.mem.WorkAt, f.mem.WorkWh)
	f.mem.Rise = f.rising(at, w)
}
