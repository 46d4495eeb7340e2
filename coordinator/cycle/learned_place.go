package cycle

import "time"

const (
	// nearEnd is how much of a programme counts as its end.
	nearEnd = 150 * time.Second
	// endingsSlack is how exactly the end of a strong phase is known.
	endingsSlack = slotLength
	// guessAfter is the chance that the strong phase which was the last so far is
	// the last of the programme, of which nothing else is known; guessBefore is
	// the chance to be at the end without one.
	guessAfter, guessBefore = 0.4, 0.02
	// guessAlike is that chance where the time since then is that of other ends.
	guessAlike = 0.5
)

// place is where in its programme the machine stopped to work just now.
func (l *Learned) place() place {
	m := &l.mem
	near, known := l.match.near(nearEnd, m.Past.Runs)
	after, since := l.afterStrong(m.WorkAt)
	guess := guessBefore
	if after {
		guess = guessAfter
	}
	p := known*near + (1-known)*guess
	if after {
		slack := max(endingsSlack, since/5) + m.Meter[1].Usual
		alike, n := m.Endings.alike(since, slack)
		if alike > 0 {
			p = max(p, guessAlike*m.Past.novelty())
		}
		p *= min(1, 1.5*float64(alike+1)/float64(n+1))
	}
	return place{Near: p, After: after}
}

// afterStrong reports whether the last strong phase may have been the
// programme's last, and how long ago it ended: a washer's spin or, where it
// dries, a heat that the drum has since turned without.
func (l *Learned) afterStrong(at time.Time) (bool, time.Duration) {
	p := &l.mem.Phases
	since := at.Sub(p.StrongUntil)
	switch p.Strong {
	case Spin:
		return true, since
	case Heat:
		return l.s.Dryer && since >= coolLeast, since
	}
	// A dryer that shows no heat (a gas dryer's meter sees its motor only) may
	// end at any time.
	return l.s.Dryer && !l.s.Washer, since
}

// coolLeast is the shortest cool-down.
const coolLeast = 2 * time.Minute
