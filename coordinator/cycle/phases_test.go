package cycle

import (
	"testing"
	"time"
)

// stretch is power that held for a time, below work when low.
type stretch struct {
	w    float64
	secs int
	low  bool
}

// playPhases lets a machine whose levels are v run through stretches, read every 10 s,
// and returns the phases in their order.
func playPhases(p *phases, v *levels, s Settings, parts ...stretch) (began []Phase) {
	at := p.From
	for _, c := range parts {
		for range c.secs / 10 {
			at = at.Add(10 * time.Second)
			if p.add(at, c.w, 10*time.Second, c.low, v, s) {
				began = append(began, p.Now)
			}
		}
	}
	return began
}

func newPhases() *phases {
	p := &phases{}
	p.reset(t0)
	return p
}

func samePhases(a, b []Phase) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// TestPhasesOfMachines: powers are common practice without a source, but for the spin
// of the cold wash, 767 W (powersaving.co.za).
func TestPhasesOfMachines(t *testing.T) {
	both := Settings{Washer: true, Dryer: true}
	for _, c := range []struct {
		what  string
		set   Settings
		v     levels
		parts []stretch
		want  []Phase
	}{
		{"a wash", washer(), levels{}, []stretch{{11, 120, false}, {110, 300, false}, {2050, 600, false}, {110, 600, false}, {420, 120, false}},
			[]Phase{Fill, Tumble, Heat, Tumble, Spin}},
		{"a cold wash", washer(), levels{}, []stretch{{110, 600, false}, {767, 120, false}, {110, 60, false}}, []Phase{Tumble, Spin, Tumble}},
		{"a soak", washer(), levels{}, []stretch{{110, 300, false}, {1, 300, true}, {110, 60, false}}, []Phase{Tumble, Pause, Tumble}},
		{"a spin of a slot is none", washer(), levels{}, []stretch{{110, 600, false}, {420, 20, false}, {110, 600, false}}, []Phase{Tumble}},
		{"the lower step of a heater is no spin", washer(), levels{HotW: 2000, HeatW: 1300},
			[]stretch{{110, 600, false}, {1000, 120, false}}, []Phase{Tumble}},
		{"a dryer", dryer(), levels{}, []stretch{{2500, 900, false}, {220, 300, false}}, []Phase{Heat, CoolDown}},
		{"a heat pump", dryer(), levels{}, []stretch{{160, 60, false}, {750, 900, false}, {160, 300, false}}, []Phase{Tumble, Heat, CoolDown}},
		{"a gas dryer", dryer(), levels{}, []stretch{{280, 1800, false}}, []Phase{Tumble}},
		{"a washer-dryer dries", both, levels{}, []stretch{{2000, 900, false}, {220, 300, false}}, []Phase{Heat, CoolDown}},
		{"a washer-dryer washes", both, levels{}, []stretch{{110, 300, false}, {2000, 300, false}, {1, 60, true}, {110, 300, false}},
			[]Phase{Tumble, Heat, Pause, Tumble}},
	} {
		if got := playPhases(newPhases(), &c.v, c.set, c.parts...); !samePhases(got, c.want) {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

// TestPhasesRemember: when the last strong phase ended, whether it heated and spun.
func TestPhasesRemember(t *testing.T) {
	p := newPhases()
	playPhases(p, &levels{}, washer(), stretch{110, 300, false})
	if p.Strong != NoPhase || p.Heated || p.Spun || p.Count != 1 {
		t.Errorf("before any: %+v", p)
	}
	playFrom := func(parts ...stretch) { playPhases(p, &levels{}, washer(), parts...) }
	playFrom(stretch{2050, 300, false}, stretch{110, 300, false})
	if p.Strong != Heat || !p.Heated || p.Reheated || p.HotW != 2050 || !p.StrongUntil.Equal(t0.Add(10*time.Minute)) {
		t.Errorf("after a heat: %+v", p)
	}
	playFrom(stretch{420, 120, false}, stretch{110, 60, false})
	if p.Strong != Spin || !p.Spun || p.Reheated || !p.StrongUntil.Equal(t0.Add(17*time.Minute)) {
		t.Errorf("after a spin: %+v", p)
	}
	if playFrom(stretch{2000, 120, false}); !p.Reheated || p.HotW != 2050 || p.Count != 6 {
		t.Errorf("after another heat: %+v", p)
	}
	if p.reset(t0); p.Heated || p.Spun || p.Count != 0 || p.Drum != 0 {
		t.Errorf("after a reset: %+v", p)
	}
}

// TestSlowMetersNeedThreeSlots: a meter that looks now and then may see two strong
// strokes of a turning drum in a row.
func TestSlowMetersNeedThreeSlots(t *testing.T) {
	for slots, want := range map[int]int{2: 1, 3: 2} {
		p, n := newPhases(), 0
		at := t0
		for i := range 20 {
			w := 110.0
			if i >= 10 && i < 10+slots {
				w = 420
			}
			at = at.Add(time.Minute)
			if p.add(at, w, time.Minute, false, &levels{}, washer()) {
				n++
			}
		}
		if n < want || slots == 2 && n > 1 {
			t.Errorf("%d strong minutes: %d phases began", slots, n)
		}
	}
}

// TestMotor: what a dryer's motor takes shows in a cool-down that lasts, or all the
// time where nothing heats.
func TestMotor(t *testing.T) {
	p := newPhases()
	playPhases(p, &levels{}, dryer(), stretch{2500, 900, false}, stretch{220, 60, false})
	if w := p.motor(p.From); w != 0 {
		t.Errorf("a cool-down of a minute shows %v W", w)
	}
	playPhases(p, &levels{}, dryer(), stretch{220, 120, false}, stretch{240, 20, false})
	if w := p.motor(p.From); w < 219 || w > 230 {
		t.Errorf("a cool-down of three minutes shows %v W", w)
	}
	if w := p.motor(p.Since.Add(time.Second)); w != 0 {
		t.Errorf("at its begin %v W", w)
	}
	gas := newPhases()
	playPhases(gas, &levels{}, dryer(), stretch{280, 600, false})
	if w := gas.motor(gas.From); w < 270 || w > 290 {
		t.Errorf("a gas dryer's motor takes %v W", w)
	}
	if w := gas.motor(gas.From.Add(time.Hour)); w != 0 {
		t.Errorf("an hour unheard: %v W", w)
	}
}
