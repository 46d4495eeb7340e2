package cycle

import (
	"errors"
	"math"
	"testing"
	"time"
)

// reborn is a fixed rule that is made anew from its checkpoint before each call.
type reborn struct {
	*Fixed
	t *testing.T
}

func (r *reborn) again() *Fixed {
	point, err := r.Fixed.Checkpoint()
	if err != nil {
		r.t.Fatal(err)
	}
	r.Fixed = NewFixed(r.Fixed.set)
	if err := r.Fixed.Restore(point); err != nil {
		r.t.Fatal(err)
	}
	return r.Fixed
}

func (r *reborn) Read(now time.Time, v Reading) []Event { return r.again().Read(now, v) }
func (r *reborn) Tick(now time.Time) []Event            { return r.again().Tick(now) }

// Whatever a cycle is in the midst of, a restart forgets none of it.
func TestFixedRemembers(t *testing.T) {
	hour, minute := time.Hour, time.Minute
	for what, play := range map[string]func(*tape){
		"washes":               func(p *tape) { p.power(1, minute).wash(1.8).wash(1.8).wash(0) },
		"presumed over":        func(p *tape) { p.power(300, 20*minute).quiet(hour).power(0, 5*minute) },
		"another after a hole": func(p *tape) { p.power(300, 20*minute).quiet(5*hour).power(300, 5*minute) },
		"the same after one":   func(p *tape) { p.power(300, 20*minute).quiet(25*minute).power(1, minute).power(300, 5*minute) },
		"a new short programme": func(p *tape) {
			for _, m := range []int{60, 60, 60, 20, 21, 60} {
				p.power(300, time.Duration(m)*minute).power(0, 5*minute)
			}
		},
		"mains cut": func(p *tape) {
			for _, m := range []int{60, 60} {
				p.power(300, time.Duration(m)*minute).power(1.8, 5*minute)
			}
			p.power(300, 30*minute).power(0, 5*minute)
		},
		"stalled": func(p *tape) { p.power(30, 7*hour) },
		"a register alone": func(p *tape) {
			for i := range 300 {
				p.quiet(20 * time.Second)
				p.reads(Reading{At: p.now, Watts: math.NaN(), Wh: float64(min(i, 150) * 7)})
			}
		},
	} {
		plain, other := newFixedTape(t, 30*time.Second), newFixedTape(t, 30*time.Second)
		other.engine = &reborn{NewFixed(DefaultSettings()), t}
		play(plain)
		play(other)
		if len(plain.cycles()) == 0 {
			t.Errorf("%s: nothing happened", what)
		}
		a := answered{events: plain.events, status: plain.engine.Status(), next: plain.engine.Next()}
		b := answered{events: other.events, status: other.engine.Status(), next: other.engine.Next()}
		a.remaining, a.running = plain.engine.Remaining(plain.now)
		b.remaining, b.running = other.engine.Remaining(other.now)
		if d := a.differs(b, 0); d != "" {
			t.Errorf("%s: %s differs:\n%+v\n%+v", what, d, a, b)
		}
	}
}

func TestFixedRefusesAndBounds(t *testing.T) {
	f := NewFixed(DefaultSettings())
	if err := f.Restore(Checkpoint{Engine: fixedName, Version: fixedVersion + 1}); !errors.Is(err, ErrVersion) {
		t.Errorf("of another version: %v", err)
	}
	for range 3 * lastRunKeeps {
		f.mem.Runs.Lengths = append(f.mem.Runs.Lengths, time.Hour)
	}
	f.mem.Runs.Lengths[3*lastRunKeeps-1] = time.Minute
	point, err := f.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	if err := f.Restore(point); err != nil {
		t.Fatal(err)
	}
	if l := f.mem.Runs.Lengths; len(l) != lastRunKeeps || l[lastRunKeeps-1] != time.Minute {
		t.Errorf("an overlong history is kept: %d, newest %v", len(l), l[len(l)-1])
	}
}

// Settings come from the building file, not from the checkpoint.
func TestFixedRestoresUnderNewSettings(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(300, 10*time.Minute)
	point, err := p.engine.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	set := DefaultSettings()
	set.IdleBelowW, set.IdleFor, set.RegisterModulusWh = 10, time.Minute, 65536
	f := NewFixed(set)
	if err := f.Restore(point); err != nil {
		t.Fatal(err)
	}
	if f.mem.Energy.Register.Modulus != 65536 || f.mem.Derived.Register.Modulus != 65536 {
		t.Errorf("the register's modulus is that of before: %+v", f.mem.Energy.Register)
	}
	p.engine, p.events = f, nil
	p.power(8, 2*time.Minute)
	p.at("end told by the new rule", p.one(Finished).At, 600+10+60)
}

func FuzzFixedRestore(f *testing.F) {
	good, err := NewFixed(DefaultSettings()).Checkpoint()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good.Data)
	f.Add([]byte(`{"Running":true,"Low":true,"Phase":"heat","LastWatts":null,"Runs":{"Lengths":[1,-5]}}`))
	f.Add([]byte(`{"Phase":"juggle"}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		e := NewFixed(DefaultSettings())
		if err := e.Restore(Checkpoint{Engine: fixedName, Version: fixedVersion, Data: data}); err != nil {
			if !e.Status().Last.At.IsZero() || e.Status().Running {
				t.Errorf("refused, but not as new: %+v", e.Status())
			}
		}
		at := energyEpoch
		for range 100 {
			at = at.Add(10 * time.Second)
			e.Read(at, Power(at, 200))
			e.Next()
			e.Remaining(at)
		}
	})
}
