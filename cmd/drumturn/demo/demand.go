package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// hourly is how keen people are to wash at each hour of a working day and of a
// weekend, relative to the busiest hour. Common practice, no source.
var hourly = [2][24]float64{
	{0, 0, 0, 0, 0, 0, 0.1, 0.5, 0.7, 0.6, 0.5, 0.4, 0.4, 0.4, 0.4, 0.5, 0.7, 0.9, 1, 0.9, 0.6, 0.2, 0, 0},
	{0, 0, 0, 0, 0, 0, 0, 0.3, 0.8, 1, 1, 1, 0.9, 0.7, 0.7, 0.7, 0.6, 0.5, 0.5, 0.4, 0.3, 0.1, 0, 0},
}

// meanKeenness is the mean of hourly over a week, which turns a weekly number
// of loads into a rate.
var meanKeenness = func() float64 {
	var sum [2]float64
	for d := range hourly {
		for _, k := range hourly[d] {
			sum[d] += k / 24
		}
	}
	return (5*sum[0] + 2*sum[1]) / 7
}()

func keenness(t time.Time, least float64) float64 {
	day := 0
	if w := t.Weekday(); w == time.Saturday || w == time.Sunday {
		day = 1
	}
	return max(hourly[day][t.Hour()], least)
}

// nextWash draws when a resident with so many loads a week next wants to wash:
// a Poisson process that follows the hours, by thinning. least is a floor for
// quiet hours.
func nextWash(rng *rand.Rand, after time.Time, weekly, least float64, zone *time.Location) time.Time {
	rate := weekly / (7 * 24) / meanKeenness // per hour, at the busiest
	at := after
	for {
		at = at.Add(time.Duration(rng.ExpFloat64() / rate * float64(time.Hour)))
		if rng.Float64() < keenness(at.In(zone), least) {
			return at
		}
	}
}

// delay draws a length around a median, most of them within a factor of two.
func delay(rng *rand.Rand, median time.Duration) time.Duration {
	return time.Duration(float64(median) * math.Exp(0.6*rng.NormFloat64()))
}
