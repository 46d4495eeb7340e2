package cycle

import "time"

// look reckons the outlook anew, at the end of a minute.
func (l *Learned) look(at time.Time) {
	m := &l.mem
	elapsed := at.Sub(m.Start)
	steps := time.Duration(len(m.Profile.Codes)) * profileStep
	rest := elapsed - steps // since the last whole minute
	l.ahead.reset()
	for i := range l.match.weight {
		r := &m.Past.Runs[i]
		for j := l.match.alive[i][0]; j < l.match.alive[i][1]; j++ {
			if w := l.match.weight[i][j]; w > 0 {
				l.ahead.add(r.left(j), float64(w))
			}
		}
	}
	if l.match.beyond > 0 {
		l.ahead.add(2*time.Minute, l.match.beyond/2)
		l.ahead.add(8*time.Minute, l.match.beyond/2)
	}
	l.addNovel(steps)
	q := l.ahead.quantiles([3]float64{0.1, 0.5, 0.9})
	for i := range q {
		q[i] = max(0, q[i]-rest)
	}
	p := part(elapsed, q[1])
	m.Trust.say(p, q[1], q[1]-q[0], q[2]-q[1])
	below, above := m.Trust.widen(p, q[1]-q[0], q[2]-q[1])
	to := outlook{
		At: at, Median: at.Add(q[1]), Low: at.Add(max(0, q[1]-below)), High: at.Add(q[1] + above),
		About: len(m.Past.Runs) == 0, Phases: m.Phases.Count,
	}
	m.Outlook.move(to)
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
	return l.mem.Outlook.estimate(now), true
}

// Status implements Engine.
func (l *Learned) Status() Status {
	m := &l.mem
	s := Status{
		Running: m.Running, Silent: m.Silent, Start: m.Start, Phase: m.Phases.Now, PhaseSince: m.Phases.Since,
		EnergyWh: m.CycleWh, PeakW: m.PeakW, Last: m.Last, Stalled: m.Stalled,
	}
	if m.Running {
		s.EnergyWh = m.Energy.Wh() - m.StartWh
		s.LastWork = m.WorkAt
		if m.Lull.Active {
			s.LastWork = m.Lull.From
		}
	}
	return s
}
