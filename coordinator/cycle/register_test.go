package cycle

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// registerSum feeds values an hour apart and adds up what the register says.
func registerSum(g *Register, values ...float64) float64 {
	sum := 0.0
	for i, v := range values {
		delta, _ := g.Add(energyEpoch.Add(time.Duration(i)*time.Hour), v)
		sum += delta
	}
	return sum
}

// The sums were computed as modular differences; the units are those of the
// counter's step, here taken as Wh (10 Wh for the decimal one).
func TestRegisterRollOverAndReset(t *testing.T) {
	for _, c := range []struct {
		what    string
		modulus float64
		values  []float64
		want    float64
	}{
		{"16 bits of 1 Wh", RegisterModulusBits(16, 1), []float64{65500, 65530, 20, 400}, 436},
		{"32 bits of 1 Wh", RegisterModulusBits(32, 1), []float64{4294967290, 5, 105}, 111},
		{"5+2 digits of kWh", RegisterModulusDigits(7, 10), []float64{99999900, 99999990, 40, 120}, 220},
		{"reset from mid-range", RegisterModulusBits(16, 1), []float64{31000, 31010, 0, 5}, 15},
		{"reset of a register that never rolls over", 0, []float64{31000, 31010, 0, 5}, 15},
		{"a fall near the top that would be 100 kWh in an hour", RegisterModulusBits(32, 1), []float64{4294867290, 5, 105}, 105},
		{"no fall", 0, []float64{7, 7, 8, 20.5}, 13.5},
		{"one value", 0, []float64{7}, 0},
		{"above its own modulus", 100, []float64{150, 20}, 20},
	} {
		g := Register{Modulus: c.modulus}
		near(t, c.what, registerSum(&g, c.values...), c.want, 1e-6)
	}
	near(t, "16 bits", RegisterModulusBits(16, 1), 65536, 0)
	near(t, "32 bits of 0.1 Wh", RegisterModulusBits(32, 0.1), 429496729.6, 1e-6)
	near(t, "7 digits of 10 Wh", RegisterModulusDigits(7, 10), 1e8, 0)
}

func TestRegisterRefuses(t *testing.T) {
	g := Register{}
	if _, ok := g.Add(energySecond(0), 100); ok {
		t.Error("a first value has no difference")
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), -1} {
		if d, ok := g.Add(energySecond(5), bad); ok || d != 0 {
			t.Errorf("%v gave %v, %v", bad, d, ok)
		}
	}
	if d, ok := g.Add(energySecond(0), 150); ok || d != 0 {
		t.Errorf("a value that is not newer gave %v, %v", d, ok)
	}
	if d, ok := g.Add(energySecond(10), 120); !ok || d != 20 {
		t.Errorf("gave %v, %v; the refused values must leave no trace", d, ok)
	}
	if d, ok := g.Add(energySecond(20), 5_000_000); ok || d != 0 {
		t.Errorf("another meter's register gave %v, %v", d, ok)
	}
	if d, ok := g.Add(energySecond(30), 5_000_010); !ok || d != 10 {
		t.Errorf("after the exchange %v, %v", d, ok)
	}
	if d, ok := g.Add(energySecond(40), 400_000); ok || d != 0 {
		t.Errorf("a used meter with a lower count gave %v, %v", d, ok)
	}
}

// Whatever is drawn is counted, over any number of roll-overs.
func TestRegisterCountsWhatIsDrawn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		bits := rapid.SampledFrom([]int{16, 24, 32}).Draw(t, "bits")
		g := Register{Modulus: RegisterModulusBits(bits, 1)}
		value := math.Floor(rapid.Float64Range(0, g.Modulus-1).Draw(t, "first"))
		at, want, got := energyEpoch, 0.0, 0.0
		g.Add(at, value)
		for range rapid.IntRange(1, 60).Draw(t, "readings") {
			step := float64(rapid.IntRange(0, 5000).Draw(t, "Wh"))
			value = math.Mod(value+step, g.Modulus)
			at = at.Add(time.Hour)
			delta, ok := g.Add(at, value)
			if !ok {
				t.Fatalf("no answer at %v", value)
			}
			want, got = want+step, got+delta
		}
		if got != want {
			t.Fatalf("counted %v Wh of %v", got, want)
		}
	})
}
