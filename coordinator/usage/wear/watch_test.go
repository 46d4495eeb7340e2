package wear

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// lives are the invented machines that false alarms and drifts are counted on.
// How much a figure differs between loads of one programme is invented too:
// sensors of moisture and of load make it a tenth or so.
var lives = []struct {
	name   string
	life   life
	figure Figure
}{
	{"dryer, drying time", life{dries: true, cv: 0.10, phi: 0.25}, Length},
	{"washer, heating time", life{cv: 0.08, phi: 0.25}, Heating},
	{"washer, energy", life{cv: 0.10, phi: 0.25}, Energy},
	{"washer, standby", life{cv: 0.10, phi: 0.25}, Standby},
}

// TestFalseAlarms: in machine-years without wear, at most one false alarm a year
// over all the figures of a machine.
func TestFalseAlarms(t *testing.T) {
	const machines, years = 40, 3
	sum := map[bool]float64{}
	for _, c := range lives {
		n := 0
		for seed := range uint64(machines) {
			l := c.life
			l.seed, l.cycles = seed+1, years*aYear
			n += alarms(l.chart(c.figure))
		}
		rate := float64(n) / machines / years
		t.Logf("%s: %.2f false alarms a machine-year", c.name, rate)
		sum[c.life.dries] += rate
	}
	for dries, rate := range sum {
		if rate > 1 {
			t.Errorf("%.2f false alarms a machine-year (dries: %v)", rate, dries)
		}
	}
}

// TestFindsDrift: a lasting 15 % more, after half a year, is found within 25
// cycles in half of the machines and within 50 in nearly all.
func TestFindsDrift(t *testing.T) {
	const machines = 120
	for _, c := range lives[:3] {
		after := make([]int, machines)
		for i := range after {
			l := c.life
			l.seed, l.cycles, l.drift, l.share = uint64(i)+1000, 1300, 900, 0.15
			after[i], _ = found(l.chart(c.figure), 900)
		}
		slices.Sort(after)
		half, most := after[machines/2], after[machines*95/100]
		t.Logf("%s: found after %d cycles (median), %d (95 %%)", c.name, half, most)
		if half > 25 || most > 50 {
			t.Errorf("%s: found after %d cycles (median), %d (95 %%)", c.name, half, most)
		}
	}
}

// TestFindsCreep: what grows by a third in a year, so slowly that the charts get
// used to it, is found against what was usual at first, and told as such.
func TestFindsCreep(t *testing.T) {
	l := life{seed: 5, cycles: aYear, creep: 0.30, cv: 0.10, phi: 0.25, dries: true}
	c := l.chart(Length)
	if c.Drift == nil || c.Drift.Change < 0.15 || c.Drift.Change > 0.4 {
		t.Fatalf("the drift is %+v", c.Drift)
	}
}

// TestDriftIsDatedAndMeasured: by how much, since when, against when.
func TestDriftIsDatedAndMeasured(t *testing.T) {
	for _, share := range []float64{0.24, -0.20} {
		l := life{seed: 9, cycles: 960, drift: 900, share: share, cv: 0.08, phi: 0.2, dries: true}
		d := l.chart(Length).Drift
		if d == nil {
			t.Fatalf("a change by %v is not found", share)
		}
		began := dayOne.Add(900 * 24 * time.Hour / 5)
		if off := d.Since.Sub(began).Abs(); off > 3*24*time.Hour {
			t.Errorf("a change by %v is dated %v off", share, off)
		}
		if math.Abs(d.Change-share) > 0.06 || d.Cycles < 30 || d.Cycles > 90 || d.Figure != Length {
			t.Errorf("a change by %v is told as %+v", share, d)
		}
		if !d.From.Before(d.To) || d.To.After(began) {
			t.Errorf("what was usual was learned from %v to %v", d.From, d.To)
		}
	}
}

// TestRepairIsSeen: after a drift is mended the chart falls silent by itself.
func TestRepairIsSeen(t *testing.T) {
	l := life{seed: 4, cycles: 1200, drift: 900, share: 0.3, cv: 0.08, phi: 0.2, dries: true}
	all := l.run()
	mended := life{seed: 4, cycles: 1200, cv: 0.08, phi: 0.2, dries: true}.run()
	for i := 1000; i < len(all); i++ {
		all[i] = mended[i]
	}
	c := l.chartOf(Length, all)
	if after, ok := found(c, 900); !ok || after > 30 {
		t.Errorf("found after %d cycles", after)
	}
	if c.Drift != nil {
		t.Errorf("200 cycles after the repair it still says %+v", c.Drift)
	}
	if last := c.Points[1020]; last.Signals {
		t.Error("20 cycles after the repair it still signals")
	}
}

// TestLookedAfter: who looked after the machine is not told of the same change
// again, unless it lasts; what was usual before still holds.
func TestLookedAfter(t *testing.T) {
	l := life{seed: 4, cycles: 1200, drift: 900, share: 0.3, cv: 0.08, phi: 0.2, dries: true}
	worn := l.run()
	watch := func(all []Cycle, looked ...time.Time) Chart {
		h := Since(time.Time{}, all, true)
		h.Looked = looked
		return Watch(Length, h, Usual(Length))
	}
	before := watch(worn[:950])
	if before.Drift == nil || !before.Drift.Last.Equal(worn[949].End) {
		t.Fatalf("it says %+v", before.Drift)
	}
	looked := worn[949].End.Add(time.Minute)
	if c := watch(worn[:950], looked); c.Drift != nil {
		t.Errorf("just after that it says %+v", c.Drift)
	}
	// It did not help: found again, of the whole of the change, and dated after that.
	again := watch(worn, looked)
	after, ok := found(again, 950)
	if !ok || after > 50 {
		t.Errorf("found again after %d cycles", after)
	}
	if d := again.Drift; d == nil || d.Since.Before(looked) || math.Abs(d.Change-0.3) > 0.06 {
		t.Errorf("found again: %+v", d)
	}
	// It helped: nothing more is said.
	mended := life{seed: 4, cycles: 1200, cv: 0.08, phi: 0.2, dries: true}.run()
	if c := watch(append(worn[:950:950], mended[950:]...), looked); c.Drift != nil || alarms(c) > 1 {
		t.Errorf("after the repair: %+v, %d alarms", c.Drift, alarms(c))
	}
}

// TestMadeAsNew: what was before is neither charted nor compared with.
func TestMadeAsNew(t *testing.T) {
	l := life{seed: 8, cycles: 1200, drift: 600, share: 0.5, cv: 0.08, dries: true}
	all := l.run()
	since := all[600].Start
	c := Watch(Length, Since(since, all, true), Usual(Length))
	if len(c.Points) != 600 || c.Points[0].Cycle != 601 {
		t.Fatalf("%d points from cycle %d", len(c.Points), c.Points[0].Cycle)
	}
	if c.Drift != nil || alarms(c) > 0 {
		t.Errorf("it says %+v", c.Drift)
	}
}

// TestLearnsFirst: nothing is said before a programme was seen often enough.
func TestLearnsFirst(t *testing.T) {
	s := Usual(Length)
	l := life{seed: 2, cycles: 2 * s.Reference, cv: 0.1, dries: true}
	for _, p := range l.chart(Length).Points {
		if p.Charted != (p.Usual != 0) {
			t.Fatalf("point %+v", p)
		}
	}
	l.cycles = s.Reference
	for _, p := range l.chart(Length).Points {
		if p.Charted || p.Signals {
			t.Fatalf("charted after fewer than %d cycles of a programme: %+v", s.Reference, p)
		}
	}
}

// TestOneOddLoad: a single load of four times the length is no wear.
func TestOneOddLoad(t *testing.T) {
	l := life{seed: 6, cycles: 900, cv: 0.05, dries: true}
	all := l.run()
	all[800].Value[Energy] *= 4
	if c := l.chartOf(Energy, all); alarms(c) > 0 {
		t.Errorf("%d alarms", alarms(c))
	}
}

// TestUnits: minutes or hours, kWh or Wh, it is the same chart. All but standby,
// whose rise counts in watts.
func TestUnits(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		l := life{seed: rapid.Uint64().Draw(rt, "seed"), cycles: 200, drift: 150, share: 0.3, cv: 0.1, dries: true}
		factor := rapid.Float64Range(0.01, 1000).Draw(rt, "factor")
		all := l.run()
		before := l.chartOf(Energy, all)
		for i := range all {
			all[i].Value[Energy] *= factor
		}
		after := l.chartOf(Energy, all)
		for i, p := range before.Points {
			q := after.Points[i]
			if math.Abs(p.Sum.Rise-q.Sum.Rise) > 1e-6 || math.Abs(p.Average.Average-q.Average.Average) > 1e-6 || p.Signals != q.Signals {
				rt.Fatalf("point %d: %+v, then %+v", i, p, q)
			}
		}
	})
}

// TestWatchAnything: whatever is in the store, the chart has finite numbers and
// leaves out what is not known.
func TestWatchAnything(t *testing.T) {
	odd := rapid.SampledFrom([]float64{math.NaN(), 0, -1, 1e-300, 1e300, math.Inf(1), 30, 31, 60})
	rapid.Check(t, func(rt *rapid.T) {
		var all []Cycle
		for i, v := range rapid.SliceOfN(odd, 0, 150).Draw(rt, "values") {
			c := unmeasured(uint64(i), dayOne, dayOne.Add(time.Hour))
			for _, f := range Figures() {
				c.Value[f] = v
			}
			c.PeakW = odd.Draw(rt, "peak")
			all = append(all, c)
		}
		h := Since(time.Time{}, all, rapid.Bool().Draw(rt, "dries"))
		for _, f := range Figures() {
			s := Usual(f)
			s.Reference = 5
			c := Watch(f, h, s)
			for _, point := range c.Points {
				for _, v := range []float64{point.Off, point.Sum.Rise, point.Sum.Sag, point.Average.Average, point.Average.Low} {
					if !finite(v) {
						rt.Fatalf("%s: %+v", f, point)
					}
				}
			}
		}
	})
}

func BenchmarkWatchFiveYears(b *testing.B) {
	l := life{seed: 1, cycles: 5 * aYear, cv: 0.1, phi: 0.2, dries: true}
	all := l.run()
	b.ReportAllocs()
	for b.Loop() {
		l.chartOf(Length, all)
	}
}
