package cycle

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// house draws the readings of a machine that ran so many cycles, and these.
func house(t *rapid.T) (readings []Reading, starts, ends []time.Time) {
	at := energyEpoch
	period := time.Duration(rapid.SampledFrom([]int{2, 10, 30}).Draw(t, "period")) * time.Second
	add := func(watts float64, d time.Duration) {
		for end := at.Add(d); at.Before(end); {
			at = at.Add(period)
			readings = append(readings, Power(at, watts))
		}
	}
	minutes := func(lo, hi int, name string) time.Duration {
		return time.Duration(rapid.IntRange(lo, hi).Draw(t, name)) * time.Minute
	}
	add(1, 10*time.Minute)
	for range rapid.IntRange(1, 4).Draw(t, "cycles") {
		starts = append(starts, at.Add(period))
		for range rapid.IntRange(1, 4).Draw(t, "parts") {
			add(rapid.Float64Range(40, 2200).Draw(t, "W"), minutes(5, 25, "work"))
			add(1, minutes(0, 1, "pause"))
		}
		add(300, 5*time.Minute)
		ends = append(ends, at.Add(period))
		add(rapid.Float64Range(0, 2).Draw(t, "standby"), minutes(8, 40, "idle"))
	}
	return readings, starts, ends
}

// outcome is how many cycles were found, and by how much the worst is off.
func outcome(readings []Reading, starts, ends []time.Time) (n int, worst time.Duration) {
	told := watch(NewFixed(DefaultSettings()), readings)
	for i := range min(len(told), len(ends)) {
		worst = max(worst, told[i].Start.Sub(starts[i]).Abs(), told[i].End.Sub(ends[i]).Abs())
	}
	return len(told), worst
}

func TestFixedFindsWhatWasMade(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings, starts, ends := house(t)
		if n, worst := outcome(readings, starts, ends); n != len(ends) || worst != 0 {
			t.Fatalf("%d cycles of %d, off by %v", n, len(ends), worst)
		}
	})
}

// A reading told twice, the second time in between, changes nothing.
func TestFixedSplitReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings, starts, ends := house(t)
		var split []Reading
		for i, r := range readings {
			split = append(split, r)
			if i+1 < len(readings) && rapid.IntRange(0, 3).Draw(t, "split") == 0 {
				r.At = r.At.Add(readings[i+1].At.Sub(r.At) / 2)
				split = append(split, r)
			}
		}
		if n, worst := outcome(split, starts, ends); n != len(ends) || worst != 0 {
			t.Fatalf("%d cycles of %d, off by %v", n, len(ends), worst)
		}
	})
}

// Without one reading in five, picked at random, the same cycles are found.
func TestFixedDroppedReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings, starts, ends := house(t)
		var kept []Reading
		random := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		for _, r := range readings {
			if random.IntN(5) > 0 {
				kept = append(kept, r)
			}
		}
		off := longestStep(kept)
		if off >= 2*time.Minute {
			t.Skip("a pause of a minute and such a hole together are as long as the rule's three")
		}
		if n, worst := outcome(kept, starts, ends); n != len(ends) || worst > off {
			t.Fatalf("%d cycles of %d, off by %v with holes up to %v", n, len(ends), worst, off)
		}
	})
}

func longestStep(readings []Reading) (longest time.Duration) {
	for i := 1; i < len(readings); i++ {
		longest = max(longest, readings[i].At.Sub(readings[i-1].At))
	}
	return longest
}

// Power and threshold in another unit make the same cycles, with energy in it.
func TestFixedScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		readings, _, _ := house(t)
		// A power of two, so that the scaling itself is exact; upwards, as a
		// drum that turns is known by watts.
		const scale = 2
		set := DefaultSettings()
		plain := watch(NewFixed(set), readings)
		set.IdleBelowW *= scale
		for i := range readings {
			readings[i].Watts *= scale
		}
		scaled := watch(NewFixed(set), readings)
		if len(plain) != len(scaled) {
			t.Fatalf("%d cycles and %d", len(plain), len(scaled))
		}
		for i, e := range plain {
			s := scaled[i]
			if !s.Start.Equal(e.Start) || !s.End.Equal(e.End) || math.Abs(s.EnergyWh-scale*e.EnergyWh) > 1e-6 {
				t.Fatalf("%+v and %+v", e, s)
			}
		}
	})
}
