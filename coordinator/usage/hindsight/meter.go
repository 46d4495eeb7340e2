package hindsight

import (
	"context"
	"math"
	"time"

	"drumturn/coordinator"
)

// Hearing is how a meter was heard over some time.
type Hearing struct {
	From, To time.Time
	Readings int
	// Usual and Long are the distances between readings that half of them, and 95
	// of 100, do not exceed; to within a tenth.
	Usual, Long time.Duration
	// Gaps are the stretches longer than the machine's silence, Unheard their
	// length in all, Longest the longest.
	Gaps    int
	Unheard time.Duration
	Longest time.Duration
	// Resets counts how often the register fell: it was reset, rolled over, or is
	// another one. HasRegister says that there is one.
	Resets      int
	HasRegister bool
}

// Hear looks at the readings of a machine's meter between two instants, of which
// the later is at most the present. silent is from when on nothing is known.
// Several times are looked at in one reading: they end at to and begin at each
// of from, the earliest first.
func Hear(ctx context.Context, r Readings, at Place, to time.Time, silent time.Duration, from ...time.Time) ([]Hearing, error) {
	ears := make([]ear, len(from))
	for i := range from {
		ears[i] = ear{Hearing: Hearing{From: from[i], To: to}, silent: silent, last: from[i], register: math.NaN()}
	}
	out := make([]Hearing, len(from))
	if len(from) == 0 {
		return out, nil
	}
	err := r.Readings(ctx, at.Room, at.Machine, from[0], to, func(reading coordinator.MachineReading) bool {
		for i := range ears {
			if !reading.At.Before(ears[i].From) {
				ears[i].take(&reading)
			}
		}
		return true
	})
	for i := range ears {
		out[i] = ears[i].done()
	}
	return out, err
}

// ear gathers a Hearing. Distances go into steps of a tenth, from a millisecond
// to months.
type ear struct {
	Hearing
	silent   time.Duration
	last     time.Time
	register float64
	steps    [stepsKept]pace
}

// pace is how many distances fell into a step, and their sum: where all are the
// same, their mean is exact.
type pace struct {
	n   int
	sum time.Duration
}

const (
	stepShare = 1.1
	stepsKept = 256
)

var logStep = math.Log(stepShare)

func (e *ear) take(r *coordinator.MachineReading) {
	d := r.At.Sub(e.last)
	if e.Readings > 0 {
		k := int(math.Log(float64(max(d, time.Millisecond))/1e6) / logStep)
		k = min(max(0, k), stepsKept-1)
		e.steps[k].n++
		e.steps[k].sum += d
	}
	e.gap(d)
	if !math.IsNaN(r.Wh) {
		e.HasRegister = true
		if r.Wh < e.register {
			e.Resets++
		}
		e.register = r.Wh
	}
	e.Readings, e.last = e.Readings+1, r.At
}

func (e *ear) gap(d time.Duration) {
	if e.silent <= 0 || d <= e.silent {
		return
	}
	e.Gaps++
	e.Unheard += d
	e.Longest = max(e.Longest, d)
}

func (e *ear) done() Hearing {
	e.gap(e.To.Sub(e.last))
	e.Usual, e.Long = e.quantile(0.5), e.quantile(0.95)
	return e.Hearing
}

// quantile is a distance that the share of all does not exceed.
func (e *ear) quantile(share float64) time.Duration {
	need, sum := share*float64(e.Readings-1), 0.0
	for _, p := range e.steps {
		if sum += float64(p.n); p.n > 0 && sum >= need {
			d := p.sum / time.Duration(p.n)
			return d.Round(roundTo(d))
		}
	}
	return 0
}

// roundTo leaves two digits.
func roundTo(d time.Duration) time.Duration {
	switch {
	case d > time.Minute:
		return 10 * time.Second
	case d > 10*time.Second:
		return time.Second
	}
	return 100 * time.Millisecond
}
