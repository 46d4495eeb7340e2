package sim

import (
	"math/rand/v2"
	"time"

	"drumturn/coordinator/cycle"
)

// Stretch is a length of time at one power.
type Stretch struct {
	For   time.Duration
	Watts float64
	Phase cycle.Phase
}

// tape is a course in the making: stretches are appended to it.
type tape struct {
	m   *Model
	rng *rand.Rand
	out []Stretch
	at  time.Duration
	// heat is extra power that runs beside whatever the drum does, W, and its phase wins.
	heat float64
}

// put appends d at watts exactly. Lengths are whole seconds; less than one is dropped.
func (t *tape) put(phase cycle.Phase, watts float64, d time.Duration) {
	d = d.Round(time.Second)
	if d <= 0 {
		return
	}
	if t.heat > 0 {
		watts, phase = watts+t.heat, cycle.Heat
	}
	t.out = append(t.out, Stretch{For: d, Watts: watts, Phase: phase})
	t.at += d
}

// about appends d at watts give or take a few per cent, as loads differ.
func (t *tape) about(phase cycle.Phase, watts float64, d time.Duration) {
	t.put(phase, watts*t.between(0.95, 1.05), d)
}

// between draws evenly from [lo, hi).
func (t *tape) between(lo, hi float64) float64 { return lo + (hi-lo)*t.rng.Float64() }

// span draws a length evenly.
func (t *tape) span(lo, hi time.Duration) time.Duration {
	return time.Duration(t.between(float64(lo), float64(hi)))
}

// chance is true with probability p.
func (t *tape) chance(p float64) bool { return t.rng.Float64() < p }

// tumble turns the drum in bursts with a stop at each reversal, for d.
func (t *tape) tumble(watts float64, on, off, d time.Duration) {
	for end := t.at + d; end-t.at >= time.Second; {
		level := watts * t.between(0.7, 1.2)
		t.put(cycle.Tumble, level, min(t.span(on*4/5, on*6/5), end-t.at))
		t.put(cycle.Tumble, t.m.ElecW, min(t.span(off*4/5, off*6/5), end-t.at))
	}
}
