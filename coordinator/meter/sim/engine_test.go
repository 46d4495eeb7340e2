package sim

import (
	"math"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// lives lets a machine run programmes for days, two or three a day, with the
// drum emptied a while after each, and returns the truth and what a meter heard.
func lives(t *testing.T, model string, kind MeterModel, days int) ([]Run, []cycle.Reading) {
	t.Helper()
	m := newMachine(t, model)
	meter := NewMeter(kind, 3, born)
	var heard []cycle.Reading
	hear := func(until time.Time) {
		for r := range meter.Readings(m, until) {
			heard = append(heard, r)
		}
	}
	programmes := Programmes(m.Model().Kind)
	at := born.Add(time.Hour)
	for i := 0; at.Before(born.AddDate(0, 0, days)); i++ {
		hear(at)
		r, err := m.Start(at, programmes[i%len(programmes)], Laundry{})
		if err != nil {
			t.Fatal(err)
		}
		out := r.End.Add(time.Duration(40+i%3*50) * time.Minute)
		hear(out)
		if err := m.Empty(out, true); err != nil {
			t.Fatal(err)
		}
		at = out.Add(5 * time.Hour)
	}
	hear(at)
	return m.Runs(), heard
}

// detect runs the fixed rule over readings and returns the cycles that it closes.
func detect(heard []cycle.Reading) []cycle.Event {
	engine := cycle.NewFixed(cycle.DefaultSettings())
	var closed []cycle.Event
	keep := func(events []cycle.Event) {
		for _, ev := range events {
			if ev.Kind.Ends() {
				closed = append(closed, ev)
			}
		}
	}
	for _, r := range heard {
		for due := engine.Next(); !due.IsZero() && due.Before(r.At); due = engine.Next() {
			keep(engine.Tick(due))
			if next := engine.Next(); !next.After(due) {
				break
			}
		}
		keep(engine.Read(r.At, r))
	}
	return closed
}

// Machines that glow below 3 W are what the fixed rule is made for: it finds each
// run, its end to a minute or two, and its energy to a few per cent.
func TestFixedRuleFindsPlainMachines(t *testing.T) {
	for _, model := range []string{"washer", "vented-dryer", "gas-dryer"} {
		for _, name := range []string{"plug", "plug-fine", "rail"} {
			kind := named(t, name)
			kind.DropsPerDay = 0
			days := 6
			if name == "plug-fine" {
				days = 2
			}
			runs, heard := lives(t, model, kind, days)
			found := detect(heard)
			if len(found) != len(runs) {
				t.Errorf("%s behind %s: %d cycles found, %d were run", model, name, len(found), len(runs))
				continue
			}
			for i, ev := range found {
				if late := ev.End.Sub(runs[i].End).Abs(); late > 2*time.Minute {
					t.Errorf("%s behind %s, run %d (%s): end off by %v", model, name, i, runs[i].Programme, late)
				}
				if ev.EnergyWh < 30 || ev.Start.Sub(runs[i].Start).Abs() > 2*time.Minute {
					t.Errorf("%s behind %s, run %d: %+v", model, name, i, ev)
				}
			}
		}
	}
}

// Others defeat it: while a display glows above 3 W, or the drum turns against
// creases, the fixed rule goes on waiting. This is what a learning engine is for.
func TestSomeMachinesDefeatTheFixedRule(t *testing.T) {
	for _, model := range []string{"old-washer", "glowing-washer", "dryer"} {
		kind := named(t, "plug")
		kind.DropsPerDay = 0
		runs, heard := lives(t, model, kind, 6)
		late := 0
		for i, ev := range detect(heard) {
			if i < len(runs) && ev.End.Sub(runs[i].End) > 5*time.Minute {
				late++
			}
		}
		if late < len(runs)/2 {
			t.Errorf("%s: only %d of %d ends found late", model, late, len(runs))
		}
	}
}

// The watts of a fast meter sum to the energy of the machine within its noise.
func TestReadingsSumToTheEnergy(t *testing.T) {
	kind := named(t, "plug-fine")
	m, heard := listen(t, kind, "washer", Cotton40, 2)
	var wh float64
	for i := 1; i < len(heard); i++ {
		wh += heard[i].Watts * heard[i].At.Sub(heard[i-1].At).Hours()
	}
	if want := m.EnergyWh(heard[len(heard)-1].At); math.Abs(wh-want) > 0.02*want {
		t.Errorf("readings sum to %.1f Wh, the machine drew %.1f Wh", wh, want)
	}
}
