package cycle

import "time"

const (
	// profileStep is the length of a step of a profile.
	profileStep = time.Minute
	// profileMost is how many steps are kept of one cycle.
	profileMost = 480
)

// profile is the course of a cycle: its mean power, as a code, minute by minute
// from its start. It is what later cycles are compared with.
type profile struct {
	Codes []byte
	// Ws is the energy of the step that is still open, Filled how much of it
	// has passed, Known how much of that was heard.
	Ws            float64
	Filled, Known time.Duration
}

func (p *profile) reset() {
	p.Codes, p.Ws, p.Filled, p.Known = p.Codes[:0], 0, 0, 0
}

// add takes power that held for d, of which known was heard, and reports how
// many steps are now complete that were not before.
func (p *profile) add(watts float64, d, known time.Duration) (steps int) {
	for d > 0 && len(p.Codes) < profileMost {
		part := min(d, profileStep-p.Filled)
		heard := min(part, known)
		p.Ws += watts * heard.Seconds()
		p.Filled += part
		p.Known += heard
		d -= part
		known -= heard
		if p.Filled < profileStep {
			break
		}
		p.Codes = append(p.Codes, p.mean())
		steps++
		p.Ws, p.Filled, p.Known = 0, 0, 0
	}
	return steps
}

// mean is the code of the open step; a step that was not heard repeats the last.
func (p *profile) mean() uint8 {
	if p.Known < time.Second {
		if n := len(p.Codes); n > 0 {
			return p.Codes[n-1]
		}
		return 0
	}
	return codeOf(p.Ws / p.Known.Seconds())
}
