package cycle

import (
	"slices"
	"time"
)

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
	// Began holds for each step whether a phase began in it, 1 or 0.
	Began []byte
	// Phases is how many phases had begun by the last of them.
	Phases int
	// Ws is the energy of the step that is still open, Filled how much of it
	// has passed, Known how much of that was heard.
	Ws            float64
	Filled, Known time.Duration
}

func (p *profile) reset() {
	*p = profile{Codes: p.Codes[:0], Began: p.Began[:0]}
}

// phase notes for the newest n steps that so many phases have begun in all.
func (p *profile) phase(n, phases int) {
	for len(p.Began) < len(p.Codes) {
		p.Began = append(p.Began, 0)
	}
	if n > 0 && phases != p.Phases {
		p.Began[len(p.Began)-n] = 1
		p.Phases = phases
	}
}

// since is a copy of what follows the step from.
func (p *profile) since(from int) profile {
	o := *p
	o.Codes, o.Began = slices.Clone(p.Codes[from:]), slices.Clone(p.Began[from:])
	return o
}

// set takes over another profile, into its own memory.
func (p *profile) set(o profile) {
	o.Codes, o.Began = append(p.Codes[:0], o.Codes...), append(p.Began[:0], o.Began...)
	*p = o
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
