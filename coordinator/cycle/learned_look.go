package cycle

import (
	"math"
	"time"
)

// follow brings the match and what is said of the remaining time up to the last
// whole minute of the running cycle. Both follow from the profile alone, so it is
// all the same when this is done: at each minute, or once when somebody asks.
func (l *Learned) follow() {
	m := &l.mem
	if l.outlook.At.IsZero() {
		l.look(0)
	}
	l.settle()
	for l.match.steps < len(m.Profile.Codes) {
		l.match.step(m.Profile.Codes[l.match.steps], m.Past.Runs)
		l.look(m.Profile.Began[l.match.steps-1])
		l.settle()
	}
}

// rematch lets the match begin anew, at the start of the running cycle.
func (l *Learned) rematch() {
	l.mem.Trust.reset()
	l.outlook = outlook{}
	l.match.begin(l.mem.Past.Runs)
	l.match.novelLeast = novelShare * l.mem.Past.novelty()
}

// novelShare is how much of the chance of a programme never seen remains, however well
// a known one fits: most begin alike.
const novelShare = 0.15

// settle finds the places of the stops that were made in this minute.
func (l *Learned) settle() {
	m := &l.mem
	n := 0
	for n < len(m.Stops) && m.Stops[n].Steps <= l.match.steps {
		m.Pauses.add(m.Stops[n].D, l.place(m.Stops[n].stop))
		n++
	}
	m.Stops = append(m.Stops[:0], m.Stops[n:]...)
	if m.Lull.Active && !m.Lull.Placed && m.Lull.Stop.Steps <= l.match.steps {
		m.Lull.At, m.Lull.Placed = l.place(m.Lull.Stop), true
	}
}

// look reckons the outlook at the end of a minute, in which began phases began.
func (l *Learned) look(began byte) {
	m := &l.mem
	elapsed := time.Duration(l.match.steps) * profileStep
	at := m.Start.Add(elapsed)
	l.bare.reset()
	for i := range l.match.weight {
		l.addRun(i, &m.Past.Runs[i])
	}
	l.ahead.reset()
	l.ahead.addBlurred(&l.bare, l.blur())
	if l.match.beyond > 0 {
		l.ahead.add(2*time.Minute, l.match.beyond/2)
		l.ahead.add(8*time.Minute, l.match.beyond/2)
	}
	l.addNovel(elapsed)
	q := l.ahead.quantiles([3]float64{0.1, 0.5, 0.9})
	few := l.few()
	wider := func(d time.Duration) time.Duration { return time.Duration(few * float64(d)).Round(time.Second) }
	q[0], q[2] = max(0, q[1]-wider(q[1]-q[0])), q[1]+wider(q[2]-q[1])
	p := part(elapsed, q[1])
	if l.match.steps > 0 {
		m.Trust.say(p, q[1], q[1]-q[0], q[2]-q[1])
	}
	below, above := m.Trust.widen(p, q[1]-q[0], q[2]-q[1])
	l.outlook.move(outlook{
		At: at, Median: at.Add(q[1]), Low: at.Add(max(0, q[1]-below)), High: at.Add(q[1] + above),
		About: len(m.Past.Runs) == 0, Phases: l.outlook.Phases + int(began),
	})
}

// blur is how much a remaining time varies between cycles that look alike, as a
// share of it: more where few have been seen, and for a dryer, whose load may be
// of any wetness.
func (l *Learned) blur() float64 {
	share := 0.2
	if !l.s.Washer {
		share = 0.4
	}
	return share / math.Sqrt(1+float64(len(l.mem.Past.Runs)))
}

// few is how much wider an interval must be than the runs say, for so few runs do
// not show how much a machine's cycles vary: twice with none, and for one that dries,
// whose load may be of any wetness, five times.
func (l *Learned) few() float64 {
	more := 1.0
	if l.s.Dryer {
		more = 4
	}
	return 1 + more/(1+float64(len(l.mem.Past.Runs)))
}

// addRun adds what a run says: for each of its minutes that the present may be
// at, what came after it, and for the last minute of a phase how long that may
// still last: points of an exponential distribution.
func (l *Learned) addRun(i int, r *run) {
	lo, hi := l.match.alive[i][0], l.match.alive[i][1]
	if lo >= hi {
		return
	}
	const perStep = int(profileStep / spreadStep)
	whole := int(r.Length / spreadStep)
	if l.match.steps == 0 {
		whole += perStep // not even its first minute is over
	}
	for j, w := range l.match.weight[i][lo:hi] {
		l.bare.addAt(whole-perStep*(lo+j+1), float64(w))
	}
	mean := float64(perStep) * l.match.holds / (1 - l.match.holds)
	for _, j := range r.Marks {
		if j <= lo || j > hi {
			continue
		}
		w := float64(l.match.weight[i][j-1])
		at := whole - perStep*j
		l.bare.addAt(at, -w)
		for _, f := range [4]float64{0.13, 0.47, 0.98, 2.08} {
			l.bare.addAt(max(0, at)+int(f*mean+0.5), w/4)
		}
	}
}

// addNovel spreads the weight of a programme never seen over the lengths that
// are usual of the kind and those of this machine.
func (l *Learned) addNovel(steps time.Duration) {
	w := l.match.novel
	if w < 1e-3 && l.ahead.total > 0 {
		return
	}
	n := 0
	for _, p := range l.prior {
		if p > steps {
			n++
		}
	}
	if n == 0 {
		l.ahead.add(steps/8, w)
		return
	}
	for _, p := range l.prior {
		if p > steps {
			l.ahead.add(p-steps, w/float64(n))
		}
	}
}

// Remaining implements Engine.
func (l *Learned) Remaining(now time.Time) (Estimate, bool) {
	if !l.mem.Running {
		return Estimate{}, false
	}
	l.follow()
	return l.outlook.estimate(now), true
}

// Status implements Engine.
func (l *Learned) Status() Status {
	m := &l.mem
	s := Status{
		Running: m.Running, Silent: m.Silent, Start: m.Start, Phase: m.Phases.Now, PhaseSince: m.Phases.Since,
		EnergyWh: m.CycleWh, PeakW: m.PeakW, Last: m.last(), Stalled: m.Stalled,
	}
	if m.Running {
		s.EnergyWh = max(0, m.Energy.Wh()-m.StartWh)
		s.LastWork = m.WorkAt
		if m.Lull.Active {
			s.LastWork = m.Lull.From
		}
	}
	return s
}
