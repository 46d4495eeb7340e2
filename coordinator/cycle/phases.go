package cycle

import "time"

// phases tells the parts of a programme from the power of a short slot of time:
// where it lies among the machine's levels, and whether the drum stood still in
// it. A phase begins when two slots in a row say so, which is the shortest
// duration that a semi-Markov model would give it (S.-Z. Yu, Hidden semi-Markov
// models, Artificial Intelligence 174 (2010) 215-243); what the longer durations
// tell is the matcher's part.
type phases struct {
	Now   Phase
	Since time.Time
	// Count is how many phases have begun in this cycle.
	Count int
	// Coming is a phase that the newest ComingN slots have shown, since ComingAt.
	Coming   Phase
	ComingAt time.Time
	ComingN  int
	// Away counts the newest slots in a row, since AwayAt, that were not the strong
	// phase Now; Weak is the weak phase that they make together, or NoPhase.
	Away   int
	AwayAt time.Time
	Weak   Phase
	// The open slot: since when, its energy, what of it was heard, and what of
	// that was below work.
	From       time.Time
	Ws         float64
	Known, Low time.Duration
	// Heated and Spun say that this cycle has done so; Spins counts spins.
	Heated, Spun bool
	// Strong is the last strong phase, spin or heat; StrongUntil its end so far.
	Strong      Phase
	StrongUntil time.Time
	// Reheated says that it heated again after a spin.
	Reheated bool
	// HotW is the highest power of a heating slot, W.
	HotW float64
	// CoolW is the power of the cool-down, W.
	CoolW float64
	// Drum is a running mean of the drum's usual power, W.
	Drum float64
}

const (
	slotLength = 20 * time.Second
	fillBelowW = 25
	// A spin takes this many times what the drum takes at a usual turn.
	spinTimes = 1.6
)

func (p *phases) reset(at time.Time) { *p = phases{Now: NoPhase, Since: at, From: at} }

// add takes power that held for d up to at; it reports whether a phase began.
func (p *phases) add(at time.Time, watts float64, d time.Duration, low bool, v *levels, s Settings) bool {
	p.Ws += watts * d.Seconds()
	p.Known += d
	if low {
		p.Low += d
	}
	if p.Known < slotLength {
		return false
	}
	from, need := p.From, 2
	if p.Known >= slowCadence {
		// A meter that looks now and then may see two strong strokes in a row.
		need = 3
	}
	next := p.classify(p.Ws/p.Known.Seconds(), float64(p.Low)/float64(p.Known), v, s)
	p.From, p.Ws, p.Known, p.Low = at, 0, 0, 0
	if next == Heat || next == Spin && (p.Now == Spin || p.Coming == Spin && p.ComingN >= need-1) {
		p.Strong, p.StrongUntil = next, at
	}
	return p.enter(next, from, need)
}

func (p *phases) enter(next Phase, from time.Time, need int) bool {
	if next == p.Now {
		p.Coming, p.Away = NoPhase, 0
		return false
	}
	if next != p.Coming {
		p.Coming, p.ComingAt, p.ComingN = next, from, 0
	}
	p.ComingN++
	if p.Now == NoPhase || p.ComingN >= need {
		p.begin(next, p.ComingAt)
		p.Coming = NoPhase
		return true
	}
	return p.leave(next, from, need)
}

// leave ends a strong phase after need slots in a row without it, whatever they
// are: the turns and rests of a drum may never be alike for so long. A strong one
// that shows among them still has to last before it begins.
func (p *phases) leave(next Phase, from time.Time, need int) bool {
	if !p.Now.strong() {
		return false
	}
	if p.Away == 0 {
		p.AwayAt, p.Weak = from, NoPhase
	}
	p.Away++
	if !next.strong() && (next != Pause || p.Weak == NoPhase) {
		p.Weak = next
	}
	if p.Away < need || p.Weak == NoPhase {
		return false
	}
	p.begin(p.Weak, p.AwayAt)
	if p.Coming == p.Now {
		p.Coming = NoPhase
	}
	return true
}

// begin enters a phase.
func (p *phases) begin(next Phase, since time.Time) {
	p.Now, p.Since, p.Away = next, since, 0
	p.Count++
	switch next {
	case Heat:
		p.Heated, p.Reheated = true, p.Spun
	case Spin:
		p.Spun = true
	}
}

// strong reports whether a phase takes much power all the time.
func (p Phase) strong() bool { return p == Heat || p == Spin }

// cool follows the power of a dryer's cool-down: up at once, down slowly.
func (p *phases) cool(w float64) {
	if p.Now != CoolDown || p.CoolW == 0 {
		p.CoolW = w
		return
	}
	p.CoolW += 0.2 * (w - p.CoolW)
}

// motor is what a dryer's motor takes, W, once that shows: in a cool-down that
// has lasted, or all the time where no heat shows (a gas dryer); else 0.
func (p *phases) motor(at time.Time) float64 {
	switch {
	case p.Now == CoolDown && at.Sub(p.Since) >= motorShows:
		return p.CoolW
	case !p.Heated && at.Sub(p.From) < motorShows:
		return p.Drum
	}
	return 0
}

// motorShows is how long a cool-down must have lasted for its power to be known.
const motorShows = 90 * time.Second

// cooling reports whether a machine that washes and dries is in a cool-down: the
// drum turns on without a stop when the heater goes off, where a wash would go
// on in turns.
func (p *phases) cooling(w float64) bool {
	switch p.Now {
	case Heat:
		return true
	case CoolDown:
		return w > 0.6*p.CoolW && w < 1.6*p.CoolW
	}
	return false
}

// spinBelow is what a spin stays below, W: where there is a heater it takes much
// less than that; the lower step of a heater with two is no spin.
func (p *phases) spinBelow(v *levels) float64 {
	hot := v.HotW
	if hot == 0 && p.Heated {
		hot = p.HotW
	}
	if hot == 0 {
		return mostWatts
	}
	return 0.42 * hot
}

func (p *phases) classify(w, low float64, v *levels, s Settings) Phase {
	switch {
	case w >= v.heats(s):
		p.HotW = max(p.HotW, w)
		return Heat
	case low > 0.9:
		return Pause
	case s.Washer && s.Dryer && low < 0.05 && p.cooling(w):
		p.CoolW = w
		return CoolDown
	case s.Washer && low < 0.05 && p.Drum > 0 && w >= spinTimes*p.Drum && w > 100 && w < p.spinBelow(v):
		return Spin
	case s.Washer && w < fillBelowW:
		return Fill
	case !s.Washer && p.Heated:
		p.cool(w)
		return CoolDown
	}
	if p.Drum == 0 {
		p.Drum = w
	}
	p.Drum += 0.05 * (min(w, 3*p.Drum) - p.Drum)
	return Tumble
}
