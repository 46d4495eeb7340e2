package sim

import (
	"errors"
	"math"
	"testing"
	"time"

	"drumturn/coordinator/cycle"

	"pgregory.net/rapid"
)

var born = time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC)

func newMachine(t rapid.TB, model string) *Machine {
	t.Helper()
	m, err := ModelNamed(model)
	if err != nil {
		t.Fatal(err)
	}
	return NewMachine(m, 11, born)
}

// The reference is scipy.integrate's hold-previous sum over these steps: 19.7694444444 Wh.
func TestEnergyOfSteps(t *testing.T) {
	m := NewMachine(Model{}, 1, born)
	for i, at := range []int{0, 10, 20, 35, 60, 90, 120} {
		watts := []float64{2, 2000, 2050, 150, 155, 400, 3}[i]
		m.push(born.Add(time.Duration(at)*time.Second), watts, cycle.Tumble)
	}
	if got := m.EnergyWh(born.Add(2 * time.Minute)); math.Abs(got-19.7694444444) > 1e-9 {
		t.Errorf("%.10f Wh, want 19.7694444444", got)
	}
}

func TestRunOnMachine(t *testing.T) {
	m := newMachine(t, "washer")
	r, err := m.Start(born.Add(time.Hour), Cotton40, Laundry{})
	if err != nil {
		t.Fatal(err)
	}
	c, _ := Make(m.Model(), Cotton40, Laundry{}, 11)
	if r.End.Sub(r.Start) != c.End || r.Settled.Sub(r.Start) != c.Settled {
		t.Errorf("run %v to %v settled %v, course %v and %v", r.Start, r.End, r.Settled, c.End, c.Settled)
	}
	for d := time.Duration(0); d < c.Settled; d += 17 * time.Second {
		w, phase := m.Power(r.Start.Add(d))
		if cw, cp := c.At(d); w != cw || phase != cp {
			t.Fatalf("at %v: %v W %s, course says %v W %s", d, w, phase, cw, cp)
		}
	}
	drawn := m.EnergyWh(r.End) - m.EnergyWh(r.Start)
	if math.Abs(drawn-c.EnergyWh()) > 1e-6 {
		t.Errorf("machine drew %v Wh, course %v Wh", drawn, c.EnergyWh())
	}
	if m.Running(r.Start.Add(-time.Second)) || !m.Running(r.Start) || m.Running(r.End) {
		t.Error("running is wrong at the borders")
	}
}

func TestButtonsInTheWrongState(t *testing.T) {
	m := newMachine(t, "dryer")
	if err := m.Stop(born); !errors.Is(err, ErrIdle) {
		t.Errorf("stop of an idle machine: %v", err)
	}
	r, err := m.Start(born, Dry, Laundry{})
	if err != nil {
		t.Fatal(err)
	}
	mid := born.Add(5 * time.Minute)
	if _, err := m.Start(mid, Dry, Laundry{}); !errors.Is(err, ErrRunning) {
		t.Errorf("second start: %v", err)
	}
	if err := m.Empty(mid, true); !errors.Is(err, ErrRunning) {
		t.Errorf("emptied while running: %v", err)
	}
	if err := m.Stop(born); !errors.Is(err, ErrPast) {
		t.Errorf("stop in the past: %v", err)
	}
	if _, err := m.Start(r.End, Cotton40, Laundry{}); err == nil {
		t.Error("a dryer washed")
	}
	if _, err := m.Start(r.End, Dry, Laundry{}); err != nil {
		t.Errorf("start after the end, pulses still planned: %v", err)
	}
}

func TestStopPumpsAndIsOff(t *testing.T) {
	m := newMachine(t, "washer")
	if _, err := m.Start(born, Cotton60, Laundry{}); err != nil {
		t.Fatal(err)
	}
	stop := born.Add(20 * time.Minute)
	if err := m.Stop(stop); err != nil {
		t.Fatal(err)
	}
	r, _ := m.Last()
	if !r.Stopped || r.End.Sub(stop) != 25*time.Second {
		t.Errorf("stopped run %+v", r)
	}
	if w, _ := m.Power(r.End); w != m.Model().OffW {
		t.Errorf("%v W after the stop", w)
	}
	if _, ok := m.NextChange(r.End); ok {
		t.Error("something is still planned")
	}
}

func TestEmptyEndsPulses(t *testing.T) {
	for _, off := range []bool{true, false} {
		m := newMachine(t, "dryer")
		r, err := m.Start(born, Dry, Laundry{})
		if err != nil {
			t.Fatal(err)
		}
		at := r.End.Add(5 * time.Minute)
		if err := m.Empty(at, off); err != nil {
			t.Fatal(err)
		}
		for d := time.Duration(0); d < 3*time.Hour; d += 7 * time.Second {
			if w, _ := m.Power(at.Add(d)); w > m.Model().GlowW || off && w > m.Model().OffW {
				t.Fatalf("off %v: %v W, %v after the door was opened", off, w, d)
			}
		}
	}
}

func TestCutResumesOrNot(t *testing.T) {
	for _, resumes := range []bool{true, false} {
		m := newMachine(t, "washer")
		r, err := m.Start(born, Cotton40, Laundry{})
		if err != nil {
			t.Fatal(err)
		}
		from := born.Add(30 * time.Minute)
		to := from.Add(12 * time.Minute)
		before, _ := m.Power(from)
		if err := m.Cut(from, to, resumes); err != nil {
			t.Fatal(err)
		}
		if w, _ := m.Power(from.Add(time.Minute)); w != 0 || m.Supplied(from) || !m.Supplied(to) {
			t.Errorf("%v W without supply", w)
		}
		if _, err := m.Start(from.Add(time.Minute), Quick, Laundry{}); err == nil {
			t.Error("started without supply")
		}
		now, _ := m.Last()
		if resumes {
			if w, _ := m.Power(to); w != before || now.End != r.End.Add(12*time.Minute) || now.Stopped {
				t.Errorf("resumed at %v W (was %v), run %+v", w, before, now)
			}
			continue
		}
		if w, _ := m.Power(to); w != m.Model().OffW || !now.Stopped || now.End != from {
			t.Errorf("stays off: %v W, run %+v", w, now)
		}
	}
	if err := newMachine(t, "washer").Cut(born, born, true); err == nil {
		t.Error("a cut of no length was taken")
	}
}

// TestMachineModel presses buttons at random; after each, energy is what a sum
// over seconds of the power gives, and never falls.
func TestMachineModel(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := NewMachine(anyModel(t), rapid.Uint64().Draw(t, "seed"), born)
		now := born
		var wh float64
		pass := func(t *rapid.T) {
			for range rapid.IntRange(1, 4000).Draw(t, "seconds") {
				w, _ := m.Power(now)
				wh += w / 3600
				now = now.Add(time.Second)
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"pass": pass,
			"start": func(t *rapid.T) {
				p := rapid.SampledFrom(Programmes(m.Model().Kind)).Draw(t, "programme")
				running := m.Running(now)
				_, err := m.Start(now, p, anyLaundry(t))
				if (err == nil) == (running || !m.Supplied(now)) {
					t.Fatalf("start while running %v: %v", running, err)
				}
			},
			"stop":   func(*rapid.T) { _ = m.Stop(now) },
			"empty":  func(t *rapid.T) { _ = m.Empty(now, rapid.Bool().Draw(t, "off")) },
			"forget": func(*rapid.T) { m.Forget(now.Add(-time.Hour)) },
			"cut": func(t *rapid.T) {
				d := time.Duration(rapid.IntRange(1, 900).Draw(t, "length")) * time.Second
				_ = m.Cut(now, now.Add(d), rapid.Bool().Draw(t, "resumes"))
			},
			"": func(t *rapid.T) {
				if got := m.EnergyWh(now); math.Abs(got-wh) > 1e-6*(1+wh) {
					t.Fatalf("%v Wh, the sum over seconds is %v", got, wh)
				}
				if r, ok := m.Last(); ok && (r.End.Before(r.Start) || r.Settled.Before(r.End)) {
					t.Fatalf("run %+v", r)
				}
			},
		})
	})
}

func TestForgetKeepsWhatMatters(t *testing.T) {
	m := newMachine(t, "washer")
	at := born
	for range 20 {
		r, err := m.Start(at, Quick, Laundry{})
		if err != nil {
			t.Fatal(err)
		}
		at = r.End.Add(time.Hour)
	}
	wh := m.EnergyWh(at)
	steps := len(m.line)
	m.Forget(at.Add(-2 * time.Hour))
	if len(m.line) > steps/5 || len(m.Runs()) > 3 || m.EnergyWh(at) != wh {
		t.Errorf("%d of %d steps, %d runs, %v Wh (was %v)", len(m.line), steps, len(m.Runs()), m.EnergyWh(at), wh)
	}
}
