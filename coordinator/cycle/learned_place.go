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

// stop is what is known at once of a stop of work: how many minutes of the cycle
// were over, and whether and how long ago a strong phase ended that may have been
// the last, give or take slack.
type stop struct {
	Steps int
	After bool
	// Hot says that it cut off a heat.
	Hot          bool
	Since, Slack time.Duration
}

// stopped is a stop after which the cycle went on, d later.
type stopped struct {
	stop
	D time.Duration
}

// stopsMost is how many pauses wait to be counted.
const stopsMost = 64

// lulls begins a lull at the last work.
func (l *Learned) lulls(w float64) {
	m := &l.mem
	m.Lull.begin(m.WorkAt, m.WorkWh, w)
	s := stop{Steps: len(m.Profile.Codes)}
	s.After, s.Since = l.afterStrong(m.WorkAt)
	s.Since = min(s.Since, saneTime) // without a strong phase since ever
	s.Slack = max(endingsSlack, s.Since/5) + m.Meter[1].Usual
	s.Hot = l.cutsHeat(m.WorkAt)
	m.Lull.Stop = s
}

// cutsHeat reports whether work that ended at at did so out of a heat, which no
// programme does.
func (l *Learned) cutsHeat(at time.Time) bool {
	p := &l.mem.Phases
	return p.Heated && p.Strong == Heat && at.Sub(p.StrongUntil) < slotLength+l.mem.Meter[1].Usual
}

// stops notes that the lull was a pause.
func (l *Learned) stops(d time.Duration) {
	m := &l.mem
	if d >= restLeast {
		m.Rests.pause(m.Lull.FloorW)
	}
	if m.Lull.Placed {
		m.Pauses.add(d, m.Lull.At)
		return
	}
	if len(m.Stops) == cap(m.Stops) {
		l.follow()
	}
	m.Stops = append(m.Stops, stopped{m.Lull.Stop, d})
}

// place is where in its programme the machine stopped, with the match as far as
// it was then.
func (l *Learned) place(s stop) place {
	m := &l.mem
	near, known := l.match.near(nearEnd, m.Past.Runs)
	guess := guessBefore
	if s.After {
		guess = guessAfter
	}
	p := known*near + (1-known)*guess
	if s.After {
		alike, n := m.Endings.alike(s.Since, s.Slack)
		if alike > 0 {
			p = max(p, guessAlike*m.Past.novelty())
		}
		p *= min(1, 1.5*float64(alike+1)/float64(n+1))
	}
	at := place{Near: p, After: s.After}
	if s.Hot {
		at.Amid = 1 - p
	} else if l.s.Washer && time.Duration(s.Steps)*profileStep >= cycleLeast {
		// How far a dryer is depends on the load, and the first minutes of most
		// programmes look alike.
		at.Amid = known * (1 - near) * (1 - m.Past.novelty())
	}
	return at
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
