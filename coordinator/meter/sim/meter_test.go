package sim

import (
	"math"
	"testing"
	"time"

	"drumturn/coordinator/cycle"

	"pgregory.net/rapid"
)

// listen returns what a kind of meter hears of a machine that runs one programme.
func listen(t rapid.TB, kind MeterModel, model string, p Programme, hours float64) (*Machine, []cycle.Reading) {
	t.Helper()
	m := newMachine(t, model)
	if p != 0 {
		if _, err := m.Start(born.Add(10*time.Minute), p, Laundry{}); err != nil {
			t.Fatal(err)
		}
	}
	var out []cycle.Reading
	for r := range NewMeter(kind, 5, born).Readings(m, born.Add(time.Duration(hours*float64(time.Hour)))) {
		out = append(out, r)
	}
	return m, out
}

func named(t rapid.TB, name string) MeterModel {
	t.Helper()
	m, err := MeterNamed(name)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestMetersAreValid(t *testing.T) {
	for _, name := range Meters() {
		if err := named(t, name).Check(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// unwrap sums a register as a reader has to: each step modulo mod.
func unwrap(wh []float64, mod float64) float64 {
	var sum float64
	for i := 1; i < len(wh); i++ {
		sum += math.Mod(wh[i]-wh[i-1]+mod, mod)
	}
	return sum
}

// The helper of the next test gives what is known of registers that roll over
// (worked by hand): 65500 65530 20 400 modulo 65536 is 436 in all.
func TestUnwrap(t *testing.T) {
	if got := unwrap([]float64{65500, 65530, 20, 400}, 65536); got != 436 {
		t.Errorf("%v, want 436", got)
	}
}

// A register agrees with the integral of power to one of its steps, rolled over or not.
func TestRegisterIsTheIntegral(t *testing.T) {
	for _, mod := range []float64{0, 500, 65536} {
		kind := named(t, "plug")
		kind.DropsPerDay, kind.RegisterMod, kind.RegisterFrom = 0, mod, 123
		m, readings := listen(t, kind, "dryer", Dry, 4)
		var wh []float64
		for _, r := range readings {
			wh = append(wh, r.Wh)
			if mod > 0 && r.Wh >= mod {
				t.Fatalf("register shows %v, it rolls over at %v", r.Wh, mod)
			}
		}
		until := readings[len(readings)-1].At
		got, want := unwrap(wh, max(mod, 1e12)), m.EnergyWh(until)
		if mod > 0 {
			got = unwrap(wh, mod)
		}
		if math.Abs(got-want) > kind.RegisterStep || want < 1000 {
			t.Errorf("mod %v: register moved by %v Wh, power integrates to %v Wh", mod, got, want)
		}
	}
}

// The watts of a meter that gives means hold the energy: their hold-next sum is
// the integral, whatever its interval. Momentary values miss by more.
func TestMeansHoldTheEnergy(t *testing.T) {
	for _, every := range []time.Duration{time.Second, 10 * time.Second, 30 * time.Second, time.Minute} {
		m, readings := listen(t, MeterModel{Every: every, Mean: true}, "washer", Cotton60, 3)
		var wh float64
		for i := 1; i < len(readings); i++ {
			wh += readings[i].Watts * readings[i].At.Sub(readings[i-1].At).Hours()
		}
		if want := m.EnergyWh(readings[len(readings)-1].At); math.Abs(wh-want) > 1e-6*want {
			t.Errorf("every %v: means sum to %v Wh, truth is %v Wh", every, wh, want)
		}
	}
}

func TestIntervalsAndSteps(t *testing.T) {
	for _, name := range []string{"plug", "plug-fine", "rail", "rail-slow"} {
		kind := named(t, name)
		kind.DropsPerDay = 0
		_, readings := listen(t, kind, "washer", Quick, 1)
		for i, r := range readings {
			if i > 0 && r.At.Sub(readings[i-1].At) != kind.Every {
				t.Fatalf("%s: readings %v apart", name, r.At.Sub(readings[i-1].At))
			}
			if math.Mod(r.Watts, kind.QuantumW) != 0 || r.Watts < 0 {
				t.Fatalf("%s: %v W", name, r.Watts)
			}
		}
		if want := int(time.Hour/kind.Every) + 1; len(readings) != want {
			t.Errorf("%s: %d readings an hour, want %d", name, len(readings), want)
		}
	}
}

func TestOnlyRegisterGivesNoWatts(t *testing.T) {
	_, readings := listen(t, named(t, "register"), "gas-dryer", Dry, 1)
	for _, r := range readings {
		if !math.IsNaN(r.Watts) || math.IsNaN(r.Wh) {
			t.Fatalf("reading %+v", r)
		}
	}
	_, readings = listen(t, named(t, "plug-fine"), "gas-dryer", Dry, 0.1)
	if !math.IsNaN(readings[0].Wh) {
		t.Error("a meter without register gave one")
	}
}

// A meter that reports on change is quiet while idle, and never far behind.
func TestOnChange(t *testing.T) {
	kind := named(t, "on-change")
	kind.DropsPerDay, kind.NoiseW, kind.NoiseShare, kind.QuantumW = 0, 0, 0, 0
	_, idle := listen(t, kind, "washer", 0, 4)
	if want := int(4*time.Hour/kind.Every) + 1; len(idle) != want {
		t.Errorf("idle: %d readings in 4 h, want the %d heartbeats", len(idle), want)
	}
	m, readings := listen(t, kind, "dryer", Dry, 4)
	for i, r := range readings[:len(readings)-1] {
		next := readings[i+1].At
		if gap := next.Sub(r.At); gap < kind.MinGap || gap > kind.Every {
			t.Fatalf("reports %v apart", gap)
		}
		// From the shortest gap on, the next report comes with the first real change.
		for at := r.At.Add(kind.MinGap); at.Before(next); at = at.Add(time.Second) {
			w, _ := m.Power(at)
			if math.Abs(w-r.Watts) >= max(kind.ChangeW, kind.ChangeShare*r.Watts) {
				t.Fatalf("%v W since %v, last reported %v W, next report only at %v", w, at, r.Watts, next)
			}
		}
	}
}

func TestNoiseHasItsSize(t *testing.T) {
	m := NewMachine(Model{OffW: 1000}, 1, born)
	kind := MeterModel{Every: time.Second, NoiseW: 3, NoiseShare: 0.01}
	var n, sum, squares float64
	for r := range NewMeter(kind, 8, born).Readings(m, born.Add(3*time.Hour)) {
		n++
		sum += r.Watts
		squares += (r.Watts - 1000) * (r.Watts - 1000)
	}
	// 13 W by construction; over 10,801 values both are sure to a few per cent.
	if sd := math.Sqrt(squares / n); math.Abs(sd-13) > 0.5 || math.Abs(sum/n-1000) > 0.7 {
		t.Errorf("mean %.2f W, deviation %.2f W, want 1000 and 13", sum/n, sd)
	}
}

// Drop-outs come as often as the model says: over 400 days at 2 a day, 800 give
// or take 5 standard deviations of a Poisson count.
func TestDropsComeAsOften(t *testing.T) {
	m := NewMachine(Model{}, 1, born)
	kind := MeterModel{Every: time.Minute, DropsPerDay: 2, DropFor: 5 * time.Minute}
	var drops int
	last := born
	for r := range NewMeter(kind, 3, born).Readings(m, born.Add(400*24*time.Hour)) {
		if r.At.Sub(last) > time.Minute {
			drops++
		}
		last = r.At
	}
	if math.Abs(float64(drops)-800) > 5*math.Sqrt(800) {
		t.Errorf("%d drops, want about 800", drops)
	}
}

// Drops fall at the same instants however often a meter looks.
func TestDropsDoNotDependOnInterval(t *testing.T) {
	gone := func(every time.Duration) map[time.Time]bool {
		m := NewMachine(Model{}, 1, born)
		kind := MeterModel{Every: every, DropsPerDay: 5, DropFor: 10 * time.Minute}
		heard := map[time.Time]bool{}
		for r := range NewMeter(kind, 3, born).Readings(m, born.Add(72*time.Hour)) {
			heard[r.At] = true
		}
		out := map[time.Time]bool{}
		for at := born; at.Before(born.Add(72 * time.Hour)); at = at.Add(time.Minute) {
			out[at] = !heard[at]
		}
		return out
	}
	fast, slow := gone(10*time.Second), gone(time.Minute)
	silent := 0
	for at, v := range slow {
		if v != fast[at] {
			t.Fatalf("at %v: %v and %v", at, v, fast[at])
		}
		if v {
			silent++
		}
	}
	if silent == 0 {
		t.Error("no drop in three days")
	}
}

func TestSilenceAndSupply(t *testing.T) {
	m := newMachine(t, "washer")
	if err := m.Cut(born.Add(time.Hour), born.Add(2*time.Hour), false); err != nil {
		t.Fatal(err)
	}
	for _, dies := range []bool{true, false} {
		meter := NewMeter(MeterModel{Every: time.Minute, DiesWithSupply: dies}, 1, born)
		meter.Silence(born.Add(10*time.Minute), born.Add(20*time.Minute))
		heard := 0
		for r := range meter.Readings(m, born.Add(3*time.Hour)) {
			heard++
			if d := r.At.Sub(born); d >= 10*time.Minute && d < 20*time.Minute {
				t.Fatalf("heard at %v", d)
			}
			if r.Watts != 0 {
				t.Fatalf("%v W", r.Watts)
			}
		}
		want := 181 - 10
		if dies {
			want -= 60
		}
		if heard != want {
			t.Errorf("dies %v: %d readings, want %d", dies, heard, want)
		}
	}
}

// Reading in pieces gives what reading at once gives.
func TestReadingsInPieces(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		kind := named(t, rapid.SampledFrom(Meters()).Draw(t, "kind"))
		_, whole := listen(t, kind, "glowing-washer", Quick, 1.5)
		m := newMachine(t, "glowing-washer")
		if _, err := m.Start(born.Add(10*time.Minute), Quick, Laundry{}); err != nil {
			t.Fatal(err)
		}
		meter := NewMeter(kind, 5, born)
		var parts []cycle.Reading
		for until := born; until.Before(born.Add(90 * time.Minute)); {
			until = until.Add(time.Duration(rapid.IntRange(1, 3000).Draw(t, "seconds")) * time.Second)
			until = minTime(until, born.Add(90*time.Minute))
			for r := range meter.Readings(m, until) {
				parts = append(parts, r)
			}
		}
		if len(parts) != len(whole) {
			t.Fatalf("%d readings in pieces, %d at once", len(parts), len(whole))
		}
		for i := range parts {
			if parts[i].At != whole[i].At || !same(parts[i].Watts, whole[i].Watts) || !same(parts[i].Wh, whole[i].Wh) {
				t.Fatalf("%+v and %+v", parts[i], whole[i])
			}
		}
	})
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// FuzzMeterModel looks for models that pass Check and yet do not work.
func FuzzMeterModel(f *testing.F) {
	f.Add(int64(time.Second), false, 0.0, 0.0, int64(0), 1.0, 0.5, 10.0, 0.0, 3.0, int64(time.Minute))
	f.Add(int64(time.Minute), true, 2.0, 0.1, int64(0), 0.0, 0.0, 1.0, 65536.0, 0.0, int64(0))
	f.Fuzz(func(t *testing.T, every int64, onChange bool, changeW, share float64, gap int64, quantum, noise, step, mod, drops float64, drop int64) {
		kind := MeterModel{
			Every: time.Duration(every), OnChange: onChange, ChangeW: changeW, ChangeShare: share, MinGap: time.Duration(gap),
			QuantumW: quantum, NoiseW: noise, Register: step > 0, RegisterStep: step, RegisterMod: mod,
			DropsPerDay: drops, DropFor: time.Duration(drop),
		}
		if kind.Check() != nil {
			return
		}
		m := newMachine(t, "washer")
		if _, err := m.Start(born, Quick, Laundry{}); err != nil {
			t.Fatal(err)
		}
		meter, last, n := NewMeter(kind, 1, born), born.Add(-1), 0
		for r := range meter.Readings(m, born.Add(time.Hour)) {
			if !r.At.After(last) || math.IsNaN(r.Watts) || r.Watts < 0 || kind.RegisterMod > 0 && r.Wh >= kind.RegisterMod {
				t.Fatalf("reading %+v after %v", r, last)
			}
			if last, n = r.At, n+1; n > 2000 {
				return
			}
		}
	})
}

func BenchmarkReadings(b *testing.B) {
	kind, _ := MeterNamed("on-change")
	model, _ := ModelNamed("washer")
	b.ReportAllocs()
	for range b.N {
		m := NewMachine(model, 1, born)
		if _, err := m.Start(born, Cotton40, Laundry{}); err != nil {
			b.Fatal(err)
		}
		n := 0
		for range NewMeter(kind, 1, born).Readings(m, born.Add(24*time.Hour)) {
			n++
		}
		b.ReportMetric(float64(n), "readings/day")
	}
}
