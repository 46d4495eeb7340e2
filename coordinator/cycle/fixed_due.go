package cycle

import "time"

// due says what has become true by now without a further reading: first what
// follows from the newest reading holding on, then silence. The order matters
// when both have passed: up to SilentAfter the reading holds, beyond it nothing
// is known.
func (f *Fixed) due(now time.Time) {
	m := &f.mem
	if m.HeardAt.IsZero() || m.Silent {
		return
	}
	until := now
	if silent := m.HeardAt.Add(f.set.SilentAfter); until.After(silent) {
		until = silent
	}
	// held is how far the machine's own time has come: the instant of the newest
	// reading, and what has passed here since it was heard.
	held := m.LastAt.Add(until.Sub(m.HeardAt))
	if at := f.startDue(); !at.IsZero() && !held.Before(at) {
		f.start(now)
	}
	if at := f.phaseDue(); !at.IsZero() && !held.Before(at) {
		f.enter(now)
	}
	if at := f.stallDue(); !at.IsZero() && !held.Before(at) {
		m.Stalled = true
		f.say(Stalled, now)
	}
	if at := f.endDue(); !at.IsZero() && !held.Before(at) {
		f.end(now)
	}
	if !now.Before(m.HeardAt.Add(f.set.SilentAfter)) {
		m.Silent = true
		f.say(Silent, now).Start = m.LastAt
	}
}

// Next implements Engine.
func (f *Fixed) Next() time.Time {
	m := &f.mem
	if m.HeardAt.IsZero() || m.Silent {
		return time.Time{}
	}
	next := m.HeardAt.Add(f.set.SilentAfter)
	for _, at := range [...]time.Time{f.startDue(), f.phaseDue(), f.stallDue(), f.endDue()} {
		if at.IsZero() {
			continue
		}
		if here := m.HeardAt.Add(at.Sub(m.LastAt)); here.Before(next) {
			next = here
		}
	}
	return next
}
