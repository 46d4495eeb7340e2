package score

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// recorded is a machine that reads 100, 101, 102 ... W, every so many seconds from day on.
func recorded(n int, every time.Duration, ls ...Label) measured {
	m := measured{set: "set", machine: "washer-1", labels: ls}
	for i := range n {
		m.readings = append(m.readings, cycle.Power(day.Add(time.Duration(i)*every), 100+float64(i)))
	}
	return m
}

// by disturbs a machine by name; it must not change what it was given.
func by(t *testing.T, name string, m measured) (measured, bool) {
	t.Helper()
	k := slices.IndexFunc(disturbances, func(d disturbance) bool { return d.name == name })
	if k < 0 {
		t.Fatalf("no disturbance %q", name)
	}
	rs, ls := slices.Clone(m.readings), slices.Clone(m.labels)
	out, ok := disturbances[k].disturb(m)
	for i := range rs {
		if rs[i].At != m.readings[i].At || rs[i].Watts != m.readings[i].Watts {
			t.Fatalf("%s changes its source", name)
		}
	}
	if !slices.Equal(ls, m.labels) {
		t.Fatalf("%s changes the labels of its source", name)
	}
	return out, ok
}

func TestLost(t *testing.T) {
	m := recorded(5000, time.Second, label(0, 10, Clean))
	a, _ := by(t, "a fifth of the readings lost", m)
	b, _ := by(t, "a fifth of the readings lost", m)
	if n := len(a.readings); n < 3900 || n > 4100 {
		t.Errorf("%d of 5000 readings are left", n)
	}
	if len(a.readings) != len(b.readings) || a.readings[2000].At != b.readings[2000].At {
		t.Error("another time others are lost")
	}
	m.machine = "washer-2"
	if c, _ := by(t, "a fifth of the readings lost", m); len(c.readings) == len(a.readings) && c.readings[2000].At == a.readings[2000].At {
		t.Error("of another machine the same are lost")
	}
}

func TestGlowing(t *testing.T) {
	m := recorded(120, time.Minute, label(5, 10, Clean), label(30, 40, Doubtful))
	for i := range m.readings {
		m.readings[i].Watts = 1
	}
	out, _ := by(t, "glow of 9 W after the end", m)
	for i, r := range out.readings {
		want := 1.0
		if i > 10 && i < 30 || i > 40 && i <= 80 {
			want = 9
		}
		if r.Watts != want {
			t.Errorf("minute %d: %v W, want %v", i, r.Watts, want)
		}
	}
}

func TestSlowMeters(t *testing.T) {
	m := recorded(100, time.Second, label(0, 10, Clean))
	out, ok := by(t, "a reading each 30 s", m)
	if !ok || len(out.readings) != 5 {
		t.Fatalf("%d readings: %v", len(out.readings), out.readings)
	}
	for i, want := range []float64{100, 130, 160, 190, 199} {
		if r := out.readings[i]; r.Watts != want || !r.At.Equal(day.Add(time.Duration(i)*30*time.Second)) {
			t.Errorf("reading %d: %v", i, r)
		}
	}
	out, _ = by(t, "a mean of each 30 s", m)
	// The seconds 0..29 read 100..129 W, so the mean over them is 114.5.
	for i, want := range []float64{100, 114.5, 144.5, 174.5} {
		if r := out.readings[i]; math.Abs(r.Watts-want) > 1e-9 {
			t.Errorf("mean %d: %v W, want %v", i, r.Watts, want)
		}
	}
	for _, name := range []string{"a reading each 30 s", "a mean of each 30 s"} {
		if _, ok := by(t, name, recorded(100, 30*time.Second, label(0, 10, Clean))); ok {
			t.Errorf("%s: a meter of 30 s has nothing to lose", name)
		}
	}
}

// TestSlowMeterInHole: a hole of an hour stays one, and what lasts a minute does not.
func TestSlowMeterInHole(t *testing.T) {
	m := recorded(100, 10*time.Second, label(0, 10, Clean))
	m.readings = slices.DeleteFunc(m.readings, func(r cycle.Reading) bool {
		return r.At.After(minute(4)) && r.At.Before(minute(5))
	})
	for i := range m.readings {
		if m.readings[i].At.After(minute(10)) {
			m.readings[i].At = m.readings[i].At.Add(time.Hour)
		}
	}
	out, _ := by(t, "a reading each 60 s", m)
	var longest time.Duration
	for i := 1; i < len(out.readings); i++ {
		d := out.readings[i].At.Sub(out.readings[i-1].At)
		if d%time.Minute != 0 || d <= 0 {
			t.Fatalf("off the clock by %v", d)
		}
		longest = max(longest, d)
	}
	if longest < 57*time.Minute || longest > time.Hour {
		t.Errorf("the hole lasts %v", longest)
	}
}

func TestReportsOfChanges(t *testing.T) {
	m := recorded(2, time.Second, label(0, 10, Clean))
	m.readings = nil
	for i, w := range []float64{100, 102, 103, 104, 50, 50} {
		m.readings = append(m.readings, cycle.Power(day.Add(time.Duration(i)*time.Second), w))
	}
	for s := 6; s < 1000; s++ {
		m.readings = append(m.readings, cycle.Power(day.Add(time.Duration(s)*time.Second), 50))
	}
	out, _ := by(t, "reports of changes", m)
	var said []float64
	for _, r := range out.readings {
		said = append(said, r.Watts)
	}
	if !slices.Equal(said, []float64{100, 104, 50, 50, 50, 50}) {
		t.Errorf("says %v", said)
	}
	if d := out.readings[4].At.Sub(out.readings[3].At); d != 5*time.Minute {
		t.Errorf("without a change it speaks after %v", d)
	}
}

// TestStopped: what comes after a stop is later by it, labels and readings alike.
func TestStopped(t *testing.T) {
	m := recorded(600, 10*time.Second, label(10, 40, Clean), label(50, 60, Gap), label(70, 90, Clean))
	out, _ := by(t, "stopped for 5 min in the midst", m)
	want := []Label{label(10, 45, Clean), label(55, 65, Gap), label(75, 100, Clean)}
	for i, l := range out.labels {
		if !l.Start.Equal(want[i].Start) || !l.End.Equal(want[i].End) {
			t.Errorf("label %d from %v to %v", i, l.Start, l.End)
		}
	}
	if len(out.readings) != 600+2*30 {
		t.Errorf("%d readings", len(out.readings))
	}
	last := m.readings[599]
	if r := out.readings[len(out.readings)-1]; r.Watts != last.Watts || !r.At.Equal(last.At.Add(10*time.Minute)) {
		t.Errorf("the last reading is %v", r)
	}
	still := 0
	for i, r := range out.readings {
		if i > 0 && r.At.Sub(out.readings[i-1].At) != 10*time.Second {
			t.Fatalf("a step of %v", r.At.Sub(out.readings[i-1].At))
		}
		if r.Watts == 2 {
			still++
			if at := r.At; !(at.After(minute(19)) && at.Before(minute(37))) && !(at.After(minute(81)) && at.Before(minute(94.1))) {
				t.Errorf("it stands still at %v", at)
			}
		}
	}
	if still != 60 {
		t.Errorf("it stands still for %d readings", still)
	}
}

func TestEachReadingChanged(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	m := recorded(3, time.Second)
	scaled(1.5)(&m, rnd)
	if w := m.readings[1].Watts; w != 151.5 {
		t.Errorf("1.5 times 101 W: %v", w)
	}
	stepped(2)(&m, rnd)
	if w := m.readings[1].Watts; w != 152 {
		t.Errorf("151.5 W in steps of 2 W: %v", w)
	}
	m = recorded(1000, time.Second)
	noised(&m, rnd)
	least, most := math.Inf(1), math.Inf(-1)
	for i, r := range m.readings {
		off := (r.Watts - 100 - float64(i)) / (0.4 + 0.03*(100+float64(i)))
		least, most = min(least, off), max(most, off)
	}
	if least < -1 || least > -0.98 || most > 1 || most < 0.98 {
		t.Errorf("noise from %v to %v", least, most)
	}
}
