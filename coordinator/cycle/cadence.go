package cycle

import "time"

// cadence is how often a meter reports: the typical and the long distance of
// its readings. It is a stochastic estimate of two quantiles (H. Robbins and
// S. Monro, A stochastic approximation method, Ann. Math. Statist. 22 (1951)
// 400-407): each reading moves them a little, up or down in the ratio that
// balances at the quantile.
type cadence struct {
	Usual, Long time.Duration
}

const (
	cadenceStep = 0.04
	longShare   = 0.95
	// holdAtLeast is how long a reading is believed at the least.
	holdAtLeast = 20 * time.Second
)

func (c *cadence) add(d time.Duration) {
	if c.Usual == 0 {
		c.Usual, c.Long = d, d
		return
	}
	c.Usual = nudge(c.Usual, d, 0.5)
	c.Long = max(c.Usual, nudge(c.Long, d, longShare))
}

func nudge(q, d time.Duration, p float64) time.Duration {
	if d > q {
		return q + time.Duration(cadenceStep*p*float64(q)) + 1
	}
	if d < q {
		return q - time.Duration(cadenceStep*(1-p)*float64(q))
	}
	return q
}

// steady is how often the meter reports, where that says that a reading is late: zero
// for one that reports changes, whose readings come at once or not for long.
func (c *cadence) steady() time.Duration {
	if c.Long > steadyMost*c.Usual {
		return 0
	}
	return c.Usual
}

// steadyMost is how much longer than usual a long distance is of a meter that
// reports by the clock and loses some readings.
const steadyMost = 6

// hold is how long a reading stands without another one.
func (c *cadence) hold(most time.Duration) time.Duration {
	return min(most, max(holdAtLeast, 3*c.Long))
}
