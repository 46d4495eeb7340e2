package usage

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/wear"
	"drumturn/queue"
)

// laundry is a room with a dryer and a washer, whose kinds are known.
func laundry() *Room {
	room := cellar("d1", "w1")
	room.Kinds = map[coordinator.MachineID]queue.Kind{"d1": queue.Dryer, "w1": queue.Washer}
	return room
}

// dries adds a dryer's cycle of so many minutes with its fact and readings.
func (s *fakeStore) dries(number uint64, start time.Time, minutes float64, note string) {
	s.driesTold(number, start, minutes, note, start.Add(time.Duration(minutes*float64(time.Minute))+2*time.Minute))
}

// driesTold is the same, with when its end is told.
func (s *fakeStore) driesTold(number uint64, start time.Time, minutes float64, note string, told time.Time) {
	end := start.Add(time.Duration(minutes * float64(time.Minute)))
	wh := 2000 * minutes / 60
	s.add("cellar", coordinator.Fact{
		At: told, Kind: coordinator.FactCycle, Machine: "d1", Cycle: number,
		Start: start, End: end, EnergyWh: wh, PeakW: 2100, Note: note,
	})
	for at := start; at.Before(end); at = at.Add(time.Minute) {
		s.read["d1"] = append(s.read["d1"], cycle.Power(at, 2000))
	}
	for at := end; at.Before(end.Add(2 * time.Hour)); at = at.Add(time.Minute) {
		s.read["d1"] = append(s.read["d1"], cycle.Power(at, 1.3))
	}
}

func measuredOf(t *testing.T, s *fakeStore, room *Room, m coordinator.MachineID) []wear.Cycle {
	t.Helper()
	var all []wear.Cycle
	must(t, eachRow(ctx, s, wearCycles+place(room.ID, m), func(_ string, value []byte) error {
		var c wear.Cycle
		err := c.UnmarshalJSON(value)
		all = append(all, c)
		return err
	}))
	return all
}

func TestMeasureDay(t *testing.T) {
	s, room := newFake(), laundry()
	s.dries(1, local("2026-11-24 08:00"), 60, "finished")
	s.dries(2, local("2026-11-24 12:00"), 40, "stopped_early")
	s.dries(3, local("2026-11-24 23:30"), 70, "finished") // ends the day after
	mark := coordinator.JobMark{Job: "wear/cellar", Date: "2026-11-24", At: local("2026-11-26 04:15")}
	for range 2 { // it may be repeated
		must(t, measureDay(ctx, s, room, date("2026-11-24"), berlin, mark))
	}
	all := measuredOf(t, s, room, "d1")
	if len(all) != 1 || all[0].Number != 1 {
		t.Fatalf("measured %+v", all)
	}
	for f, want := range map[wear.Figure]float64{wear.Length: 60, wear.Energy: 2, wear.Standby: 1.3} {
		if got := all[0].Value[f]; math.Abs(got-want) > 1e-6 {
			t.Errorf("%s is %v, want %v", f, got, want)
		}
	}
	if !math.IsNaN(all[0].Value[wear.Spin]) {
		t.Error("a dryer spins")
	}
}

// TestMeasureCorrected: a cycle that went on after all counts as it ended in the
// end, and one that was then stopped by hand does not count.
func TestMeasureCorrected(t *testing.T) {
	s, room := newFake(), laundry()
	s.dries(1, local("2026-11-24 08:00"), 30, "finished")
	s.dries(1, local("2026-11-24 08:00"), 60, "finished")
	s.dries(2, local("2026-11-24 14:00"), 30, "finished")
	s.dries(2, local("2026-11-24 14:00"), 50, "stopped_early")
	slices.SortStableFunc(s.read["d1"], func(a, b cycle.Reading) int { return a.At.Compare(b.At) })
	must(t, measureDay(ctx, s, room, date("2026-11-24"), berlin, coordinator.JobMark{At: local("2026-11-26 04:15")}))
	if all := measuredOf(t, s, room, "d1"); len(all) != 1 || all[0].Value[wear.Length] != 60 {
		t.Errorf("measured %+v", all)
	}
}

// TestMeasureToldLate: a cycle whose end is told days later is measured in the night
// after it was told, once, however often the nights are made up for; what is told
// anew then replaces what was measured, and a cycle that was none goes.
func TestMeasureToldLate(t *testing.T) {
	type tale struct {
		number  uint64
		minutes float64
		note    string
		told    string // when
	}
	for _, c := range []struct {
		name  string
		tales []tale
		// nights are when the keeper runs; want is the measured length after the last, 0: none.
		nights []string
		want   float64
	}{
		{"in the night of its day", []tale{{1, 60, "finished", "2026-11-24 09:02"}}, []string{"2026-11-25 04:15"}, 60},
		{"after the night of its day", []tale{{1, 60, "finished", "2026-11-25 05:00"}}, []string{"2026-11-25 04:15", "2026-11-26 04:15"}, 60},
		{"three days later", []tale{{1, 60, "finished", "2026-11-27 12:00"}}, []string{"2026-11-25 04:15", "2026-11-26 04:15", "2026-11-27 04:15", "2026-11-28 04:15"}, 60},
		{"forty days later", []tale{{1, 60, "finished", "2027-01-03 12:00"}}, []string{"2026-11-25 04:15", "2027-01-03 04:15", "2027-01-04 04:15"}, 60},
		{"not yet", []tale{{1, 60, "finished", "2026-11-27 12:00"}}, []string{"2026-11-25 04:15", "2026-11-27 04:15"}, 0},
		{"a correction three days later", []tale{{1, 30, "finished", "2026-11-24 08:32"}, {1, 60, "finished", "2026-11-27 12:00"}}, []string{"2026-11-25 04:15", "2026-11-28 04:15"}, 60},
		{"taken back three days later", []tale{{1, 60, "finished", "2026-11-24 09:02"}, {1, 50, "stopped_early", "2026-11-27 12:00"}}, []string{"2026-11-25 04:15", "2026-11-28 04:15"}, 0},
		{"all nights at once", []tale{{1, 30, "finished", "2026-11-24 08:32"}, {1, 60, "finished", "2026-11-27 12:00"}}, []string{"2026-11-28 04:15"}, 60},
	} {
		s, room := newFake(), laundry()
		k, err := NewKeeper(s, func() []Room { return []Room{*room} }, Options{Zone: berlin})
		must(t, err)
		s.add("cellar", coordinator.Fact{At: local("2026-11-24 07:00"), Kind: coordinator.FactJoined})
		tales := c.tales
		for _, night := range c.nights {
			for ; len(tales) > 0 && local(tales[0].told).Before(local(night)); tales = tales[1:] {
				s.read["d1"] = nil // the readings of a cycle that is told anew are the same ones
				s.driesTold(tales[0].number, local("2026-11-24 08:00"), tales[0].minutes, tales[0].note, local(tales[0].told))
			}
			for range 2 {
				must(t, k.CatchUp(ctx, local(night)))
			}
		}
		all := measuredOf(t, s, room, "d1")
		switch {
		case c.want == 0 && len(all) != 0:
			t.Errorf("%s: measured %+v", c.name, all)
		case c.want != 0 && (len(all) != 1 || math.Abs(all[0].Value[wear.Length]-c.want) > 1e-6):
			t.Errorf("%s: measured %+v, want %v minutes, once", c.name, all, c.want)
		}
	}
}

// TestMeasureToldLateKnowsWhatFollowed: the standby of a cycle that is told late is
// looked at until the machine was started again, although that was told before.
func TestMeasureToldLateKnowsWhatFollowed(t *testing.T) {
	s, room := newFake(), laundry()
	s.dries(1, local("2026-11-24 08:00"), 60, "finished")
	for i := range s.read["d1"] { // another programme heats from an hour after the end on
		if r := &s.read["d1"][i]; !r.At.Before(local("2026-11-24 10:00")) {
			r.Watts = 2000
		}
	}
	late := s.facts["cellar"][0]
	late.At = local("2026-11-27 12:00")
	s.facts["cellar"] = nil
	s.add("cellar",
		coordinator.Fact{At: local("2026-11-24 10:01"), Kind: coordinator.FactStarted, Machine: "d1", Start: local("2026-11-24 10:00")},
		late,
	)
	must(t, measureDay(ctx, s, room, date("2026-11-27"), berlin, coordinator.JobMark{At: local("2026-11-28 04:15")}))
	if all := measuredOf(t, s, room, "d1"); len(all) != 1 || math.Abs(all[0].Value[wear.Standby]-1.3) > 1e-6 {
		t.Errorf("measured %+v", all)
	}
}

// seasons is a dryer's life: from the day on it takes longer by the share.
func seasons(s *fakeStore, days, worn int, share float64) time.Time {
	first := local("2026-03-01 08:00")
	for i := range days * 4 {
		minutes := 60 + float64(i*7%11) - 5
		if i/4 >= worn {
			minutes *= 1 + share
		}
		s.dries(uint64(i+1), first.Add(time.Duration(i)*6*time.Hour), minutes, "finished")
	}
	return first.Add(time.Duration(days) * 24 * time.Hour)
}

// TestWearIsFoundAtNight: the keeper measures each day once, also those that it
// missed, and what it found can be read without reckoning it again.
func TestWearIsFoundAtNight(t *testing.T) {
	s, room := newFake(), laundry()
	now := seasons(s, 80, 70, 0.24)
	k, err := NewKeeper(s, func() []Room { return []Room{*room} }, Options{Zone: berlin})
	must(t, err)
	must(t, k.CatchUp(ctx, now))
	found, err := DriftsNow(ctx, s, "cellar")
	must(t, err)
	d := found["d1"]
	if len(found) != 1 || len(d) == 0 || d[0].Figure != wear.Length {
		t.Fatalf("found %+v", found)
	}
	if math.Abs(d[0].Change-0.24) > 0.05 || d[0].Since.Sub(local("2026-05-10 08:00")).Abs() > 48*time.Hour {
		t.Errorf("found %+v", d[0])
	}
	if !d[0].Last.After(d[0].Since) || d[0].Last.After(now) {
		t.Errorf("the newest cycle that was looked at is of %v", d[0].Last)
	}
	// The manager says that it was looked after: nothing is told.
	s.add("cellar", coordinator.Fact{At: now, Kind: coordinator.FactLookedAfter, Machine: "d1", Person: "boss", Note: "vent cleaned"})
	for i := range 16 { // but it did not help
		s.dries(uint64(1000+i), now.Add(time.Duration(24+4*i)*time.Hour), 74, "finished")
	}
	must(t, k.CatchUp(ctx, now.Add(30*time.Hour)))
	if found, err = DriftsNow(ctx, s, "cellar"); err != nil || len(found) != 0 {
		t.Errorf("after it was looked after: %+v, %v", found, err)
	}
	now = now.Add(5 * 24 * time.Hour)
	must(t, k.CatchUp(ctx, now))
	if found, err = DriftsNow(ctx, s, "cellar"); err != nil || len(found["d1"]) == 0 {
		t.Errorf("it did not help, and is told no more: %+v, %v", found, err)
	}
	// The manager says that it was mended: it is learned anew, and nothing is told.
	s.add("cellar", coordinator.Fact{At: now, Kind: coordinator.FactLevels, Machine: "d1", Note: "forgotten"})
	must(t, k.CatchUp(ctx, now.Add(30*time.Hour)))
	if found, err = DriftsNow(ctx, s, "cellar"); err != nil || len(found) != 0 {
		t.Errorf("after it was made as new: %+v, %v", found, err)
	}
	w, err := WearOf(ctx, s, room, "d1")
	if err != nil || !w.Since.Equal(now) {
		t.Errorf("as new since %v, %v", w.Since, err)
	}
}

// TestMeasureKilled between the days, or while storing one: all of it is done in
// the end, and once.
func TestMeasureKilled(t *testing.T) {
	whole := newFake()
	now := seasons(whole, 6, 6, 0)
	room := laundry()
	k, err := NewKeeper(whole, func() []Room { return []Room{*room} }, Options{Zone: berlin})
	must(t, err)
	must(t, k.CatchUp(ctx, now))

	torn := newFake()
	seasons(torn, 6, 6, 0)
	calls := 0
	torn.fail = func(what string) error {
		if strings.HasPrefix(what, "rollup "+wearCycles) {
			if calls++; calls%5 == 0 {
				return errors.New("killed")
			}
		}
		return nil
	}
	k, err = NewKeeper(torn, func() []Room { return []Room{*room} }, Options{Zone: berlin})
	must(t, err)
	tries := 0
	for ; tries < 20 && k.CatchUp(ctx, now) != nil; tries++ {
	}
	if tries == 0 || tries == 20 {
		t.Fatalf("%d tries", tries)
	}
	want, got := measuredOf(t, whole, room, "d1"), measuredOf(t, torn, room, "d1")
	if len(want) < 20 || len(got) != len(want) {
		t.Errorf("measured %d of %d cycles", len(got), len(want))
	}
}

func TestWearDamaged(t *testing.T) {
	s, room := newFake(), laundry()
	key := wearCycles + place("cellar", "d1") + "2026-11-24T08:00:00Z"
	must(t, s.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: key, Value: []byte("{")}))
	if _, err := WearOf(ctx, s, room, "d1"); err == nil || !strings.Contains(err.Error(), "2026-11-24T08:00:00Z") {
		t.Errorf("the error is %v", err)
	}
}
