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
	// Stop is what its begin has shown, At where in the programme that was, once
	// that was reckoned: Placed.
	Stop   stop
	At     place
	Placed bool
	// QuietW follows the low powers in it, W: the glow, if it is the end.
	QuietW float64
	// FloorW is the lowest power in it, W, and FloorAsked the one Need is for.
	FloorW, FloorAsked float64
	// Need is how long it must last until it is the end; zero: not reckoned yet.
	Need time.Duration
}

const (
	// resumeAfter is how much work in one stretch ends a lull in any case.
	resumeAfter = 25 * time.Second
	resumeLeast = 6 * time.Second
)

// resumption is which pulses of the drum end a lull.
type resumption struct {
	// share of work to rest does, if the newest pulse had so many readings.
	share    float64
	readings int
	// loosens says that a pulse now is part of the programme.
	loosens bool
	// usual is how often the meter reports at work.
	usual time.Duration
}

// A washer's drum rests much of the time; a dryer's turns all the time while it
// dries, and hardly against creases.
var (
	resumesWasher = resumption{share: 0.5, readings: 1}
	resumesDryer  = resumption{share: 0.9, readings: 2}
)

func (l *lull) begin(from time.Time, wh, w float64) {
	*l = lull{Active: true, From: from, Wh: wh, FloorW: w}
}

// lasted is for how long there has been no real work.
func (l *lull) lasted() time.Duration { return l.Low + l.Work }

// step takes the next reading, d (as far as it is believed) after the last, and
// reports whether the lull is over: work has resumed.
func (l *lull) step(at time.Time, d time.Duration, high bool, rule resumption) bool {
	work, low := split(d, l.High, high, rule.usual)
	l.Work, l.Run, l.Low = l.Work+work, l.Run+work, l.Low+low
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
		return l.N >= rule.readings && l.resumed(rule.share)
	}
	if rule.loosens {
		return true
	}
	return l.N >= 2 && (l.Run >= resumeAfter || l.resumed(rule.share))
}

// quiet follows the power of readings that are no turn of the drum.
func (l *lull) quiet(w float64) {
	l.FloorW = min(l.FloorW, w)
	switch {
	case w > flatMostW:
	case l.QuietW == 0:
		l.QuietW = w
	default:
		l.QuietW += 0.1 * (w - l.QuietW)
	}
}

func (l *lull) resumed(share float64) bool {
	return l.Work >= resumeLeast && float64(l.Work) >= share*float64(l.Low)
}
