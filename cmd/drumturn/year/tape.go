package year

import (
	"time"

	"drumturn/coordinator/meter/sim"
)

// every is how often a meter looks; a reading is the mean power since the last.
const every = time.Minute

// standbyW is drawn by a machine that is emptied or was never used, W.
const standbyW = 0.5

// tape is what a machine draws, read forwards.
type tape struct {
	rest []sim.Stretch // what is still to come of the course
	from time.Time     // of the first of them
}

// play puts a course on from an instant on.
func (t *tape) play(c sim.Course, from time.Time) { t.rest, t.from = c.Stretches, from }

// stop ends what follows after the programme: pulses and glow.
func (t *tape) stop() { t.rest = nil }

// mean is the mean power between two instants, W. It may not go back.
func (t *tape) mean(from, to time.Time) float64 {
	wh := standbyW * to.Sub(from).Hours()
	for len(t.rest) > 0 && t.from.Before(to) {
		s := t.rest[0]
		end := t.from.Add(s.For)
		if part := earlier(end, to).Sub(later(t.from, from)); part > 0 {
			wh += (s.Watts - standbyW) * part.Hours()
		}
		if end.After(to) {
			break
		}
		t.rest, t.from = t.rest[1:], end
	}
	return wh / to.Sub(from).Hours()
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
