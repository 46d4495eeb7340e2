package cycle

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"
)

// t0 is when made-up recordings begin.
var t0 = time.Date(2025, 3, 3, 8, 0, 0, 0, time.UTC)

// piece is a stretch of constant or alternating power: on W for onFor, off W for offFor.
type piece struct {
	d             time.Duration
	on, off       float64
	onFor, offFor time.Duration
}

// course is a made-up recording: pieces from an instant on, and where the
// programme in it starts and ends.
type course struct {
	from, start, end time.Time
	pieces           []piece
	noise            func() float64
}

func (c *course) add(ps ...piece) { c.pieces = append(c.pieces, ps...) }

func (c *course) length() (d time.Duration) {
	for _, p := range c.pieces {
		d += p.d
	}
	return d
}

// at is the power at an offset from the course's begin, W.
func (c *course) at(d time.Duration) float64 {
	for _, p := range c.pieces {
		if d < p.d {
			w := p.on
			if p.onFor > 0 && d%(p.onFor+p.offFor) >= p.onFor {
				w = p.off
			}
			return w
		}
		d -= p.d
	}
	return 0
}

// makers of programmes, with levels and lengths that differ a little from run to run.
type programmesGen struct {
	rnd *rand.Rand
	// heatW is 0 for a cold wash; standbyW is drawn when off, glowW after the end.
	heatW, drumW, spinW, standbyW, glowW float64
	glowFor                              time.Duration
}

func newProgrammes(seed uint64) *programmesGen {
	return &programmesGen{
		rnd: rand.New(rand.NewPCG(seed, 7)), heatW: 2050, drumW: 110, spinW: 420,
		standbyW: 0, glowW: 1.5, glowFor: 30 * time.Minute,
	}
}

// about is a duration that varies by a share.
func (g *programmesGen) about(d time.Duration, share float64) time.Duration {
	return time.Duration(float64(d) * (1 + share*(2*g.rnd.Float64()-1))).Round(time.Second)
}

func (g *programmesGen) course(at time.Time) *course {
	return &course{from: at, noise: func() float64 { return 1 + 0.02*g.rnd.NormFloat64() }}
}

func (g *programmesGen) tumble(d time.Duration) piece {
	return piece{d: d, on: g.drumW, off: 3, onFor: 12 * time.Second, offFor: 4 * time.Second}
}

// wash is fill, heat, tumble, three rinses with a spin each, a last spin, a coasting drum and
// some loosening turns, then a display that glows.
func (g *programmesGen) wash(at time.Time) *course {
	c := g.course(at)
	c.add(piece{d: 10 * time.Minute, on: g.standbyW})
	c.start = at.Add(c.length())
	c.add(piece{d: g.about(2*time.Minute, 0.1), on: 11}, g.tumble(g.about(6*time.Minute, 0.1)))
	if g.heatW > 0 {
		c.add(piece{d: g.about(14*time.Minute, 0.2), on: g.heatW})
	}
	c.add(g.tumble(g.about(30*time.Minute, 0.05)))
	for range 3 {
		c.add(piece{d: 50 * time.Second, on: 30}, piece{d: 90 * time.Second, on: 0.7 * g.spinW},
			piece{d: 20 * time.Second, on: 3}, piece{d: time.Minute, on: 12}, g.tumble(g.about(7*time.Minute, 0.05)))
	}
	c.add(piece{d: 50 * time.Second, on: 30}, piece{d: g.about(5*time.Minute, 0.05), on: g.spinW},
		piece{d: 40 * time.Second, on: 15}, piece{d: 96 * time.Second, on: 70, off: 3, onFor: 6 * time.Second, offFor: 12 * time.Second})
	c.end = at.Add(c.length() - 12*time.Second)
	c.add(piece{d: g.glowFor, on: g.glowW}, piece{d: 20 * time.Minute, on: g.standbyW})
	return c
}

// dry is heat, cool-down and, if pulses is set, half an hour of turns against creases.
func (g *programmesGen) dry(at time.Time, heatW, motorW float64, pulses bool) *course {
	c := g.course(at)
	c.add(piece{d: 10 * time.Minute, on: g.standbyW})
	c.start = at.Add(c.length())
	c.add(piece{d: g.about(50*time.Minute, 0.25), on: heatW, off: motorW, onFor: 220 * time.Second, offFor: 12 * time.Second},
		piece{d: g.about(6*time.Minute, 0.05), on: motorW})
	c.end = at.Add(c.length())
	if pulses {
		c.add(piece{d: 30 * time.Minute, on: 3, off: motorW, onFor: 50 * time.Second, offFor: 10 * time.Second})
	}
	c.add(piece{d: 20 * time.Minute, on: g.glowW}, piece{d: 20 * time.Minute, on: g.standbyW})
	return c
}

// sample reads a course every step, as the mean since the reading before.
func sample(c *course, step time.Duration) []Reading {
	var out []Reading
	n := max(1, int(step/time.Second))
	for d := time.Duration(0); d+step <= c.length(); d += step {
		sum := 0.0
		for k := range n {
			sum += c.at(d + time.Duration(k)*time.Second)
		}
		w := sum / float64(n)
		if w > 5 {
			w *= c.noise()
		}
		out = append(out, Power(c.from.Add(d), math.Max(0, w)))
	}
	return out
}

// feed lets an engine watch a course and returns its end.
func feed(tb testing.TB, e Engine, c *course, step time.Duration) time.Time {
	tb.Helper()
	watchAll(e, sample(c, step))
	return c.from.Add(c.length())
}

// watchAll feeds readings with the ticks between them and returns the events.
func watchAll(e Engine, rs []Reading) []Event {
	var out []Event
	for _, r := range rs {
		for range 50 {
			due := e.Next()
			if due.IsZero() || !due.Before(r.At) {
				break
			}
			out = append(out, e.Tick(due)...)
		}
		out = append(out, e.Read(r.At, r)...)
	}
	return out
}
