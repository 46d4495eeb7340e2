package cycle

import "time"

const (
	// heatW and heatShare: heating takes more than 1 kW and most of the highest
	// power that the machine has shown in this cycle.
	heatW     = 1000
	heatShare = 0.6
	// phaseLasts is how long a level must go on to be a phase.
	phaseLasts = 2 * time.Minute
)

// phase follows the level of power. It tells heating, turning and pauses apart,
// no more: spinning and cooling down look like turning to it.
func (f *Fixed) phase(at time.Time, w float64, high bool) {
	m := &f.mem
	if !m.Running {
		return
	}
	p := Tumble
	switch {
	case !high:
		p = Pause
	case w > heatW && w > heatShare*m.PeakW:
		p = Heat
	}
	switch {
	case p == m.Phase:
		m.Coming = NoPhase
	case p != m.Coming:
		if m.Phase == NoPhase && m.Coming == NoPhase {
			at = m.Start
		}
		m.Coming, m.ComingAt = p, at
	}
}

// phaseDue is when the coming phase has lasted.
func (f *Fixed) phaseDue() time.Time {
	m := &f.mem
	if !m.Running || m.Coming == NoPhase {
		return time.Time{}
	}
	return m.ComingAt.Add(phaseLasts)
}

func (f *Fixed) enter(now time.Time) {
	m := &f.mem
	m.Phase, m.PhaseAt, m.Coming = m.Coming, m.ComingAt, NoPhase
	f.say(PhaseBegan, now).Phase = m.Phase
}
