package hindsight

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/sim"
)

var (
	ctx   = context.Background()
	dawn  = time.Date(2026, 3, 17, 6, 0, 0, 0, time.UTC)
	place = Place{"cellar", "w1"}
)

// shelf is a store in memory.
type shelf struct {
	facts    []coordinator.Fact
	readings []cycle.Reading
	asked    time.Duration // length of all that was asked for
	given    int
	told     int // facts
}

func (s *shelf) Facts(_ context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	if unit != place.Room {
		return errors.New("another room")
	}
	for _, f := range s.facts {
		if f.At.Before(from) || !f.At.Before(to) {
			continue
		}
		if s.told++; !fn(f) {
			break
		}
	}
	return nil
}

func (s *shelf) Readings(_ context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	if unit != place.Room || machine != place.Machine {
		return errors.New("another machine")
	}
	s.asked += max(0, to.Sub(from))
	for _, r := range s.readings {
		if !r.At.Before(from) && r.At.Before(to) {
			s.given++
			if !fn(coordinator.MachineReading{Machine: machine, Reading: r}) {
				break
			}
		}
	}
	return nil
}

// washes is a machine that washed some times, as its meter saw it, and the facts
// that the learning engine made of it. The simulation knows the truth.
func washes(t *testing.T, n int) (*shelf, []sim.Run) {
	t.Helper()
	model, err := sim.ModelNamed(sim.Models()[0])
	if err != nil {
		t.Fatal(err)
	}
	mm, err := sim.MeterNamed(sim.Meters()[0])
	if err != nil {
		t.Fatal(err)
	}
	m := sim.NewMachine(model, 5, dawn)
	meter := sim.NewMeter(mm, 5, dawn)
	s := &shelf{}
	e := cycle.New(cycle.DefaultSettings())
	number := uint64(0)
	for i := range n {
		at := dawn.Add(time.Duration(i)*4*time.Hour + 30*time.Minute)
		for r := range meter.Readings(m, at) {
			s.take(e, r, &number)
		}
		if _, err := m.Start(at, sim.Programmes(model.Kind)[i%2], sim.Laundry{Kg: 5, Moisture: 0.6, InletC: 12}); err != nil {
			t.Fatal(err)
		}
	}
	for r := range meter.Readings(m, dawn.Add(time.Duration(n)*4*time.Hour)) {
		s.take(e, r, &number)
	}
	return s, m.Runs()
}

// take stores a reading, and a fact for each cycle that ended.
func (s *shelf) take(e cycle.Engine, r cycle.Reading, number *uint64) {
	s.readings = append(s.readings, r)
	for _, ev := range e.Read(r.At, r) {
		if ev.Kind == cycle.Started {
			*number++
		}
		if ev.Kind.Ends() {
			s.facts = append(s.facts, coordinator.Fact{
				At: ev.At, Kind: coordinator.FactCycle, Machine: place.Machine, Cycle: *number,
				Start: ev.Start, End: ev.End, EnergyWh: ev.EnergyWh, PeakW: ev.PeakW, Note: ev.Kind.String(),
			})
		}
	}
}

// TestTell: told again, a cycle has its phases one after the other from start to
// end, and what was said of the remaining time comes true.
func TestTell(t *testing.T) {
	s, runs := washes(t, 7)
	if len(s.facts) != 7 || len(runs) != 7 {
		t.Fatalf("%d facts of %d runs", len(s.facts), len(runs))
	}
	of := s.facts[6]
	s.asked, s.given = 0, 0
	story, err := Tell(ctx, s, place, cycle.New(cycle.DefaultSettings()), s.facts[:6], of)
	if err != nil || story.Behind != 6 {
		t.Fatal(story.Behind, err)
	}
	checkPhases(t, story.Phases, of)
	said := map[cycle.Phase]bool{}
	for _, p := range story.Phases {
		said[p.Phase] = true
	}
	if !said[cycle.Heat] || !said[cycle.Tumble] || !said[cycle.Spin] {
		t.Errorf("phases %v: a wash heats, tumbles and spins", said)
	}
	if len(story.Said) < 20 {
		t.Fatalf("the remaining time was said %d times", len(story.Said))
	}
	within := 0
	for _, x := range story.Said {
		if left := of.End.Sub(x.At); x.Left.Low <= left+2*time.Minute && left <= x.Left.High+2*time.Minute {
			within++
		}
	}
	if within < len(story.Said)/2 {
		t.Errorf("%d of %d intervals hold the truth", within, len(story.Said))
	}
	last := story.Said[len(story.Said)-1]
	if off := (of.End.Sub(last.At) - last.Left.Median).Abs(); off > 10*time.Minute {
		t.Errorf("at the end it is off by %v", off)
	}
}

func checkPhases(t *testing.T, all []Phase, of coordinator.Fact) {
	t.Helper()
	if len(all) < 3 {
		t.Fatalf("phases %v", all)
	}
	for i, p := range all {
		if !p.From.Before(p.To) || p.From.Before(of.Start) || p.To.After(of.End) || i > 0 && !all[i-1].To.Equal(p.From) {
			t.Errorf("phase %d of %v to %v: %+v", i, of.Start, of.End, p)
		}
	}
	if !all[len(all)-1].To.Equal(of.End) {
		t.Errorf("the last phase ends at %v, the cycle at %v", all[len(all)-1].To, of.End)
	}
}

// TestStretches: none reaches into the next, and those far apart are read apart.
func TestStretches(t *testing.T) {
	near := fact(0, 1, "w1")
	soon := near
	soon.Start, soon.End, soon.At = near.At.Add(2*time.Minute), near.At.Add(time.Hour), near.At.Add(62*time.Minute)
	far := fact(3, 3, "w1")
	all := stretches([]coordinator.Fact{near, soon}, far)
	for i, x := range all {
		if !x.from.Before(x.to) || i > 0 && x.from.Before(all[i-1].to) {
			t.Errorf("stretch %d of %+v", i, all)
		}
	}
	if got := grouped(all); len(got) != 2 || len(got[0]) != 2 || len(got[1]) != 1 {
		t.Errorf("read together: %+v", got)
	}
	s := &shelf{}
	if _, err := Tell(ctx, s, place, cycle.New(cycle.DefaultSettings()), []coordinator.Fact{near, soon}, far); err != nil || s.asked > 5*time.Hour {
		t.Errorf("%v of readings were asked for, %v", s.asked, err)
	}
}

// TestTellWithoutReadings: they are kept for a shorter time than facts.
func TestTellWithoutReadings(t *testing.T) {
	of := coordinator.Fact{At: dawn.Add(2 * time.Hour), Start: dawn, End: dawn.Add(time.Hour), Cycle: 1}
	story, err := Tell(ctx, &shelf{}, place, cycle.New(cycle.DefaultSettings()), nil, of)
	if err != nil || len(story.Phases) != 0 || len(story.Said) != 0 {
		t.Errorf("%+v %v", story, err)
	}
}

func fact(day int, number uint64, machine coordinator.MachineID) coordinator.Fact {
	end := dawn.AddDate(0, 0, day)
	return coordinator.Fact{At: end.Add(3 * time.Minute), Kind: coordinator.FactCycle, Machine: machine, Cycle: number, Start: end.Add(-time.Hour), End: end, Note: "finished"}
}

// TestCycles: newest first, over long pauses, those of the machine, each once as
// it was told last.
func TestCycles(t *testing.T) {
	s := &shelf{facts: []coordinator.Fact{
		fact(0, 1, "w1"), fact(100, 2, "w1"), fact(100, 9, "w2"), fact(101, 3, "w1"), {At: dawn.AddDate(0, 0, 101), Kind: coordinator.FactCollected, Machine: "w1"},
		fact(102, 4, "w1"),
	}}
	again := fact(101, 3, "w1")
	again.At, again.Note = again.At.Add(time.Hour), "stopped_early"
	s.facts = append(s.facts[:5], again, s.facts[5])
	now := dawn.AddDate(0, 0, 110)
	got, err := Cycles(ctx, s, place, now, 10)
	if err != nil || len(got) != 4 {
		t.Fatalf("%d cycles, %v", len(got), err)
	}
	for i, c := range got {
		if c.Cycle != uint64(4-i) {
			t.Errorf("cycle %d comes at %d", c.Cycle, i)
		}
	}
	if got[1].Note != "stopped_early" {
		t.Errorf("cycle 3 is as it was told first: %q", got[1].Note)
	}
	if page, _ := Cycles(ctx, s, place, now, 2); len(page) != 2 || page[1].Cycle != 3 {
		t.Errorf("a page of two: %+v", page)
	}
	if older, _ := Cycles(ctx, s, place, got[1].At, 10); len(older) == 0 || older[len(older)-1].Cycle != 1 {
		t.Errorf("older ones: %+v", older)
	}
}

// TestFindReadsLittle: of a long history only some days.
func TestFindReadsLittle(t *testing.T) {
	s := &shelf{}
	for d := range 2000 {
		s.facts = append(s.facts, fact(d, uint64(d+1), "w1"))
	}
	now := dawn.AddDate(0, 0, 2001)
	for _, number := range []uint64{1, 2, 777, 1999, 2000} {
		s.told = 0
		if got, ok, err := Find(ctx, s, place, number, now); err != nil || !ok || got.Cycle != number || s.told > 60 {
			t.Errorf("cycle %d: %v %v %v, %d facts read", number, got.Cycle, ok, err, s.told)
		}
	}
}

func TestFind(t *testing.T) {
	s := &shelf{facts: []coordinator.Fact{fact(0, 1, "w1"), fact(100, 2, "w1"), fact(200, 4, "w1")}}
	now := dawn.AddDate(0, 0, 210)
	for number, want := range map[uint64]bool{1: true, 2: true, 3: false, 4: true, 5: false} {
		got, ok, err := Find(ctx, s, place, number, now)
		if err != nil || ok != want || ok && got.Cycle != number {
			t.Errorf("cycle %d: %v %v %v", number, got.Cycle, ok, err)
		}
	}
}

// TestHear, against what was put in.
func TestHear(t *testing.T) {
	s := &shelf{}
	at, register := dawn, 1000.0
	for i := range 2000 {
		at = at.Add(10 * time.Second)
		switch i {
		case 700:
			at = at.Add(30 * time.Minute) // silent
		case 1500:
			register = 0 // reset
		}
		register++
		s.readings = append(s.readings, cycle.Reading{At: at, Watts: 5, Wh: register})
	}
	to := at.Add(20 * time.Minute)
	got, err := Hear(ctx, s, place, to, 10*time.Minute, dawn, at.Add(-time.Hour))
	if err != nil {
		t.Fatal(err)
	}
	all, hour := got[0], got[1]
	if all.Readings != 2000 || all.Gaps != 2 || all.Resets != 1 || !all.HasRegister || all.Longest != 30*time.Minute+10*time.Second {
		t.Errorf("all: %+v", all)
	}
	if all.Unheard != 50*time.Minute+10*time.Second {
		t.Errorf("not heard for %v", all.Unheard)
	}
	if d := all.Usual.Seconds(); math.Abs(d-10) > 1 || all.Long < 9*time.Second || all.Long > 11*time.Second {
		t.Errorf("every %v, at most %v", all.Usual, all.Long)
	}
	if hour.Readings != 361 || hour.Gaps != 1 || hour.Resets != 0 {
		t.Errorf("the last hour: %+v", hour)
	}
	if s.given != 2000 {
		t.Errorf("%d readings were read for two looks at 2000", s.given)
	}
	none, err := Hear(ctx, &shelf{}, place, to, 10*time.Minute, dawn)
	if err != nil || none[0].Gaps != 1 || none[0].Unheard != to.Sub(dawn) || none[0].Usual != 0 || none[0].HasRegister {
		t.Errorf("of nothing: %+v %v", none, err)
	}
}

// TestBetween: those that ran within, also when they were told of later.
func TestBetween(t *testing.T) {
	s := &shelf{facts: []coordinator.Fact{fact(0, 1, "w1"), fact(1, 2, "w1"), fact(1, 7, "w2"), fact(2, 3, "w1")}}
	again := fact(1, 2, "w1")
	again.At, again.Note = again.At.Add(time.Hour), "presumed"
	s.facts = append(s.facts[:3], again, s.facts[3])
	end := dawn.AddDate(0, 0, 1)
	got, err := Between(ctx, s, place, end.Add(-30*time.Minute), end.Add(-20*time.Minute))
	if err != nil || len(got) != 1 || got[0].Cycle != 2 || got[0].Note != "presumed" {
		t.Errorf("%+v %v", got, err)
	}
	if got, _ := Between(ctx, s, place, end, end.Add(time.Hour)); len(got) != 0 {
		t.Errorf("after its end: %+v", got)
	}
}
