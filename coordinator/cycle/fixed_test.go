package cycle

import (
	"math"
	"testing"
	"time"
)

func newFixedTape(t *testing.T, period time.Duration) *tape {
	return newTape(t, NewFixed(DefaultSettings()), period)
}

// The rule itself, common practice, no source: above 3 W started, below 3 W for
// 3 minutes finished.
func TestFixedRule(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(1.5, 5*time.Minute).power(2000, 10*time.Minute).power(1.5, 10*time.Minute)
	started, finished := p.one(Started), p.one(Finished)
	p.at("start", started.Start, 310)
	p.at("start told", started.At, 330)
	p.at("end", finished.End, 910)
	p.at("end told", finished.At, 910+180)
	near(t, "energy", finished.EnergyWh, 2000.0*600/3600, 1e-9)
	near(t, "peak", finished.PeakW, 2000, 0)
	s := p.engine.Status()
	if s.Running || s.Phase != After || !s.Start.Equal(started.Start) || s.EnergyWh != finished.EnergyWh {
		t.Errorf("status after the end: %+v", s)
	}
	p.at("after since", s.PhaseSince, 910)
}

func TestFixedPausesAreNoEnds(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(500, 10*time.Minute).power(1, 170*time.Second).power(500, 10*time.Minute).power(1, 5*time.Minute)
	if got := p.cycles(); len(got) != 2 {
		t.Fatalf("a pause of 170 s: %+v", got)
	}
	p.at("end", p.one(Finished).End, 600+170+600+10)
}

func TestFixedNothingBegins(t *testing.T) {
	for _, c := range []struct {
		what   string
		period time.Duration
		play   func(*tape)
	}{
		{"a single stray sample, meter of 3 s", 3 * time.Second, func(p *tape) { p.power(1200, 3*time.Second) }},
		{"a single stray sample, meter of a minute", time.Minute, func(p *tape) { p.power(1200, time.Minute) }},
		{"stray samples now and then", time.Second, func(p *tape) {
			for range 50 {
				p.power(900, time.Second).power(1, 9*time.Second)
			}
		}},
		{"noise around the threshold", time.Second, func(p *tape) {
			for i := range 1200 {
				p.power(2.8+0.6*math.Sin(float64(i*i)), time.Second)
			}
		}},
		{"exactly the threshold", time.Second, func(p *tape) { p.power(3, 20*time.Minute) }},
		{"a display that glows just above it", 6 * time.Second, func(p *tape) { p.power(4, time.Hour) }},
		{"a stray sample while the display glows", 6 * time.Second, func(p *tape) {
			p.power(4, 5*time.Minute).power(1200, 6*time.Second).power(4, 5*time.Minute)
		}},
		{"readings that are none", time.Minute, func(p *tape) {
			p.power(math.NaN(), 4*time.Minute)
			p.power(math.Inf(1), 4*time.Minute)
		}},
		{"a meter's noise below 0", time.Minute, func(p *tape) { p.power(-2, 15*time.Minute) }},
	} {
		p := newFixedTape(t, c.period)
		p.power(1, 2*time.Minute)
		c.play(p)
		p.power(1, 2*time.Minute)
		p.none(c.what)
		if p.engine.Status().Running {
			t.Errorf("%s: running", c.what)
		}
	}
}

func TestFixedStartIsDatedBack(t *testing.T) {
	// A drum that turns 10 seconds in 15 from the first minute on.
	p := newFixedTape(t, time.Second)
	p.power(1, time.Minute)
	for range 20 {
		p.power(90, 10*time.Second).power(1, 5*time.Second)
	}
	started := p.one(Started)
	p.at("start", started.Start, 61)
	if told := started.At.Sub(started.Start); told > time.Minute {
		t.Errorf("known only after %v", told)
	}
	// The same seen every 5 seconds only.
	p = newFixedTape(t, 5*time.Second)
	p.power(1, time.Minute)
	for range 20 {
		p.power(90, 10*time.Second).power(1, 5*time.Second)
	}
	p.at("start", p.one(Started).Start, 65)
	// A display that was lit for an hour does not belong to the cycle.
	p = newFixedTape(t, 10*time.Second)
	p.power(4, time.Hour).power(2000, time.Minute)
	if early := energySecond(3610).Sub(p.one(Started).Start); early > riseBack+10*time.Second {
		t.Errorf("start dated back %v into the glow", early)
	}
	// A slow fill of 4 W does.
	p = newFixedTape(t, 10*time.Second)
	p.power(1, time.Minute).power(4, time.Minute).power(2000, time.Minute)
	p.at("start with a fill", p.one(Started).Start, 70)
}

func TestFixedFlickerDoesNotDelayTheEnd(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(500, 10*time.Minute).power(1, time.Minute).power(4, 30*time.Second).power(1, 2*time.Minute)
	finished := p.one(Finished)
	p.at("end", finished.End, 610)
	p.at("end told", finished.At, 790)
	// Power that is work begins the wait anew.
	p = newFixedTape(t, 10*time.Second)
	p.power(500, 10*time.Minute).power(1, time.Minute).power(60, 10*time.Second).power(1, 5*time.Minute)
	p.at("end after a last turn", p.one(Finished).End, 680)
}

// A meter that reports on change says nothing while nothing changes.
func TestFixedOnReportOnChange(t *testing.T) {
	p := newFixedTape(t, time.Second)
	p.says(0).quiet(5 * time.Minute).says(2000).quiet(5 * time.Minute)
	started := p.one(Started)
	p.at("start", started.Start, 300)
	p.at("start told by a tick", started.At, 390)
	p.says(100).quiet(8 * time.Minute).says(0.4)
	p.quiet(3*time.Minute - 1)
	if next, want := p.engine.Next(), p.now.Add(1); !next.Equal(want) || len(p.of(Finished)) > 0 {
		t.Fatalf("just before the end is due, Next is %v, want %v: %+v", next, want, p.of(Finished))
	}
	p.quiet(time.Minute)
	finished := p.one(Finished)
	p.at("end", finished.End, 1080)
	p.at("end told by a tick", finished.At, 1260)
	near(t, "energy", finished.EnergyWh, (2000.0*300+100*480)/3600, 1e-9)
}

// A meter whose clock is 20 minutes late must not be taken for one that has
// been low for 20 minutes, nor for a silent one.
func TestFixedWithALateClock(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.lag = 20 * time.Minute
	p.power(500, 10*time.Minute).power(1, 170*time.Second).power(500, time.Minute)
	if got := p.cycles(); len(got) != 1 || len(p.of(Silent)) > 0 {
		t.Fatalf("late clock: %+v", p.events)
	}
	p.power(1, time.Minute).quiet(5 * time.Minute)
	finished := p.one(Finished)
	p.at("end told", finished.At, 600+170+60+10+180)
	p.at("end, by the meter's clock", finished.End, 600+170+60+10-20*60)
}

func TestFixedEnergyFromTheRegister(t *testing.T) {
	set := DefaultSettings()
	set.RegisterModulusWh = RegisterModulusBits(16, 1)
	p := newTape(t, NewFixed(set), 0)
	wh := 65400.0
	for i := range 120 {
		p.quiet(10 * time.Second)
		watts := 1.0
		if i >= 10 && i < 70 {
			// The register knows of the heater's short rests, the watts do not.
			watts, wh = 2000, math.Mod(wh+5, 65536)
		}
		p.reads(Reading{At: p.now, Watts: watts, Wh: wh})
	}
	finished := p.one(Finished)
	near(t, "energy by the register, over its roll-over", finished.EnergyWh, 59*5, 1e-9)
}

// 1000 pulses a kWh are 1 Wh each; at 3 W they come every 20 minutes
// (3,600,000 / (1000 x 1200 s) = 3 W), so the end is known only then; but it is
// dated back to the last pulse.
func TestFixedWithARegisterAlone(t *testing.T) {
	p := newFixedTape(t, 0)
	wh := 0.3 // So that no pulse is nearly full when the machine ends.
	play := func(watts float64, d time.Duration) {
		for range int(d / (10 * time.Second)) {
			p.quiet(10 * time.Second)
			wh += watts * 10 / 3600
			p.reads(Reading{At: p.now, Watts: math.NaN(), Wh: math.Floor(wh)})
		}
	}
	play(1, 50*time.Minute)
	p.none("standby")
	play(2000, 30*time.Minute)
	started := p.one(Started)
	if late := started.Start.Sub(energySecond(3000)); late < 0 || late > 30*time.Second {
		t.Errorf("start off by %v", late)
	}
	play(1, 30*time.Minute)
	finished := p.one(Finished)
	if off := finished.End.Sub(energySecond(4800)).Abs(); off > 30*time.Second {
		t.Errorf("end off by %v", off)
	}
	if told := finished.At.Sub(finished.End); told < 20*time.Minute || told > 21*time.Minute {
		t.Errorf("known after %v", told)
	}
	near(t, "energy", finished.EnergyWh, 1000, 10)
	near(t, "peak", finished.PeakW, 2000, 400)
}

func TestFixedStalls(t *testing.T) {
	p := newFixedTape(t, time.Minute)
	p.power(200, 4*time.Hour)
	if len(p.of(Stalled)) > 0 {
		t.Fatal("a wash of 4 hours can be: the longest eco programme takes that long")
	}
	p.power(8, 20*time.Hour)
	p.at("stalled", p.one(Stalled).At, 60+5*3600)
	if !p.engine.Status().Stalled || !p.engine.Status().Running {
		t.Errorf("status %+v", p.engine.Status())
	}
	p.power(0, 10*time.Minute).power(200, time.Minute).power(200, time.Minute)
	if p.engine.Status().Stalled || !p.engine.Status().Running {
		t.Errorf("the next cycle: %+v", p.engine.Status())
	}
}

func TestFixedPhases(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(1, time.Minute).wash(1)
	want := []struct {
		phase Phase
		since float64
	}{{Tumble, 70}, {Heat, 190}, {Tumble, 190 + 900}, {Pause, 70 + 120 + 900 + 1200 + 60 + 420}}
	got := p.of(PhaseBegan)
	if len(got) != len(want) {
		t.Fatalf("phases %+v", got)
	}
	for i, w := range want {
		if got[i].Phase != w.phase {
			t.Errorf("phase %d is %v, want %v", i, got[i].Phase, w.phase)
		}
		p.at("told after it has lasted", got[i].At, w.since+phaseLasts.Seconds())
	}
	if s := p.engine.Status(); s.Phase != After {
		t.Errorf("afterwards %v", s.Phase)
	}
	// A soak of two and a half minutes is a pause, and seen as one without readings.
	p = newFixedTape(t, 10*time.Second)
	p.power(150, 5*time.Minute).quiet(10 * time.Second).says(0).quiet(150 * time.Second)
	if s := p.engine.Status(); s.Phase != Pause || !s.Running {
		t.Errorf("in a soak: %+v", s)
	}
	p.at("pause since", p.engine.Status().PhaseSince, 310)
}

func TestPhaseText(t *testing.T) {
	for _, p := range []Phase{NoPhase, Fill, Heat, Tumble, Spin, Pause, CoolDown, After} {
		text, err := p.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		var back Phase
		if err := back.UnmarshalText(text); err != nil || back != p {
			t.Errorf("%q reads as %v, %v", text, back, err)
		}
	}
	var p Phase
	if err := p.UnmarshalText([]byte("juggle")); err == nil {
		t.Error("a word that is no phase was taken")
	}
}
