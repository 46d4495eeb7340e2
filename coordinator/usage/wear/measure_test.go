package wear

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/sim"
)

// tape is readings of steps of power, one each so many seconds.
func tape(every time.Duration, steps ...step) (all []cycle.Reading) {
	at := dayOne
	for _, s := range steps {
		for d := time.Duration(0); d < s.d; d += every {
			all = append(all, cycle.Power(at.Add(d), s.watts))
		}
		at = at.Add(s.d)
	}
	return append(all, cycle.Power(at, 0))
}

type step struct {
	d     time.Duration
	watts float64
}

// aWash heats for 12 minutes of 51 and spins at 430 W; then it stands at 1.2 W.
var aWash = []step{
	{5 * time.Minute, 60}, {12 * time.Minute, 2050}, {25 * time.Minute, 110}, {6 * time.Minute, 430}, {3 * time.Minute, 70},
	{40 * time.Minute, 4}, {100 * time.Minute, 1.2},
}

func washSpan() Span {
	return Span{Number: 7, Start: dayOne, End: dayOne.Add(51 * time.Minute), EnergyWh: 520, PeakW: 2050}
}

func TestMeasure(t *testing.T) {
	for _, every := range []time.Duration{time.Second, 10 * time.Second, 30 * time.Second, time.Minute} {
		c := Measure(washSpan(), tape(every, aWash...), true)
		want := map[Figure]float64{Length: 51, Heating: 12, Energy: 0.52, Spin: 430, Standby: 1.2}
		for f, v := range want {
			near(t, f.String(), c.Value[f], v, 0.02*v)
		}
		if c.Number != 7 || c.PeakW != 2050 {
			t.Errorf("the cycle is %+v", c)
		}
	}
}

// TestMeasureKinds: a dryer has no spin, and a machine that heats with less than
// a resistance has no heating time.
func TestMeasureKinds(t *testing.T) {
	if c := Measure(washSpan(), tape(time.Second, aWash...), false); !math.IsNaN(c.Value[Spin]) {
		t.Errorf("a dryer spins at %v W", c.Value[Spin])
	}
	cold := tape(time.Second, step{40 * time.Minute, 150}, step{11 * time.Minute, 600})
	if c := Measure(washSpan(), cold, true); !math.IsNaN(c.Value[Heating]) || math.Abs(c.Value[Spin]-600) > 1 {
		t.Errorf("a cold wash heats for %v min and spins at %v W", c.Value[Heating], c.Value[Spin])
	}
}

// TestMeasureUnheard: what was not heard is unknown, not 0.
func TestMeasureUnheard(t *testing.T) {
	all := tape(time.Second, aWash...)
	hole := func(from, to time.Duration) (left []cycle.Reading) {
		for _, r := range all {
			if d := r.At.Sub(dayOne); d < from || d >= to {
				left = append(left, r)
			}
		}
		return left
	}
	c := Measure(washSpan(), hole(10*time.Minute, 20*time.Minute), true)
	for _, f := range []Figure{Length, Heating, Energy, Spin} {
		if !math.IsNaN(c.Value[f]) {
			t.Errorf("%s is %v after ten minutes unheard", f, c.Value[f])
		}
	}
	near(t, "standby", c.Value[Standby], 1.2, 0.01)
	c = Measure(washSpan(), hole(60*time.Minute, 10*time.Hour), true)
	near(t, "heating", c.Value[Heating], 12, 0.1)
	if !math.IsNaN(c.Value[Standby]) {
		t.Errorf("standby is %v and nothing was heard", c.Value[Standby])
	}
	for _, f := range Figures() {
		if c := Measure(washSpan(), nil, true); !math.IsNaN(c.Value[f]) {
			t.Errorf("%s of no readings is %v", f, c.Value[f])
		}
	}
}

// TestMeasureNext: what the next load draws is no standby.
func TestMeasureNext(t *testing.T) {
	s := washSpan()
	s.Next = s.End.Add(50 * time.Minute)
	if c := Measure(s, tape(time.Second, aWash...), true); !math.IsNaN(c.Value[Standby]) {
		t.Errorf("standby from five minutes is %v", c.Value[Standby])
	}
	if s.Until() != s.Next {
		t.Errorf("it wants readings until %v", s.Until())
	}
}

// TestMeasureRegister: a meter with a register only gives the same.
func TestMeasureRegister(t *testing.T) {
	all := tape(time.Minute, aWash...)
	wh := 99000.0
	for i := range all {
		watts := all[i].Watts
		all[i].Watts, all[i].Wh = math.NaN(), wh
		wh += watts / 60
	}
	c := Measure(washSpan(), all, true)
	near(t, "heating", c.Value[Heating], 12, 0.1)
	near(t, "spin", c.Value[Spin], 430, 1)
	near(t, "standby", c.Value[Standby], 1.2, 0.01)
}

// TestMeasureModels: of modelled machines the true heating time and spin power
// are known, and are measured from what a meter sees.
func TestMeasureModels(t *testing.T) {
	m, err := sim.ModelNamed("washer")
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(rt *rapid.T) {
		course, err := sim.Make(m, rapid.SampledFrom([]sim.Programme{sim.Cotton40, sim.Cotton60}).Draw(rt, "programme"), sim.Laundry{}, rapid.Uint64().Draw(rt, "seed"))
		if err != nil {
			rt.Fatal(err)
		}
		var all []cycle.Reading
		var heat time.Duration
		for d := time.Duration(0); d < course.End; d += 5 * time.Second {
			watts, phase := course.At(d)
			all = append(all, cycle.Power(dayOne.Add(d), watts))
			if phase == cycle.Heat {
				heat += 5 * time.Second
			}
		}
		s := Span{Start: dayOne, End: dayOne.Add(course.End), EnergyWh: course.EnergyWh(), PeakW: course.PeakW()}
		c := Measure(s, all, true)
		if heat > 3*time.Minute && math.Abs(c.Value[Heating]-heat.Minutes()) > 0.1*heat.Minutes()+0.5 {
			rt.Fatalf("heating for %v is measured as %v min", heat, c.Value[Heating])
		}
		if v := c.Value[Spin]; v < 0.5*m.SpinW || v > 1.2*m.SpinW {
			rt.Fatalf("a spin of up to %v W is measured as %v W", m.SpinW, v)
		}
	})
}

// TestMeasureSplit: a reading said twice, or a steady power said more often,
// changes nothing.
func TestMeasureSplit(t *testing.T) {
	all := tape(time.Minute, aWash...)
	want := Measure(washSpan(), all, true)
	rapid.Check(t, func(rt *rapid.T) {
		var more []cycle.Reading
		for i, r := range all {
			more = append(more, r)
			if i+1 < len(all) && rapid.IntRange(0, 3).Draw(rt, "more") == 0 {
				more = append(more, cycle.Power(r.At.Add(20*time.Second), r.Watts))
			}
		}
		got := Measure(washSpan(), more, true)
		for _, f := range Figures() {
			if math.Abs(got.Value[f]-want.Value[f]) > 1e-6*math.Abs(want.Value[f]) {
				rt.Fatalf("%s is %v, then %v", f, want.Value[f], got.Value[f])
			}
		}
	})
}
