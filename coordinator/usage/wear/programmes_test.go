package wear

import (
	"math"
	"testing"
)

// washOf is a wash of so many minutes and kWh.
func washOf(minutes, kwh float64) Cycle {
	c := unmeasured(1, dayOne, dayOne)
	c.PeakW, c.Value[Length], c.Value[Energy] = 2100, minutes, kwh
	return c
}

func TestProgrammes(t *testing.T) {
	var p Programmes
	for _, c := range []struct {
		cycle Cycle
		want  int
	}{
		{washOf(60, 0.6), 0}, {washOf(120, 1.1), 1}, {washOf(64, 0.7), 0}, {washOf(30, 0.2), 2}, {washOf(115, 1), 1},
		{washOf(math.NaN(), 1), None}, {washOf(60, math.NaN()), None}, {washOf(0, 1), None},
		{washOf(61, 0.2), 3}, // cold
		{washOf(62, 0.55), 0},
	} {
		if got := p.Of(c.cycle); got != c.want {
			t.Errorf("%v min, %v kWh: programme %d, want %d", c.cycle.Value[Length], c.cycle.Value[Energy], got, c.want)
		}
	}
}

// TestWornCyclesStay: a machine that takes 35 % longer is still in its programme,
// also where some odd loads lie between.
func TestWornCyclesStay(t *testing.T) {
	p := Programmes{Dries: true}
	dry := func(minutes float64) Cycle { return washOf(minutes, 1) }
	for range 40 {
		if p.Of(dry(40)) != 0 {
			t.Fatal("the first programme is not the first")
		}
	}
	if got := p.Of(dry(40 * 1.7)); got != 1 {
		t.Errorf("an odd load is programme %d", got)
	}
	for range 60 {
		if got := p.Of(dry(40 * 1.35)); got != 0 {
			t.Fatalf("a worn cycle is programme %d", got)
		}
	}
	cold := dry(40)
	cold.PeakW = 300
	if got := p.Of(cold); got != 2 {
		t.Errorf("airing without heat is programme %d", got)
	}
}

// TestProgrammesAreBounded: what is beyond the bound is not watched, and those
// there are go on.
func TestProgrammesAreBounded(t *testing.T) {
	var p Programmes
	for i := range 40 {
		got := p.Of(washOf(math.Pow(1.6, float64(i)), 1))
		if want := i; i < mostProgrammes && got != want || i >= mostProgrammes && got != None {
			t.Errorf("programme %d for the number %d", got, i)
		}
	}
	if got := p.Of(washOf(1.6, 1)); got != 1 {
		t.Errorf("an old programme is %d", got)
	}
}
