package usage

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

func between(t *testing.T, s Rollups, room coordinator.RoomID, from, to string) []Summary {
	t.Helper()
	all, err := Between(ctx, s, room, date(from), date(to))
	must(t, err)
	return all
}

func TestRollUp(t *testing.T) {
	s := newFake()
	s.add("cellar",
		ran("w1", 1, "2026-11-24 23:30", "2026-11-25 00:40", 900, "finished"),
		ran("w/2", 1, "2026-11-24 10:00", "2026-11-24 11:00", 400, "finished"),
		fact(coordinator.FactCalled, "w1", "2026-11-24 12:00", 0, 5*time.Minute))
	s.add("cellar2", ran("w1", 1, "2026-11-24 10:00", "2026-11-24 11:00", 400, "finished"))
	must(t, rollUp(ctx, s, cellar(), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")))

	keys := slices.Sorted(maps.Keys(s.sums))
	if want := []string{"cellar//2026-11-24", "cellar/w%2F2/2026-11-24", "cellar/w1/2026-11-24", "~month/cellar//2026-11", "~month/cellar/w%2F2/2026-11", "~month/cellar/w1/2026-11"}; !slices.Equal(keys, want) {
		t.Fatalf("stored %q", keys)
	}
	all := between(t, s, "cellar", "2026-11-01", "2026-11-30")
	if len(all) != 3 || all[0].Running != 90*time.Minute || all[0].Cycles != 1 || !about(all[0].Waits.Median(), 5*time.Minute) {
		t.Errorf("read back %+v", all)
	}
	if all := between(t, s, "cellar", "2026-11-25", "2026-11-30"); len(all) != 0 {
		t.Errorf("out of range: %+v", all)
	}
	before := maps.Clone(s.sums)
	must(t, rollUp(ctx, s, cellar(), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")))
	if !maps.EqualFunc(before, s.sums, slices.Equal[[]byte]) {
		t.Error("a second run gave other sums")
	}
}

// TestLateFactsRevise: a cycle that ended while the program was down over
// midnight, and a load that stayed for days, come into the days they belong to.
func TestLateFactsRevise(t *testing.T) {
	s := newFake()
	must(t, rollUp(ctx, s, cellar(), date("2026-11-21"), berlin, markAt("2026-11-22 04:15")))
	late := ran("w1", 1, "2026-11-21 20:00", "2026-11-21 21:00", 400, "presumed")
	late.At = local("2026-11-22 10:00")
	s.add("cellar", late, fact(coordinator.FactCollected, "w2", "2026-11-22 12:00", 2, 36*time.Hour))
	must(t, rollUp(ctx, s, cellar(), date("2026-11-22"), berlin, markAt("2026-11-23 04:15")))

	got := map[string]Summary{}
	for _, sum := range between(t, s, "cellar", "2026-11-20", "2026-11-22") {
		got[string(sum.Machine)+" "+sum.Date.String()] = sum
	}
	if sum := got["w1 2026-11-21"]; sum.Cycles != 1 || sum.Presumed != 1 || sum.Running != time.Hour {
		t.Errorf("the late cycle: %s", text(sum.Figures))
	}
	if sum := got["w1 2026-11-22"]; sum.Cycles != 0 {
		t.Errorf("the late cycle is counted on the day it was told of: %s", text(sum.Figures))
	}
	for day, want := range map[string]time.Duration{"w2 2026-11-20": 0, "w2 2026-11-21": 24 * time.Hour, "w2 2026-11-22": 12 * time.Hour} {
		if got[day].Blocked != want {
			t.Errorf("%s blocked %v, want %v", day, got[day].Blocked, want)
		}
	}
}

func TestBearsOnIsBounded(t *testing.T) {
	d := date("2026-11-25")
	old := []coordinator.Fact{fact(coordinator.FactCollected, "w1", "2026-11-25 12:00", 1, 5000*time.Hour)}
	if days := bearsOn(old, d, berlin); len(days) != reviseDays+1 || days[0] != d.Add(-reviseDays) || days[reviseDays] != d {
		t.Errorf("%d days from %v", len(days), days[0])
	}
	if days := bearsOn(nil, d, berlin); !slices.Equal(days, []Date{d}) {
		t.Errorf("no facts bear on %v", days)
	}
}

func TestToday(t *testing.T) {
	s := newFake()
	s.add("cellar", ran("w1", 1, "2026-11-25 07:00", "2026-11-25 08:00", 400, "finished"))
	all, err := Today(ctx, s, cellar(), berlin, local("2026-11-25 09:03"))
	must(t, err)
	if len(all) != 2 || all[0].Cycles != 1 || all[0].Blocked != time.Hour || all[0].Date != date("2026-11-25") {
		t.Errorf("%+v", all)
	}
}

func TestDamagedSums(t *testing.T) {
	s := newFake()
	s.sums["cellar//2026-11-24"] = []byte("{")
	if _, err := Between(ctx, s, "cellar", date("2026-11-24"), date("2026-11-24")); err == nil || !strings.Contains(err.Error(), "cellar//2026-11-24") {
		t.Errorf("answered %v", err)
	}
	s.fail = func(string) error { return errors.New("no room") }
	if err := rollUp(ctx, s, cellar(), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")); err == nil {
		t.Error("a sum that could not be written was passed over")
	}
}

// TestMachinesAsTheyWere: a day summed up again has the machines that it had. One
// that has gone since keeps its part, one that came has none, and the parts are
// the room.
func TestMachinesAsTheyWere(t *testing.T) {
	s := newFake()
	s.add("cellar", ran("w1", 1, "2026-11-24 10:00", "2026-11-24 11:00", 400, "finished"))
	must(t, rollUp(ctx, s, cellar("w1", "w2"), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")))
	before := maps.Clone(s.sums)
	must(t, sumUp(ctx, s, cellar("w1", "w3"), date("2026-11-24"), berlin, markAt("2026-11-26 04:15")))
	if !maps.EqualFunc(before, s.sums, slices.Equal[[]byte]) {
		t.Error("other machines of today changed the sums of a day before")
	}
	all := between(t, s, "cellar", "2026-11-24", "2026-11-24")
	if len(all) != 3 || all[0].Open != 48*time.Hour || all[0].Open != all[1].Open+all[2].Open {
		t.Errorf("the room and its machines: %+v", all)
	}
	must(t, rollUp(ctx, s, cellar("w1", "w3"), date("2026-11-25"), berlin, markAt("2026-11-26 04:15")))
	if all := between(t, s, "cellar", "2026-11-25", "2026-11-25"); len(all) != 3 || all[2].Machine != "w3" || all[2].Open != 24*time.Hour {
		t.Errorf("the day after has %+v", all)
	}
}

// transactions is a store that notes which sums come at once.
type transactions struct {
	*fakeStore
	keys [][]string
}

func (s *transactions) PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error {
	var keys []string
	for _, sum := range sums {
		keys = append(keys, sum.Key)
	}
	s.keys = append(s.keys, keys)
	return s.fakeStore.PutRollups(ctx, mark, sums...)
}

// TestDayAndMonthAtOnce: a day's sums, those of its month, of homes and the mark
// are one transaction, so that a reader in between finds no month that is not the
// sum of its days; a correction that bears on an earlier day and month is one for each day.
func TestDayAndMonthAtOnce(t *testing.T) {
	s := &transactions{fakeStore: newFake()}
	room := cellar("w1")
	room.PerHome = true
	s.add("cellar", ran("w1", 1, "2026-11-30 22:00", "2026-11-30 23:00", 400, "finished"))
	must(t, rollUp(ctx, s, room, date("2026-11-30"), berlin, markAt("2026-12-01 04:15")))
	if len(s.keys) != 1 || len(s.keys[0]) != 2*2+2 {
		t.Fatalf("stored as %q", s.keys)
	}
	s.keys = nil
	late := ran("w1", 1, "2026-11-30 22:00", "2026-12-01 00:30", 900, "finished")
	s.add("cellar", late)
	must(t, rollUp(ctx, s, room, date("2026-12-01"), berlin, markAt("2026-12-02 04:15")))
	if len(s.keys) != 2 || !slices.Contains(s.keys[0], "~month/cellar/w1/2026-11") || !slices.Contains(s.keys[1], "~month/cellar/w1/2026-12") {
		t.Errorf("the correction was stored as %q", s.keys)
	}
	h, _ := twoRooms()
	if r := report(t, s, h, Scope{Room: "cellar"}, "2026-11-01", "2026-12-31", ByMonth); r.Periods[0].Cycles != 0 || r.Periods[0].Running != 2*time.Hour || r.Periods[1].Cycles != 1 || r.Periods[1].Running != 30*time.Minute {
		t.Errorf("after the correction: %+v", r.Periods)
	}
}

// TestNothingHalfDone: when the store refuses, neither the day nor its month has
// changed, and the day is not marked.
func TestNothingHalfDone(t *testing.T) {
	s := newFake()
	must(t, rollUp(ctx, s, cellar("w1"), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")))
	before, marks := maps.Clone(s.sums), len(s.marks["rollup/cellar some"])
	s.add("cellar", ran("w1", 1, "2026-11-24 10:00", "2026-11-24 11:00", 400, "finished"))
	for key := range before {
		s.fail = func(what string) error {
			if what == "rollup "+key {
				return errors.New("no room")
			}
			return nil
		}
		if err := rollUp(ctx, s, cellar("w1"), date("2026-11-24"), berlin, markAt("2026-11-25 04:15")); err == nil || !strings.Contains(err.Error(), "no room") {
			t.Errorf("%s could not be written: %v", key, err)
		}
		if !maps.EqualFunc(before, s.sums, slices.Equal[[]byte]) || len(s.marks["rollup/cellar some"]) != marks {
			t.Errorf("%s could not be written, and the rest was", key)
		}
	}
}
