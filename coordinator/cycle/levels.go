package cycle

import "time"

// levels is what is known of a machine's power levels: what it draws when it
// does nothing, where work begins, and where a heater shows.
type levels struct {
	// Idle is the time at each level outside cycles, in cycles the same inside.
	Idle, Work histogram
	// Cycles is how many cycles have been learned from.
	Cycles int
	// WorkW is the power from which a machine works, W.
	WorkW float64
	// HeatW is the power from which it heats, W; DrumW is what its drum takes
	// at a usual turn. Zero while unknown.
	HeatW, DrumW float64
	// HotW is what its heater takes; zero while unknown.
	HotW float64
	// RaisedW is a threshold above a glow that is not learned yet; 0 for none.
	RaisedW float64
	// CoolW is what a dryer takes in its cool-down, W; zero while unknown.
	CoolW float64
	// GlowW is what it draws after a cycle, W.
	GlowW float64
	// Usual is the long mean of the heater's, or without one of the drum's, power,
	// as a code; Off counts the newest cycles in a row that were far from it, and
	// Changed is when that was too often to be chance.
	Usual   float64
	Off     int
	Changed time.Time
}

const (
	// workFloorW is the lowest power that counts as work before anything is
	// known: a valve and a pump take 10 W, a display less than 8 W (common
	// practice, no source).
	workFloorW = 8.0
	// A mean over half a minute or more blends standby with short work.
	workFloorSlowW = 10.0
	slowCadence    = 25 * time.Second
	// workCeilingW bounds what is learned: filling, at 10 to 12 W, is work unless
	// the machine glows as brightly.
	workCeilingW = 12.0
	forget       = 0.7
)

// learn takes the histogram of a whole cycle.
func (v *levels) learn(c *histogram, s Settings) {
	v.Work.scale(forget)
	v.Work.join(c, 1)
	v.Cycles++
	v.split(s)
}

// split finds drum and heater in the time at work: the lower and the upper
// class of an Otsu split, if they lie far enough apart.
func (v *levels) split(s Settings) {
	from := int(codeOf(v.WorkW))/codesABin + 1
	t, between := otsu(v.Work.Seconds[from:])
	t += from
	v.DrumW, v.HeatW, v.HotW = v.Work.quantile(0.5, from, histogramBins), 0, 0
	if between <= 0 {
		return
	}
	low, high := v.Work.quantile(0.5, from, t+1), v.Work.quantile(0.5, t+1, histogramBins)
	if high >= heatsFrom(s) && high >= 2.2*low {
		v.DrumW, v.HotW = low, high
		v.HeatW = max(0.7*heatsFrom(s), wattsOf(uint8(t*codesABin)))
	}
}

// heatsFrom is the power that a heater of such a machine takes at the least, W:
// a washer's spin stays below 800 W and its heater is above 1200 W, a heat pump
// starts at 400 W (common practice, no source).
func heatsFrom(s Settings) float64 {
	if s.Washer {
		return 1200
	}
	return 350
}

// heats is the power above which the machine heats now, W.
func (v *levels) heats(s Settings) float64 {
	if v.HeatW > 0 {
		return v.HeatW
	}
	return heatsFrom(s)
}

const (
	// A level is off when it is this many codes (a quarter of an octave) from
	// what is usual, and has changed for good when it was so offMost times.
	offCodes = codesAnOctave / 4
	offMost  = 3
)

// watch compares a cycle's level with the usual one. It reports whether the
// levels have changed for good: then what was learned of them is learned anew.
func (v *levels) watch(c *histogram, end time.Time, s Settings) bool {
	now := float64(codeOf(c.quantile(0.9, int(codeOf(v.WorkW))/codesABin+1, histogramBins)))
	switch d := now - v.Usual; {
	case now == 0:
	case v.Usual == 0:
		v.Usual = now
	case d <= offCodes && d >= -offCodes:
		v.Usual += 0.1 * d
		v.Off = 0
	default:
		v.Off++
	}
	if v.Off < offMost {
		return false
	}
	v.Usual, v.Off, v.Changed = now, 0, end
	v.Work = histogram{}
	return true
}

// threshold sets where work begins: above the glow after a cycle, and for a dryer
// well below what its motor takes in the cool-down, for a meter that gives means
// blends the pulses of a drum that turns against creases to a few dozen watts.
func (v *levels) threshold(s Settings, slow bool) {
	v.WorkW = workFloorW
	if slow {
		v.WorkW = workFloorSlowW
	}
	if !s.Washer {
		v.WorkW = motorLeastW
		if v.CoolW > 0 {
			v.WorkW = max(workFloorW, min(motorMostW, 0.4*v.CoolW))
		}
	}
	if v.Idle.total(0, histogramBins) < idleLeast.Seconds() {
		v.WorkW = max(v.WorkW, v.RaisedW)
		return
	}
	v.RaisedW = 0
	v.GlowW = v.Idle.quantile(0.9, 0, int(codeOf(40))/codesABin)
	if need := glowTimes * v.GlowW; s.Washer && need > v.WorkW {
		v.WorkW = need
	}
}

const (
	// A dryer's motor takes at least motorLeastW, and a threshold is never higher
	// than motorMostW (common practice, no source).
	motorLeastW, motorMostW = 50, 80
	// idleLeast is how much of the time after cycles must have been seen.
	idleLeast = 5 * time.Minute
	// glowTimes is how far above a glow work is.
	glowTimes = 1.5
)

// cool learns what a dryer takes at the end of a run, W.
func (v *levels) cool(w float64) {
	if v.CoolW == 0 {
		v.CoolW = w
	}
	v.CoolW += 0.3 * (min(w, 2*v.CoolW) - v.CoolW)
}
