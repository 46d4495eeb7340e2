package usage

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

var errGone = errors.New("the disk is gone")

// failing is a store whose reads and writes fail after some that went well.
type failing struct {
	*fakeStore
	left int // how many go well
}

func (f *failing) next() error {
	if f.left <= 0 {
		return errGone
	}
	f.left--
	return nil
}

func (f *failing) Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	if err := f.next(); err != nil {
		return err
	}
	return f.fakeStore.Facts(ctx, unit, from, to, fn)
}

func (f *failing) Readings(ctx context.Context, unit coordinator.Unit, m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	if err := f.next(); err != nil {
		return err
	}
	return f.fakeStore.Readings(ctx, unit, m, from, to, fn)
}

func (f *failing) Rollups(ctx context.Context, from, to string, fn func(string, []byte) bool) error {
	if err := f.next(); err != nil {
		return err
	}
	return f.fakeStore.Rollups(ctx, from, to, fn)
}

func (f *failing) PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error {
	if err := f.next(); err != nil {
		return err
	}
	return f.fakeStore.PutRollups(ctx, mark, sums...)
}

func (f *failing) JobDone(ctx context.Context, job, date string) (bool, error) {
	if err := f.next(); err != nil {
		return false, err
	}
	return f.fakeStore.JobDone(ctx, job, date)
}

func (f *failing) MarkJob(ctx context.Context, job, date string, at time.Time) error {
	if err := f.next(); err != nil {
		return err
	}
	return f.fakeStore.MarkJob(ctx, job, date, at)
}

func (f *failing) ForgetJobs(ctx context.Context, job, from string) (bool, error) {
	if err := f.next(); err != nil {
		return false, err
	}
	return f.fakeStore.ForgetJobs(ctx, job, from)
}

// TestStoreFailsAnywhere: wherever in the work of a few nights the store fails, the
// failure is told, and the next run makes what an undisturbed one does: the same
// sums, each day and month marked.
func TestStoreFailsAnywhere(t *testing.T) {
	h, room := threeWashers()
	facts := func(s *fakeStore) {
		s.add("cellar",
			coordinator.Fact{At: local("2026-10-30 09:00"), Kind: coordinator.FactStarted, Machine: "w1", Cycle: 1, Load: 1, Home: "12", Start: local("2026-10-30 09:00")},
			ran("w1", 1, "2026-10-30 09:00", "2026-10-30 10:00", 400, "finished"),
			ran("w2", 1, "2026-10-31 23:30", "2026-11-01 00:30", 700, "finished"),
			fact(coordinator.FactCollected, "w1", "2026-11-01 10:00", 1, 47*time.Hour))
	}
	run := func(s Store) error {
		k, err := NewKeeper(s, func() []Room { return []Room{*room} }, Options{Zone: berlin, Log: silent(), Monthly: MonthlyOptions{House: func() *House { return h }}})
		must(t, err)
		return k.CatchUp(ctx, local("2026-11-02 06:00"))
	}
	whole := newFake()
	facts(whole)
	must(t, run(whole))
	if len(whole.sums) < 20 || len(whole.marks["report 2026-10"]) != 1 {
		t.Fatalf("an undisturbed run made %d sums", len(whole.sums))
	}
	told := 0
	for n := 0; ; n++ {
		s := &failing{newFake(), n}
		facts(s.fakeStore)
		err := run(s)
		if err == nil {
			if told < 50 {
				t.Errorf("only %d failures were told of", told)
			}
			return
		}
		if told++; !errors.Is(err, errGone) {
			t.Fatalf("after %d calls: %v", n, err)
		}
		s.left = 1 << 30
		if err := run(s); err != nil {
			t.Fatalf("the run after a failure at call %d: %v", n, err)
		}
		if !maps.EqualFunc(s.sums, whole.sums, slices.Equal[[]byte]) {
			t.Fatalf("after a failure at call %d there are\n     %q\nwant %q", n, slices.Sorted(maps.Keys(s.sums)), slices.Sorted(maps.Keys(whole.sums)))
		}
		for mark := range whole.marks {
			if len(s.marks[mark]) == 0 {
				t.Fatalf("after a failure at call %d %q is not marked", n, mark)
			}
		}
	}
}

// TestReportOfAFailingStore: no report is better than one of a part.
func TestReportOfAFailingStore(t *testing.T) {
	s := newFake()
	h, room := threeWashers()
	for d := date("2026-09-28"); d.Before(date("2026-11-03")); d = d.Add(1) {
		must(t, rollUp(ctx, s, room, d, berlin, coordinator.JobMark{At: d.Add(1).End(berlin)}))
	}
	for _, by := range []Period{ByDay, ByWeek, ByMonth, ByAll} {
		for n := 0; ; n++ {
			r, err := MakeReport(ctx, &failing{s, n}, h, Query{From: date("2026-09-28"), To: date("2026-11-02"), By: by})
			if err == nil {
				if n < 5 || r.Whole.Days != 36 {
					t.Errorf("by %s: %d days after %d reads", by, r.Whole.Days, n)
				}
				break
			}
			if !errors.Is(err, errGone) || r != nil {
				t.Fatalf("by %s, after %d reads: %v, %v", by, n, r, err)
			}
		}
	}
}

// TestReportOfDamage: a damaged row in the report's range is told with its key; one
// outside of it does no harm.
func TestReportOfDamage(t *testing.T) {
	s := newFake()
	h, room := threeWashers()
	for d := date("2026-09-28"); d.Before(date("2026-11-03")); d = d.Add(1) {
		must(t, rollUp(ctx, s, room, d, berlin, coordinator.JobMark{At: d.Add(1).End(berlin)}))
	}
	for _, key := range []string{"cellar//2026-09-29", "cellar/w1/2026-09-29", "~month/cellar//2026-10", "~month/cellar/w1/2026-10", "~home/cellar/2026-11-01", "~home-month/cellar/2026-10"} {
		good := s.sums[key]
		if good == nil {
			t.Fatalf("there is no %s: %q", key, slices.Sorted(maps.Keys(s.sums)))
		}
		s.sums[key] = good[:2] // its numbers are missing
		_, err := MakeReport(ctx, s, h, Query{From: date("2026-09-28"), To: date("2026-11-02"), By: ByMonth})
		if err == nil || !strings.Contains(err.Error(), key) {
			t.Errorf("%s is damaged: %v", key, err)
		}
		if _, err := MakeReport(ctx, s, h, Query{From: date("2026-10-05"), To: date("2026-10-11"), By: ByDay}); err != nil {
			t.Errorf("%s is damaged, and another week is not reported: %v", key, err)
		}
		s.sums[key] = good
	}
}

// TestCancelled: work that is no longer wanted ends, and is done at the next run.
func TestCancelled(t *testing.T) {
	s := newFake()
	_, room := threeWashers()
	s.add("cellar", ran("w1", 1, "2026-10-30 09:00", "2026-10-30 10:00", 400, "finished"))
	k, err := NewKeeper(s, func() []Room { return []Room{*room} }, Options{Zone: berlin, Log: silent()})
	must(t, err)
	stopped, cancel := context.WithCancel(ctx)
	cancel()
	if err := k.CatchUp(stopped, local("2026-11-02 06:00")); !errors.Is(err, context.Canceled) {
		t.Errorf("told of %v", err)
	}
	if n := len(s.marks["rollup/cellar 2026-10-30"]); n != 0 {
		t.Error("a day is marked although its facts could not be read")
	}
	must(t, k.CatchUp(ctx, local("2026-11-02 06:00")))
	s.done(t, "rollup/cellar", "2026-10-30")
}

// TestRefreshInParts: sums of an earlier edition are made anew, so many a night,
// until none is left; those of this edition are left as they are.
func TestRefreshInParts(t *testing.T) {
	s := newFake()
	room := cellar("w1")
	const days = refreshAtMost + 30
	first := date("2025-06-01")
	for i := range days {
		d := first.Add(i)
		start := d.Begin(berlin).Add(10 * time.Hour)
		s.add("cellar", coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(i + 1), Start: start, End: start.Add(time.Hour), EnergyWh: 500})
		for _, m := range []coordinator.MachineID{"", "w1"} {
			s.sums[rollupKey("cellar", m, d)] = fmt.Appendf(nil, `{"Room":"cellar","Machine":%q,"Date":%q,"Cycles":9}`, m, d)
		}
	}
	now := local("2026-11-01 05:00")
	outdated := func() (n int) {
		for _, sum := range between(t, s, "cellar", first.String(), "2026-12-31") {
			if sum.V < edition {
				n++
			} else if sum.Cycles != 1 {
				t.Fatalf("%s has %d cycles", sum.Date, sum.Cycles)
			}
		}
		return n
	}
	for run, want := range []int{2 * 30, 0} {
		more, err := refresh(ctx, s, room, berlin, now, 730)
		must(t, err)
		if got := outdated(); got != want || more != (run == 0) {
			t.Errorf("run %d: %d are left, more %v", run, got, more)
		}
	}
	before := maps.Clone(s.sums)
	more, err := refresh(ctx, s, room, berlin, now, 730)
	must(t, err)
	if more || !maps.EqualFunc(before, s.sums, slices.Equal[[]byte]) {
		t.Error("what was fresh was made anew")
	}
	h, _ := twoRooms()
	if r := report(t, s, h, Scope{Room: "cellar"}, first.String(), "2026-12-31", ByMonth); r.Whole.Cycles != days || r.Whole.Days != days {
		t.Errorf("%d cycles in %d days", r.Whole.Cycles, r.Whole.Days)
	}
}

// TestTariffSetBack: prices set for days that are over are taken into their sums in
// the night, and those of days whose readings are gone stay as they were.
func TestTariffSetBack(t *testing.T) {
	s := newFake()
	room := cellar("w1")
	room.Tariffs = tariffOf()
	for d := date("2026-10-01"); d.Before(date("2026-10-11")); d = d.Add(1) {
		start := d.Begin(berlin).Add(21*time.Hour + 30*time.Minute)
		s.add("cellar", coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(d.Day), Start: start, End: start.Add(time.Hour), EnergyWh: 1000})
		must(t, rollUp(ctx, s, room, d, berlin, coordinator.JobMark{At: d.Add(1).End(berlin)}))
	}
	second := tariffOf(window("night", 22*60, 6*60, 200_000))[0]
	second.Version, second.Tariff.From = 2, date("2026-10-04")
	room.Tariffs = append(room.Tariffs, second)
	const keep = 5 // days of readings
	more, err := refresh(ctx, s, room, berlin, local("2026-10-11 05:00"), keep)
	must(t, err)
	if more {
		t.Error("some are left")
	}
	for _, sum := range between(t, s, "cellar", "2026-10-01", "2026-10-10") {
		want := []Used{{Tariff: 1, Cycles: 1_000_000}}
		if !sum.Date.Before(date("2026-10-06")) {
			want = []Used{{Tariff: 2, Cycles: 500_000}, {Tariff: 2, Window: 1, Cycles: 500_000}}
		}
		if !slices.Equal(sum.Used, want) {
			t.Errorf("%s, %q: %+v, want %+v", sum.Date, sum.Machine, sum.Used, want)
		}
	}
	h := &House{Zone: berlin, Tariffs: room.Tariffs, Rooms: []HouseRoom{{ID: "cellar"}}}
	// By hand: five days at 0.30 and five at half 0.30 and half 0.20.
	if r := report(t, s, h, Scope{}, "2026-10-01", "2026-10-31", ByMonth); r.Currency.Text(r.Costs.Total) != "2.75" || len(r.Windows) != 3 {
		t.Errorf("%+v, %+v", r.Costs, r.Windows)
	}
}

// TestHomesAreForgottenInTime: sums by home of single days go once their month can
// no longer change; the months stay, and say the same.
func TestHomesAreForgottenInTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newFake()
		_, room := threeWashers()
		room.KeepDays = rapid.IntRange(1, 200).Draw(t, "keep")
		first := date("2025-11-15")
		const days = 300
		for i := range days {
			d := first.Add(i)
			rows, err := homeRows(ctx, s, "cellar", d, map[coordinator.HomeID]*HomeSum{"12": {Cycles: 1}})
			must(t, err)
			must(t, s.PutRollups(ctx, coordinator.JobMark{}, rows...))
		}
		now := first.Add(rapid.IntRange(0, 2*days).Draw(t, "now")).Begin(berlin).Add(5 * time.Hour)
		months := map[string][]byte{}
		for key, value := range s.sums {
			if strings.HasPrefix(key, homeMonths) {
				months[key] = value
			}
		}
		must(t, forgetHomes(ctx, s, room, now, berlin))
		revised := DateOf(now, berlin).Add(-max(room.KeepDays, reviseDays) - 1)
		for i := range days {
			d := first.Add(i)
			_, there := s.sums[homeDayKey("cellar", d)]
			if MonthOf(d).Before(MonthOf(revised)) == there {
				t.Fatalf("on %v, %d days kept: the day %v is there: %v", DateOf(now, berlin), room.KeepDays, d, there)
			}
		}
		for key, value := range months {
			if !slices.Equal(s.sums[key], value) {
				t.Fatalf("%s has changed", key)
			}
		}
	})
}

// TestCatchUpInAnyOrder: whenever the program happens to run, and however often,
// each day has one sum, which says what happened on it.
func TestCatchUpInAnyOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		s := newFake()
		room := Room{ID: "cellar", Hours: queue.AlwaysOpen(), Machines: []coordinator.MachineID{"w1"}}
		k, err := NewKeeper(s, func() []Room { return []Room{room} }, Options{Zone: berlin, Log: silent()})
		must(t, err)
		first := rapid.SampledFrom([]Date{date("2026-03-20"), date("2026-10-15")}).Draw(t, "first")
		const days = 20
		want := map[Date]int{}
		number := uint64(0)
		for i := range days {
			for h := range 24 {
				now := first.Add(i).Begin(berlin).Add(time.Duration(h) * time.Hour)
				if rng.IntN(6) == 0 || number == 0 {
					number++
					want[DateOf(now, berlin)]++
					s.add("cellar", coordinator.Fact{At: now, Kind: coordinator.FactCycle, Machine: "w1", Cycle: number, Start: now.Add(-30 * time.Minute), End: now, EnergyWh: 1})
				}
				if rng.IntN(40) == 0 {
					must(t, k.CatchUp(ctx, now.Add(time.Minute)))
				}
			}
		}
		must(t, k.CatchUp(ctx, first.Add(days).Begin(berlin).Add(5*time.Hour)))
		all, err := Between(ctx, s, "cellar", first, first.Add(days-1))
		must(t, err)
		got := 0
		for _, sum := range all {
			if sum.Machine == "" {
				got++
				if sum.Cycles != want[sum.Date] {
					t.Fatalf("%s has %d cycles, want %d", sum.Date, sum.Cycles, want[sum.Date])
				}
			}
		}
		if got != days {
			t.Fatalf("%d days have sums", got)
		}
	})
}
