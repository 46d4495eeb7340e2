package cycle

import "time"

// hear notes that the meter was heard at now with a reading of at, and deals
// with a hole before it.
func (l *Learned) hear(now, at time.Time) {
	m := &l.mem
	// A meter that kept its readings while it was cut off leaves no hole, nor does
	// one whose clock is set right.
	hole := min(at.Sub(m.ReadAt), now.Sub(m.HeardAt))
	m.HeardAt = now
	if m.ReadAt.IsZero() {
		return
	}
	if m.Silent {
		m.Silent = false
		l.say(Event{Kind: Heard, At: now, Start: m.ReadAt})
	}
	if hole < l.s.SilentAfter {
		return
	}
	m.Onset = onset{}
	m.Derived.Forget()
	if m.Running && hole > min(sameMost, l.atMost(m.ReadAt)+sameSlack) {
		end, wh := m.WorkAt, m.WorkWh
		if m.Lull.Active {
			end, wh = m.Lull.From, m.Lull.Wh
		}
		l.close(Presumed, now, end, wh)
	}
}

// atMost is how long the running cycle still took at the most, seen from at.
func (l *Learned) atMost(at time.Time) time.Duration {
	l.follow()
	return max(0, l.outlook.High.Sub(at))
}

// sameMost is the longest hole over which a cycle may be the same.
const sameMost = 30 * time.Minute

// sameSlack is how much longer than expected it may have taken then.
const sameSlack = 15 * time.Minute
