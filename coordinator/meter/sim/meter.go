package sim

import (
	"iter"
	"math"
	"math/rand/v2"
	"time"

	"drumturn/coordinator/cycle"
)

// Meter looks at one machine. It has no clock: Next says when it is to look
// again, Look does. It is not safe for use by two goroutines.
type Meter struct {
	model MeterModel
	rng   *rand.Rand
	// drops are drawn from a source of their own, so that they fall at the same
	// instants however often the meter looks.
	drops *rand.Rand
	drop  span
	quiet []span

	began  time.Time
	last   time.Time // the instant of the last look
	lastWh float64
	lastW  float64 // what it last reported, before noise
	looked bool
}

// NewMeter returns a meter that looks for the first time at from.
func NewMeter(m MeterModel, seed uint64, from time.Time) *Meter {
	t := &Meter{
		model: m, began: from,
		rng:   rand.New(rand.NewPCG(seed, 1)),
		drops: rand.New(rand.NewPCG(seed, 2)),
	}
	t.drop.to = from
	t.drawDrop()
	return t
}

// Silence makes the meter say nothing from one instant to another.
func (t *Meter) Silence(from, to time.Time) { t.quiet = append(t.quiet, span{from, to}) }

// Next is the instant of its next look at the machine as that is planned now.
func (t *Meter) Next(m *Machine) time.Time {
	if !t.looked {
		return t.began
	}
	due := t.last.Add(t.model.Every)
	if !t.model.OnChange {
		return due
	}
	soon := t.last.Add(t.model.MinGap)
	if t.moved(m, soon) && soon.After(t.last) {
		return soon
	}
	for at := soon; ; {
		change, ok := m.NextChange(at)
		if !ok || !change.Before(due) {
			return due
		}
		if t.moved(m, change) {
			return change
		}
		at = change
	}
}

// moved reports whether power at that instant is worth a report.
func (t *Meter) moved(m *Machine, at time.Time) bool {
	w, _ := m.Power(at)
	return math.Abs(w-t.lastW) >= max(t.model.ChangeW, t.model.ChangeShare*t.lastW, 1e-9)
}

// Look takes the reading of instant at; at must not be before the last. ok is
// false when nobody hears of it: the meter has dropped out or has no supply.
func (t *Meter) Look(m *Machine, at time.Time) (r cycle.Reading, ok bool) {
	watts, _ := m.Power(at)
	wh := m.EnergyWh(at)
	shown := watts
	if dt := at.Sub(t.last).Hours(); t.model.Mean && t.looked && dt > 0 {
		shown = (wh - t.lastWh) / dt
	}
	t.last, t.lastWh, t.lastW, t.looked = at, wh, watts, true
	r = cycle.Reading{At: at, Watts: t.watts(shown), Wh: t.register(wh)}
	return r, !t.silent(m, at)
}

// watts is the value with the meter's faults.
func (t *Meter) watts(w float64) float64 {
	noise := t.rng.NormFloat64()
	if t.model.OnlyRegister {
		return math.NaN()
	}
	if w > 0 {
		w += noise * (t.model.NoiseW + t.model.NoiseShare*w)
	}
	if q := t.model.QuantumW; q > 0 {
		w = math.Round(w/q) * q
	}
	return max(w, 0)
}

// register is the cumulative count, in whole steps and rolled over.
func (t *Meter) register(wh float64) float64 {
	if !t.model.Register {
		return math.NaN()
	}
	step := t.model.RegisterStep
	n := math.Floor((t.model.RegisterFrom+wh)/step + 1e-9)
	if t.model.RegisterMod > 0 {
		n = math.Mod(n, math.Floor(t.model.RegisterMod/step+1e-9))
	}
	return n * step
}

func (t *Meter) silent(m *Machine, at time.Time) bool {
	for t.model.DropsPerDay > 0 && !at.Before(t.drop.to) {
		t.drawDrop()
	}
	if t.model.DropsPerDay > 0 && t.drop.holds(at) {
		return true
	}
	if t.model.DiesWithSupply && !m.Supplied(at) {
		return true
	}
	for _, q := range t.quiet {
		if q.holds(at) {
			return true
		}
	}
	return false
}

// drawDrop draws the next drop-out: they come at random, most of them short.
func (t *Meter) drawDrop() {
	if t.model.DropsPerDay <= 0 {
		return
	}
	wait := t.drops.ExpFloat64() / t.model.DropsPerDay * 24 * float64(time.Hour)
	length := float64(t.model.DropFor) * math.Exp(0.8*t.drops.NormFloat64())
	t.drop.from = t.drop.to.Add(time.Duration(wait))
	t.drop.to = t.drop.from.Add(time.Duration(min(length, float64(24*time.Hour))) + time.Second)
}

// Readings are what the meter hears of the machine, up to and including until,
// as the machine is planned now. Stopping early loses nothing: the next call
// goes on behind the last reading given out.
func (t *Meter) Readings(m *Machine, until time.Time) iter.Seq[cycle.Reading] {
	return func(yield func(cycle.Reading) bool) {
		for at := t.Next(m); !at.After(until); at = t.Next(m) {
			if r, ok := t.Look(m, at); ok && !yield(r) {
				return
			}
		}
	}
}
