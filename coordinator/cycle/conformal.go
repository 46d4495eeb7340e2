package cycle

import (
	"math"
	"time"
)

// conformal widens or narrows stated intervals so that they hold the truth in
// 80 of 100 cases, whatever the model behind them: after each cycle, when the
// truth is known, the factor of each part of a cycle moves by how far the share
// of misses was from what was promised (I. Gibbs and E. Candes, Adaptive
// conformal inference under distribution shift, NeurIPS 34 (2021) 1660-1672,
// with the update on the logarithm of the width, so that it stays positive).
type conformal struct {
	// Log is the logarithm of the factor, for each quarter of a cycle.
	Log [4]float64
	// Said is what was said each minute of the running cycle, from its start.
	Said []said `json:"-"`
}

// said is a stated remaining time, min: median and the bare distances to the
// ends of the interval, before widening.
type said struct {
	Median, Below, Above float32
	Part                 uint8
}

const (
	missShare = 0.20
	missStep  = 0.5
	logMost   = 3.0
	// A distance is at least this, min: a minute is what profiles can tell.
	apartLeast = 0.7
)

// part is the quarter of a cycle, by what is expected.
func part(elapsed, left time.Duration) uint8 {
	if elapsed+left <= 0 {
		return 0
	}
	return uint8(min(3, 4*elapsed/(elapsed+left)))
}

// widen returns the interval for bare distances below and above the median.
func (c *conformal) widen(p uint8, below, above time.Duration) (time.Duration, time.Duration) {
	f := math.Exp(c.Log[p])
	least := time.Duration(apartLeast * float64(time.Minute))
	return time.Duration(f * float64(max(below, least))), time.Duration(f * float64(max(above, least)))
}

// say keeps what was said in the minute that is now complete.
func (c *conformal) say(p uint8, median, below, above time.Duration) {
	if len(c.Said) < profileMost {
		c.Said = append(c.Said, said{float32(median.Minutes()), float32(below.Minutes()), float32(above.Minutes()), p})
	}
}

// learn compares what was said with the truth: the cycle's length.
func (c *conformal) learn(length time.Duration) {
	var n, missed [4]float64
	for i, s := range c.Said {
		truth := length.Minutes() - float64(i+1)
		if truth <= 0 {
			break
		}
		f := math.Exp(c.Log[s.Part])
		off := truth - float64(s.Median)
		room := max(apartLeast, float64(s.Above))
		if off < 0 {
			off, room = -off, min(max(apartLeast, float64(s.Below)), float64(s.Median)/f+apartLeast)
		}
		n[s.Part]++
		if off > f*room {
			missed[s.Part]++
		}
	}
	for p := range c.Log {
		if n[p] > 0 {
			c.Log[p] += missStep * (missed[p]/n[p] - missShare)
			c.Log[p] = max(-logMost, min(logMost, c.Log[p]))
		}
	}
}

func (c *conformal) reset() { c.Said = c.Said[:0] }
