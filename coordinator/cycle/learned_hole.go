package cycle

import "time"

// hear notes that the meter was heard at now with a reading of at, and deals
// with a hole before it.
func (l *Learned) hear(now, at time.Time) {
	m := &l.mem
	m.HeardAt = now
	if m.Last.At.IsZero() {
		return
	}
	hole := at.Sub(m.Last.At)
	if m.Silent {
		m.Silent = false
		l.say(Event{Kind: Heard, At: now, Start: m.Last.At})
	}
	if hole < l.s.SilentAfter {
		return
	}
	m.Onset = onset{}
	m.Derived.Forget()
	if m.Running && hole > sameMost {
		end, wh := m.WorkAt, m.WorkWh
		if m.Lull.Active {
			end, wh = m.Lull.From, m.Lull.Wh
		}
		l.close(Presumed, now, end, wh)
	}
}

// sameMost is the longest hole over which a cycle may be the same.
const sameMost = 30 * time.Minute
