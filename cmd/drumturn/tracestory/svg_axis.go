package tracestory

import (
	"math"
	"time"
)

// scale is an axis from 0 to top with round steps.
type scale struct{ top, step float64 }

// niceScale reaches up to highest in at most so many steps of 1, 2 or 5 times a
// power of ten.
func niceScale(highest float64, steps int) scale {
	steps = max(1, steps)
	step := math.Pow(10, math.Floor(math.Log10(highest/float64(steps))))
	for _, times := range [...]float64{1, 2, 5, 10} {
		if s := step * times; s*float64(steps) >= highest {
			return scale{top: s * math.Ceil(highest/s), step: s}
		}
	}
	return scale{top: step * 10 * float64(steps), step: step * 10}
}

var timeSteps = [...]time.Duration{
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute,
	30 * time.Minute, time.Hour, 2 * time.Hour, 3 * time.Hour,
}

// timeStep is the round step that divides a stretch into at most 13 parts.
func timeStep(d time.Duration) time.Duration {
	for _, s := range timeSteps {
		if d <= 12*s {
			return s
		}
	}
	return timeSteps[len(timeSteps)-1]
}

// axes draws the lines of the grid and their labels.
func (c *canvas) axes(p strip, top, base float64) {
	for w := 0.0; w <= c.watts.top*1.0001; w += c.watts.step {
		y := base - c.plotHeight*w/c.watts.top
		class := "grid"
		if w == 0 {
			class = "axis"
		}
		c.put(`<path class="%s" d="M%d %.1fH%d"/><text x="%d" y="%.1f" text-anchor="end">%s W</text>`,
			class, drawLeft, y, drawLeft+plotWidth, drawLeft-6, y+4, thousands(int(w)))
	}
	step := timeStep(p.to.Sub(p.from))
	for at := p.from; !at.After(p.to); at = at.Add(step) {
		x := p.x(at)
		c.put(`<path class="grid" d="M%.1f %.1fV%.1f"/>`, x, top, base)
		label := at.Format("15:04")
		if label == "00:00" && at.Equal(p.to) {
			label = "24:00"
		}
		c.put(`<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, x, base+15, label)
	}
}
