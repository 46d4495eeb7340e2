package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var energyEpoch = time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)

func energySecond(s float64) time.Time {
	return energyEpoch.Add(time.Duration(s * float64(time.Second)))
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance {
		t.Errorf("%s = %.10g, want %.10g", what, got, want)
	}
}

// trapezoid is the other rule, here to be compared with.
func trapezoid(seconds, watts []float64) float64 {
	sum := 0.0
	for i := 1; i < len(seconds); i++ {
		sum += (watts[i] + watts[i-1]) / 2 * (seconds[i] - seconds[i-1]) / 3600
	}
	return sum
}

func hold(seconds, watts []float64) float64 {
	var g Integrator
	for i := range seconds {
		g.Add(energySecond(seconds[i]), watts[i])
	}
	return g.Wh
}

// The values were computed with scipy 1.10.1 (scipy.integrate.trapezoid and the
// sum of rectangles).
func TestIntegratorAgainstScipy(t *testing.T) {
	seconds := []float64{0, 10, 20, 35, 60, 90, 120}
	watts := []float64{2, 2000, 2050, 150, 155, 400, 3}
	near(t, "hold-previous", hold(seconds, watts), 19.7694444444, 1e-9)
	near(t, "trapezoid", trapezoid(seconds, watts), 18.0395833333, 1e-9)

	var sineS, sineW, stepS, stepW []float64
	for s := 0.0; s <= 3600; s += 60 {
		sineS, sineW = append(sineS, s), append(sineW, 1000+500*math.Sin(2*math.Pi*s/3600))
		w := 100.0
		if s < 1800 {
			w = 2000
		}
		stepS, stepW = append(stepS, s), append(stepW, w)
	}
	near(t, "sine, hold", hold(sineS, sineW), 1000, 1e-9)
	near(t, "step, hold, which is exact", hold(stepS, stepW), 1050, 1e-9)
	near(t, "step, trapezoid", trapezoid(stepS, stepW), 1034.1666666667, 1e-9)

	rampS := []float64{0, 300, 600, 900, 1200, 1500, 1800}
	rampW := make([]float64, len(rampS))
	for i, s := range rampS {
		rampW[i] = 2000 * s / 1800
	}
	near(t, "ramp, hold", hold(rampS, rampW), 416.6666666667, 1e-9)
	near(t, "ramp, trapezoid, which is exact", trapezoid(rampS, rampW), 500, 1e-9)
}

// A meter that reports on change says 3 W, is quiet for 20 minutes, then says
// 2000 W: this is why the Integrator holds instead of drawing a ramp.
func TestIntegratorOnReportOnChange(t *testing.T) {
	seconds, watts := []float64{0, 1200, 1260}, []float64{3, 2000, 3}
	near(t, "hold", hold(seconds, watts), 3.0*1200/3600+2000.0*60/3600, 1e-9)
	if wrong := trapezoid(seconds, watts); wrong < 300 {
		t.Errorf("the trapezoid gives %.1f Wh here; the choice of rule has lost its reason", wrong)
	}
}

func TestIntegratorHoles(t *testing.T) {
	g := Integrator{MaxGap: 2 * time.Minute}
	g.Add(energySecond(0), 600)
	near(t, "held as far as allowed", g.Until(energySecond(120)), 20, 1e-9)
	near(t, "hole", g.Until(energySecond(121)), 0, 0)
	near(t, "added after a hole", g.Add(energySecond(600), 600), 0, 0)
	near(t, "added after a minute", g.Add(energySecond(660), 600), 10, 1e-9)
	near(t, "not newer", g.Add(energySecond(660), 5000), 0, 0)
	near(t, "in the past", g.Until(energySecond(0)), 10, 1e-9)

	g.Add(energySecond(720), math.NaN())
	near(t, "up to the failed reading", g.Wh, 20, 1e-9)
	near(t, "unknown is never held", g.Until(energySecond(780)), 20, 1e-9)
	g.Add(energySecond(780), math.Inf(1))
	near(t, "infinite is unknown too", g.Until(energySecond(790)), 20, 1e-9)
	g.Add(energySecond(800), -40)
	near(t, "below zero is noise", g.Until(energySecond(860)), 20, 1e-9)
}

// Splitting a stretch by a reading that says the same changes nothing.
func TestIntegratorSplitting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var whole, split Integrator
		s := 0.0
		for range rapid.IntRange(1, 30).Draw(t, "readings") {
			w := rapid.Float64Range(0, 3000).Draw(t, "watts")
			d := rapid.Float64Range(1, 300).Draw(t, "seconds")
			whole.Add(energySecond(s), w)
			split.Add(energySecond(s), w)
			split.Add(energySecond(s+d*rapid.Float64Range(0.1, 0.9).Draw(t, "where")), w)
			s += d
		}
		end := energySecond(s)
		if a, b := whole.Until(end), split.Until(end); math.Abs(a-b) > 1e-6 {
			t.Fatalf("whole %.9f Wh, split %.9f Wh", a, b)
		}
	})
}

func TestIntegratorTallyPrefersTheRegister(t *testing.T) {
	var y IntegratorTally
	add := func(s, watts, wh float64) { y.Add(Reading{At: energySecond(s), Watts: watts, Wh: wh}, watts) }
	nan := math.NaN()
	add(0, 1000, nan)
	add(36, 1000, nan)
	near(t, "watts alone", y.Wh(), 10, 1e-9)
	add(72, 1000, 500)
	near(t, "a first word keeps what the watts said", y.Wh(), 20, 1e-9)
	add(108, 1000, 511)
	near(t, "then the register counts", y.Wh(), 31, 1e-9)
	add(144, 1000, nan)
	near(t, "between its words the watts", y.Wh(), 41, 1e-9)
	near(t, "held on", y.Until(energySecond(180)), 51, 1e-9)
	add(180, 0, 533)
	near(t, "its next word covers the stretch", y.Wh(), 53, 1e-9)
	add(216, 360, 7)
	near(t, "reset", y.Wh(), 60, 1e-9)
	add(252, 360, 9_000_000)
	near(t, "another meter: the watts speak for the stretch", y.Wh(), 63.6, 1e-9)
}
