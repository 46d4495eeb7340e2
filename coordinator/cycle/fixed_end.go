package cycle

import "time"

const (
	// cutStandbyW is a standby that is clearly above 0 W.
	cutStandbyW = 0.5
	// cutRuns is how many ends must have shown it until its absence says anything.
	cutRuns = 2
	// turnW is less than any motor that turns a drum draws, W (common practice, no
	// source): a machine that never drew it was switched on, not used.
	turnW = 30
	// stallSlack is how far beyond all reason a cycle must go to be stalled.
	stallSlack = time.Hour
)

// endDue is when the low stretch is long enough to be the end.
func (f *Fixed) endDue() time.Time {
	m := &f.mem
	if !m.Running || !m.Low {
		return time.Time{}
	}
	return m.LowAt.Add(f.set.IdleFor)
}

// stallDue is when the cycle has gone on for twice the longest sensible length,
// and an hour more than that length.
func (f *Fixed) stallDue() time.Time {
	m := &f.mem
	if !m.Running || m.Stalled {
		return time.Time{}
	}
	longest := m.Runs.Longest(f.set)
	return m.Start.Add(max(2*longest, longest+stallSlack))
}

// end closes the cycle whose low stretch is full.
func (f *Fixed) end(now time.Time) {
	m := &f.mem
	if m.Hole > 0 {
		f.close(Presumed, now, m.WorkAt, m.WorkWh)
		return
	}
	kind, length := f.judge()
	f.close(kind, now, m.LowAt, m.LowWh)
	if kind == Finished {
		m.Runs.Keep(length)
		m.Standby.keep(m.LowMaxW)
	}
}

// judge tells a programme that was completed from one that was cut short:
//
//   - no motor ever turned;
//   - or power went straight to 0 W where every end kept so far (two at least) left
//     a standby clearly above 0 W, and no run that is kept was as long, within a
//     tenth: the mains were cut, and not by somebody who found it finished;
//   - or it was less than half as long as the shortest of the runs kept (three at
//     least). Two such short ones in a row of the same length, within a tenth,
//     are a short programme that was not known yet.
func (f *Fixed) judge() (Kind, time.Duration) {
	m := &f.mem
	length := m.LowAt.Sub(m.Start)
	if m.PeakW < turnW || m.Standby.missing(m.LowMaxW) && !m.Runs.has(length) {
		return StoppedEarly, length
	}
	if len(m.Runs.Lengths) < enoughRuns || 2*length >= m.Runs.shortest() {
		m.Short = 0
		return Finished, length
	}
	known := alikeLength(length, m.Short)
	m.Short = length
	if known {
		return Finished, length
	}
	return StoppedEarly, length
}

// close says the end of the running cycle.
func (f *Fixed) close(k Kind, now, end time.Time, wh float64) {
	m := &f.mem
	if end.Before(m.Start) {
		end = m.Start
	}
	m.CycleWh = max(0, wh-m.StartWh)
	e := f.say(k, now)
	e.End, e.EnergyWh = end, m.CycleWh
	m.Running, m.Low, m.Hole, m.Rise = false, false, 0, fixedRise{}
	m.Phase, m.PhaseAt, m.Coming = After, end, NoPhase
}

// fixedStandby remembers what the machine draws right after its ends.
type fixedStandby struct {
	Ends    int
	LowestW float64
}

// missing tells whether the standby that every end left is not there this time.
func (s *fixedStandby) missing(w float64) bool {
	return s.Ends >= cutRuns && s.LowestW >= cutStandbyW && w <= s.LowestW/10
}

// keep folds in the highest power of the low stretch of one end, W.
func (s *fixedStandby) keep(w float64) {
	if s.Ends == lastRunKeeps {
		s.Ends = 0 // So that one odd end is not held against the machine for ever.
	}
	if s.Ends == 0 || w < s.LowestW {
		s.LowestW = w
	}
	s.Ends++
}
