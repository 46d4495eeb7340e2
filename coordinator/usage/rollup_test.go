package usage

import (
	"context"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

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
	must(t, sumUpAgain(ctx, s, cellar("w1", "w3"), &factReader{s: s, room: "cellar"}, date("2026-11-24"), berlin, local("2026-11-26 04:15")))
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

// TestLongAfter: a load that nobody collected for nine days blocked its machine on
// each of them, and a cycle that was told of days later counts on its day; the
// month is what its days are, and making the days anew later changes nothing.
func TestLongAfter(t *testing.T) {
	s := newFake()
	s.add("cellar", ran("w1", 1, "2026-11-10 08:57", "2026-11-10 09:57", 400, "finished"))
	night := func(d Date) {
		must(t, rollUp(ctx, s, cellar("w1", "w2"), d, berlin, coordinator.JobMark{Job: "rollup/cellar", Date: d.String(), At: d.Add(1).Begin(berlin).Add(4 * time.Hour)}))
	}
	for d := date("2026-11-10"); d.Before(date("2026-11-19")); d = d.Add(1) {
		night(d)
	}
	collected := fact(coordinator.FactCollected, "w1", "2026-11-19 10:00", 1, 9*24*time.Hour)
	late := ran("w2", 1, "2026-11-12 23:30", "2026-11-13 00:30", 700, "presumed")
	late.At = local("2026-11-19 11:00")
	s.add("cellar", collected, late)
	night(date("2026-11-19"))
	check := func(when string) {
		t.Helper()
		for _, sum := range between(t, s, "cellar", "2026-11-10", "2026-11-19") {
			want, cycles := 24*time.Hour, 0
			switch {
			case sum.Machine == "w2":
				if sum.Date == date("2026-11-13") {
					cycles = 1
				}
				if sum.Cycles != cycles {
					t.Errorf("%s, w2 on %s: %d cycles", when, sum.Date, sum.Cycles)
				}
				continue
			case sum.Machine == "":
				continue
			case sum.Date == date("2026-11-10"):
				want = 14 * time.Hour
			case sum.Date == date("2026-11-19"):
				want = 10 * time.Hour
			}
			if sum.Blocked != want {
				t.Errorf("%s, w1 on %s: blocked %v, want %v", when, sum.Date, sum.Blocked, want)
			}
		}
		h, _ := twoRooms()
		r := report(t, s, h, Scope{Room: "cellar", Machine: "w1"}, "2026-11-01", "2026-11-30", ByMonth)
		if r.Whole.Blocked != 9*24*time.Hour || r.Whole.Cycles != 1 {
			t.Errorf("%s, November: %v blocked, %d cycles", when, r.Whole.Blocked, r.Whole.Cycles)
		}
	}
	check("once known")
	h := factReader{s: s, room: "cellar"}
	for d := date("2026-11-10"); d.Before(date("2026-11-20")); d = d.Add(1) {
		must(t, sumUpAgain(ctx, s, cellar("w1", "w2"), &h, d, berlin, local("2026-12-20 04:15")))
	}
	check("made anew")
}

// asked is a history that notes which stretches are read.
type asked struct {
	*fakeStore
	from, to []time.Time
}

func (a *asked) Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	a.from, a.to = append(a.from, from), append(a.to, to)
	return a.fakeStore.Facts(ctx, unit, from, to, fn)
}

// TestHistoryReadsOnce: whatever stretches are asked for, the facts are those of
// the stretch; and while stretches move on, no fact is read again.
func TestHistoryReadsOnce(t *testing.T) {
	begin := local("2026-11-01 00:00")
	hour := func(n int) time.Time { return begin.Add(time.Duration(n) * time.Hour) }
	rapid.Check(t, func(t *rapid.T) {
		s := &asked{fakeStore: newFake()}
		for i := range rapid.IntRange(0, 40).Draw(t, "facts") {
			s.add("cellar", coordinator.Fact{At: hour(rapid.IntRange(0, 50).Draw(t, "at")), Kind: coordinator.FactFault, Turn: coordinator.TurnID(i)})
		}
		h, forward := factReader{s: s, room: "cellar"}, rapid.Bool().Draw(t, "forward")
		last := [2]int{}
		for range rapid.IntRange(1, 8).Draw(t, "stretches") {
			from := rapid.IntRange(0, 50).Draw(t, "from")
			to := rapid.IntRange(from, 51).Draw(t, "to")
			if forward {
				from = max(from, last[0])
				to = max(to, from, last[1])
				last = [2]int{from, to}
			}
			got, err := h.between(ctx, hour(from), hour(to))
			must(t, err)
			want, err := factsBetween(ctx, s.fakeStore, "cellar", hour(from), hour(to))
			must(t, err)
			if !slices.Equal(got, want) {
				t.Fatalf("from %d to %d: %+v, want %+v", from, to, got, want)
			}
		}
		for i := range s.from {
			if forward && i > 0 && s.from[i].Before(s.to[i-1]) {
				t.Fatalf("read from %v although it was read up to %v", s.from[i], s.to[i-1])
			}
		}
	})
}

// TestDropFromTheFirst: sums that go from the first of a month on take the month
// with them, those of homes too, and leave the month before as it is.
func TestDropFromTheFirst(t *testing.T) {
	s := newFake()
	room := cellar("w1", "w2")
	room.PerHome = true
	var before map[string][]byte
	for d := date("2026-10-29"); d.Before(date("2026-11-04")); d = d.Add(1) {
		if d == date("2026-11-01") {
			before = maps.Clone(s.sums)
		}
		must(t, rollUp(ctx, s, room, d, berlin, coordinator.JobMark{Job: "rollup/cellar", Date: d.String(), At: d.Add(1).End(berlin)}))
	}
	other := *room
	other.ID = "cellar-2"
	must(t, rollUp(ctx, s, &other, date("2026-11-02"), berlin, coordinator.JobMark{Job: "rollup/cellar-2", Date: "2026-11-02", At: local("2026-11-03 04:15")}))
	for key, value := range s.sums {
		if strings.Contains(key, "cellar-2/") {
			before[key] = value
		}
	}
	must(t, dropFrom(ctx, s, room, date("2026-11-01"), berlin, local("2026-11-01 05:00")))
	if !maps.EqualFunc(before, s.sums, slices.Equal[[]byte]) {
		t.Errorf("left are %q, want %q", slices.Sorted(maps.Keys(s.sums)), slices.Sorted(maps.Keys(before)))
	}
}
