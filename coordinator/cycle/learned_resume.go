package cycle

import "time"

// newStarts is how often a machine that is free is started, in a minute: every two
// or three hours by day (common practice, no source).
const newStarts = 0.006

// sameLoad is how soon after a programme was cut off work is still that of the same
// load, be it that the programme goes on or that another was chosen for it.
const sameLoad = 10 * time.Minute

// goesOn reports whether the work that has begun is the last cycle's: the chance
// that it paused for so long and goes on this minute against that of a new start.
func (l *Learned) goesOn() bool {
	m := &l.mem
	if !m.Kept || m.End.IsZero() {
		return false
	}
	h := l.habit()
	gap := m.Onset.From.Sub(m.End)
	if m.Past.Runs[len(m.Past.Runs)-1].Cut && gap <= sameLoad && m.Meter[1].Usual < slowCadence {
		return true
	}
	// Whether that was an end is the question: it does not speak for itself.
	rests, pauses := m.Rests, m.Pauses
	rests.forgetEnd(m.ClosedW)
	pauses.Cycles = max(0, pauses.Cycles-1)
	return pauses.goesOn(gap, m.Closed, h, rests.favours(m.RestW))*h.power/gap.Minutes() > newStarts
}

// reopen takes back the end of the last cycle, which goes on.
func (l *Learned) reopen(now, at time.Time) {
	m := &l.mem
	m.Past.Runs = m.Past.Runs[:len(m.Past.Runs)-1]
	m.Kept = false
	m.Rests.forgetEnd(m.ClosedW)
	if m.Phases.Strong == Spin && l.s.Washer && !l.s.Dryer {
		// Should it heat soon, it was the end after all. The stop is not among the pauses.
		m.Seam = seam{
			End: m.End, Next: m.Onset.From, EndWh: m.StartWh + m.CycleWh, NextWh: m.Onset.Wh,
			Strong: m.Phases.Strong, StrongUntil: m.Phases.StrongUntil, At: m.Closed,
		}
	}
	m.Running = true
	m.End = time.Time{}
	m.PeakW, m.TopW = max(m.PeakW, m.Onset.PeakW), max(m.TopW, m.Onset.TopW)
	m.WorkAt, m.WorkWh = at, m.Energy.Wh()
	m.Phases.Now, m.Phases.Since = Tumble, m.Onset.From
	m.Phases.Count++
	gap := at.Sub(m.Start) - time.Duration(len(m.Profile.Codes))*profileStep - m.Profile.Filled
	m.Profile.phase(m.Profile.add(0, max(0, gap), max(0, gap)), m.Phases.Count)
	l.rematch()
	m.Onset = onset{}
	l.say(Event{Kind: Resumed, At: now, Start: m.Start})
}
