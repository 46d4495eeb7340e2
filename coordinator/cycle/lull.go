package cycle

import "time"

// lull is a stretch of a running cycle without real work: a pause, or the end.
// Short pulses do not end it, for a drum that turns ten seconds a minute after
// the programme keeps the load from creasing; only work that goes on does, or
// work that fills a good part of the time.
type lull struct {
	Active bool
	// From is the last reading at work before it: the end, if it is the end.
	From time.Time
	// Wh is the energy tally at From.
	Wh float64
	// Low and Work are the times below and at work since From, as far as the
	// meter was heard; Run is the length of the present pulse.
	Low, Work, Run time.Duration
	// Began is the first reading of the present pulse.
	Began  time.Time
	High   bool
	N      int // readings in the present pulse
	Pulses int
	// At is where in the programme it began.
	At place
	// Need is how long it must last until it is the end; zero: not reckoned yet.
	Need time.Duration
}

const (
	// resumeAfter is how much work in one stretch ends a lull in any case.
	resumeAfter = 25 * time.Second
	// resumeShare is the share of work to rest that does.
	resumeShare = 0.5
	resumeLeast = 6 * time.Second
)

func (l *lull) begin(from time.Time, wh float64, at place) {
	*l = lull{Active: true, From: from, Wh: wh, At: at}
}

// lasted is for how long there has been no real work.
func (l *lull) lasted() time.Duration { return l.Low + l.Work }

// step takes the next reading, d (as far as it is believed) after the last, and
// reports whether the lull is over: work has resumed. Where loosens is set a
// pulse of the drum is part of the programme and does, too.
func (l *lull) step(at time.Time, d time.Duration, high, loosens bool) bool {
	if l.High {
		l.Work += d
		l.Run += d
	} else {
		l.Low += d
	}
	switch {
	case high && !l.High:
		l.Pulses++
		l.Began, l.N, l.Run = at, 1, 0
	case high:
		l.N++
	}
	l.High = high
	if !high {
		l.Run = 0
		return l.resumed()
	}
	if loosens {
		return true
	}
	return l.N >= 2 && (l.Run >= resumeAfter || l.resumed())
}

func (l *lull) resumed() bool {
	return l.Work >= resumeLeast && float64(l.Work) >= resumeShare*float64(l.Low)
}
