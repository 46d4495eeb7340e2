package cycle

import (
	"math"
	"testing"
	"time"
)

func TestFixedSilence(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.quiet(time.Hour)
	p.none("before the first reading nothing is known that could be said")
	p.power(1, time.Minute).quiet(time.Hour)
	silent := p.one(Silent)
	p.at("silent since", silent.Start, 3660)
	p.at("silence told", silent.At, 3660+600)
	if !p.engine.Status().Silent || !p.engine.Next().IsZero() {
		t.Errorf("while silent: %+v, Next %v", p.engine.Status(), p.engine.Next())
	}
	p.power(1, time.Minute)
	p.at("heard", p.one(Heard).At, 3660+3600+10)
	if p.engine.Status().Silent {
		t.Error("still silent")
	}
}

// No reading is never 0 W: a running cycle does not end in a silence.
func TestFixedHoles(t *testing.T) {
	hole := func(d time.Duration, after float64) *tape {
		p := newFixedTape(t, 10*time.Second)
		return p.power(500, 20*time.Minute).quiet(d).power(after, 4*time.Minute)
	}
	if p := hole(9*time.Minute, 500); len(p.cycles()) != 1 || len(p.of(Silent)) != 0 {
		t.Errorf("a short hole: %+v", p.events)
	}
	// The hole is longer than silence, but the machine comes out of it working.
	p := hole(25*time.Minute, 500)
	if len(p.cycles()) != 1 || len(p.of(Silent, Heard)) != 2 || !p.engine.Status().Running {
		t.Errorf("works after 25 minutes: %+v", p.events)
	}
	p.power(1, 4*time.Minute)
	near(t, "energy without the hole", p.one(Finished).EnergyWh, 500*(20*60+4*60-10)/3600.0, 1e-9)

	// It ended in the hole, nobody saw when.
	p = hole(25*time.Minute, 1)
	presumed := p.one(Presumed)
	p.at("last seen to work", presumed.End, 1200)
	p.at("presumed once idle", presumed.At, 1200+1500+10+180)
	near(t, "energy", presumed.EnergyWh, 500*1190.0/3600, 1e-9)

	// Within the length of a wash it may be the same, beyond it is another.
	if p := hole(100*time.Minute, 500); len(p.cycles()) != 1 {
		t.Errorf("works after 100 minutes: %+v", p.cycles())
	}
	p = hole(4*time.Hour, 500)
	got := p.cycles()
	if len(got) != 3 || got[1].Kind != Presumed || got[2].Kind != Started {
		t.Fatalf("works after 4 hours: %+v", got)
	}
	p.at("first", got[1].End, 1200)
	p.at("second", got[2].Start, 1200+4*3600+10)
}

func TestFixedAfterAHole(t *testing.T) {
	// It pauses just when it is heard again, then goes on.
	p := newFixedTape(t, 10*time.Second)
	p.power(500, 20*time.Minute).quiet(25*time.Minute).power(1, 2*time.Minute).power(500, 5*time.Minute)
	if len(p.cycles()) != 1 {
		t.Errorf("paused when heard: %+v", p.cycles())
	}
	p.power(1, 4*time.Minute)
	p.one(Finished)

	// It was low before the hole: that is no evidence of what came in it.
	set := DefaultSettings()
	set.IdleFor, set.SilentAfter = 15*time.Minute, 10*time.Minute
	p = newTape(t, NewFixed(set), 10*time.Second)
	p.power(500, 20*time.Minute).power(1, time.Minute).quiet(time.Hour)
	if len(p.cycles()) != 1 {
		t.Errorf("declared over in a silence: %+v", p.cycles())
	}
	p.power(1, 16*time.Minute)
	p.at("last seen to work", p.one(Presumed).End, 1200)
	p.at("presumed", p.one(Presumed).At, 1260+3600+10+15*60)

	// The same without any tick: the first reading after it finds both overdue.
	p = newTape(t, NewFixed(set), 10*time.Second)
	p.power(500, 20*time.Minute).power(1, time.Minute)
	p.now = p.now.Add(time.Hour)
	p.says(1)
	if len(p.cycles()) != 1 || len(p.of(Silent, Heard)) != 2 {
		t.Errorf("not ticked: %+v", p.events)
	}
}

// A stray sample just before a hole is not the start of what is seen after it.
func TestFixedStartsAfterAHole(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(1, time.Minute).power(2000, 10*time.Second).power(1, 10*time.Second).quiet(time.Hour).power(2000, time.Minute)
	p.at("start", p.one(Started).Start, 60+10+10+3600+10)

	// What a register gained in a hole says nothing about now.
	p = newFixedTape(t, 0)
	for i := range 100 {
		p.quiet(30 * time.Second)
		wh := 100.0
		if i >= 10 {
			wh++
		}
		if i == 50 {
			p.quiet(time.Hour)
		}
		if i >= 50 {
			wh = 900
		}
		p.reads(Reading{At: p.now, Watts: math.NaN(), Wh: wh})
	}
	if len(p.cycles()) != 0 {
		t.Errorf("a register that jumped over a hole: %+v", p.cycles())
	}
}

// A meter that keeps its readings while the network is down leaves no hole.
func TestFixedTakesKeptReadings(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(500, 20*time.Minute)
	from := p.now
	p.quiet(30 * time.Minute)
	for at := from.Add(10 * time.Second); at.Before(p.now); at = at.Add(10 * time.Second) {
		p.reads(Power(at, 500))
	}
	p.power(1, 4*time.Minute)
	finished := p.one(Finished)
	near(t, "energy", finished.EnergyWh, 500*50*60/3600.0, 2)
	p.at("end", finished.End, 50*60+10)

	// However long the network was down.
	p = newFixedTape(t, 10*time.Second)
	p.power(500, 3*time.Hour)
	from = p.now
	p.quiet(5 * time.Hour)
	p.reads(Power(from.Add(10*time.Second), 500))
	if len(p.cycles()) != 1 {
		t.Errorf("kept for 5 hours: %+v", p.cycles())
	}
	// Nor does a clock that is set right make one.
	p = newFixedTape(t, 10*time.Second)
	p.lag = 5 * time.Hour
	p.power(500, 20*time.Minute)
	p.lag = 0
	p.power(500, 5*time.Minute)
	if len(p.cycles()) != 1 || len(p.of(Silent)) != 0 {
		t.Errorf("clock set right: %+v", p.events)
	}
}

// With a register the energy drawn in a hole is known after it.
func TestFixedRegisterBridgesAHole(t *testing.T) {
	p := newFixedTape(t, 0)
	reads := func(watts, wh float64) { p.reads(Reading{At: p.now, Watts: watts, Wh: wh}) }
	for i := range 11 {
		p.quiet(time.Minute)
		reads(600, float64(100+10*i))
	}
	p.quiet(20 * time.Minute)
	reads(600, 400)
	p.quiet(time.Minute)
	reads(0, 410)
	p.quiet(5 * time.Minute)
	near(t, "energy", p.one(Finished).EnergyWh, 310, 1e-9)
}
