package usage

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

func TestLastDue(t *testing.T) {
	for _, c := range []struct{ schedule, now, want string }{
		{"", "2026-11-25 04:14", "2026-11-23"},
		{"", "2026-11-25 04:15", "2026-11-24"},
		{"", "2026-11-25 23:59", "2026-11-24"},
		{"", "2026-11-26 00:00", "2026-11-24"},
		{"@daily", "2026-11-26 00:00", "2026-11-25"},
		{"", "2026-03-30 04:15", "2026-03-29"},
		{"", "2026-10-26 04:14", "2026-10-24"},
		{"30 5 * * MON", "2026-11-25 12:00", "2026-11-22"}, // Monday the 23rd worked off up to Sunday
	} {
		k := keeper(t, newFake(), Options{Schedule: c.schedule})
		if got, ok := k.lastDue(local(c.now)); !ok || got.String() != c.want {
			t.Errorf("%q at %s: %v, %v, want %s", c.schedule, c.now, got, ok, c.want)
		}
	}
}

func TestCatchUp(t *testing.T) {
	s := newFake()
	dir := filepath.Join(t.TempDir(), "backups")
	k := keeper(t, s, Options{BackupDir: dir, KeepReadings: 400})
	s.add("cellar", fact(coordinator.FactCalled, "w1", "2026-11-20 12:00", 0, time.Minute))
	now := local("2026-11-25 04:15")
	must(t, k.CatchUp(ctx, now))

	for d := date("2026-11-20"); d.Before(date("2026-11-25")); d = d.Add(1) {
		s.done(t, "rollup/cellar", d.String())
		s.done(t, "wear/cellar", d.String())
	}
	s.done(t, "rollup/attic", "2026-11-24")
	s.done(t, "wear/attic", "2026-11-24")
	if n := len(s.marks); n != 2*(5+1)+2+2+3+1 { // sums and wear by day; sums packed, made anew, shortening, backup
		t.Errorf("%d marks: %v", n, s.marks)
	}
	if len(s.backups) != 1 || filepath.Base(s.backups[0]) != "drumturn-2026-11-25.db" {
		t.Errorf("backups %v", s.backups)
	}
	// Each unit's history is shortened until nothing is left to do: three calls.
	want := []retainCall{
		{"cellar", local("2026-10-26 00:00"), local("2025-10-21 00:00")},
		{"attic", local("2026-08-27 00:00"), local("2025-10-21 00:00")},
		{coordinator.Building, local("2026-10-26 00:00"), local("2025-10-21 00:00")},
	}
	if len(s.retains) != 9 {
		t.Fatalf("%d calls of Retain", len(s.retains))
	}
	for i, got := range s.retains {
		if w := want[i/3]; got.unit != w.unit || !got.byPerson.Equal(w.byPerson) || !got.readings.Equal(w.readings) {
			t.Errorf("call %d of Retain: %v, want %v", i, got, w)
		}
	}

	marks := len(s.marks)
	must(t, k.CatchUp(ctx, now.Add(time.Hour)))
	if len(s.marks) != marks || len(s.retains) != 9 || len(s.backups) != 1 {
		t.Error("an hour later it was done again")
	}
}

// TestFailuresDoNotSpread: what fails is told of, tried again, and keeps nothing
// else from being done; a panic is no different.
func TestFailuresDoNotSpread(t *testing.T) {
	s := newFake()
	k := keeper(t, s, Options{BackupDir: t.TempDir()})
	s.add("cellar", fact(coordinator.FactCalled, "w1", "2026-11-22 12:00", 0, time.Minute))
	s.fail = func(what string) error {
		switch {
		case strings.HasPrefix(what, "rollup cellar") && strings.HasSuffix(what, "2026-11-23"):
			return errors.New("no room")
		case what == "retain cellar":
			panic("a fault of ours")
		}
		return nil
	}
	now := local("2026-11-25 05:00")
	err := k.CatchUp(ctx, now)
	for _, want := range []string{"daily sums of room cellar: 2026-11-23: no room", "history of unit cellar: panic: a fault of ours"} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not said in: %v", want, err)
		}
	}
	s.done(t, "rollup/cellar", "2026-11-22")
	s.done(t, "rollup/attic", "2026-11-24")
	s.done(t, "retain/attic", "2026-11-24")
	s.done(t, "backup", "2026-11-24")
	if len(s.marks["rollup/cellar 2026-11-24"]) != 0 {
		t.Error("a day after the one that failed was done: the gap would stay")
	}

	s.fail = func(string) error { return nil }
	must(t, k.CatchUp(ctx, now.Add(time.Hour)))
	for _, job := range []string{"rollup/cellar 2026-11-23", "rollup/cellar 2026-11-24", "retain/cellar 2026-11-24", "backup 2026-11-24"} {
		name, day, _ := strings.Cut(job, " ")
		s.done(t, name, day)
	}
}

func TestBackupsAreKeptAndPruned(t *testing.T) {
	dir := t.TempDir()
	others := []string{"drumturn-by-hand.db", "drumturn-2026-11-01.db.gz", "notes.txt", "building.db"}
	for _, name := range others {
		must(t, os.WriteFile(filepath.Join(dir, name), nil, 0o600))
	}
	s := newFake()
	k := keeper(t, s, Options{BackupDir: dir, KeepBackups: 3})
	for d := date("2026-10-20"); d.Before(date("2026-11-02")); d = d.Add(1) {
		must(t, k.backup(ctx, d))
		must(t, k.backup(ctx, d)) // one of that name is there: it is whole
	}
	entries, err := os.ReadDir(dir)
	must(t, err)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	want := append([]string{"drumturn-2026-10-30.db", "drumturn-2026-10-31.db", "drumturn-2026-11-01.db"}, others...)
	slices.Sort(want)
	if !slices.Equal(names, want) {
		t.Errorf("left are %v", names)
	}
	if len(s.backups) != 13 {
		t.Errorf("%d backups were made", len(s.backups))
	}
}

func TestNewKeeperRefuses(t *testing.T) {
	if _, err := NewKeeper(newFake(), nil, Options{}); err == nil || !strings.Contains(err.Error(), "time zone") {
		t.Errorf("without a zone: %v", err)
	}
	var told *ScheduleError
	if _, err := NewKeeper(newFake(), nil, Options{Zone: berlin, Schedule: "TZ=0"}); !errors.As(err, &told) {
		t.Errorf("with a bad schedule: %v", err)
	}
}

func silent() *slog.Logger { return slog.New(slog.NewTextHandler(io.Discard, nil)) }

// logged is a log of the lines that a person would see.
func logged(out *strings.Builder) *slog.Logger {
	return slog.New(slog.NewTextHandler(out, &slog.HandlerOptions{Level: slog.LevelInfo}))
}

func mustSay(t *testing.T, log *strings.Builder, times int, what string) {
	t.Helper()
	if got := strings.Count(log.String(), what); got != times {
		t.Errorf("the log says %q %d times instead of %d:\n%s", what, got, times, fmt.Sprintf("%.2000s", log.String()))
	}
}

// TestClockSetBack: a clock that was a month ahead did the nights of days to come.
// Once it is right these days have no sums, the month is what its days are, and
// each of them is done when it comes, its history shortened too.
func TestClockSetBack(t *testing.T) {
	s := newFake()
	room := Room{ID: "cellar", KeepDays: 30, Hours: queue.AlwaysOpen(), Machines: []coordinator.MachineID{"w1"}, PerHome: true}
	k, err := NewKeeper(s, func() []Room { return []Room{room} }, Options{Zone: berlin, Log: silent()})
	must(t, err)
	s.add("cellar", ran("w1", 1, "2026-11-23 10:00", "2026-11-23 11:00", 400, "finished"))
	must(t, k.CatchUp(ctx, local("2026-11-24 05:00")))
	before := maps.Clone(s.sums)
	must(t, k.CatchUp(ctx, local("2026-12-24 05:00"))) // the clock is wrong
	if len(s.sums) <= len(before) {
		t.Fatal("nothing was done for the days to come")
	}
	must(t, k.CatchUp(ctx, local("2026-11-24 06:00"))) // it is right again
	if !maps.EqualFunc(s.sums, before, slices.Equal[[]byte]) {
		t.Errorf("left are %q, want %q", slices.Sorted(maps.Keys(s.sums)), slices.Sorted(maps.Keys(before)))
	}
	for d := date("2026-11-24"); d.Before(date("2026-12-31")); d = d.Add(1) {
		start := d.Begin(berlin).Add(10 * time.Hour)
		s.add("cellar", coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(100*int(d.Month) + d.Day), Start: start, End: start.Add(time.Hour), EnergyWh: 500})
		must(t, k.CatchUp(ctx, d.Add(1).Begin(berlin).Add(5*time.Hour)))
		for _, job := range []string{"rollup/cellar", "wear/cellar", "refresh/cellar", "retain/cellar"} {
			s.done(t, job, d.String())
		}
	}
	h := &House{Zone: berlin, Rooms: []HouseRoom{{ID: "cellar"}}}
	r := report(t, s, h, Scope{}, "2026-11-01", "2026-12-31", ByMonth)
	if r.Periods[0].Cycles != 1+7 || r.Periods[0].Days != 8 || r.Periods[1].Cycles != 30 || r.Periods[1].Days != 30 {
		t.Errorf("November %+v, December %+v", r.Periods[0].Figures, r.Periods[1].Figures)
	}
}

// TestForgettingFails: that is told, and the night's other work is done.
func TestForgettingFails(t *testing.T) {
	s := newFake()
	s.fail = func(what string) error {
		if what == "forget wear/cellar" {
			return errors.New("no room")
		}
		return nil
	}
	k := keeper(t, s, Options{})
	if err := k.CatchUp(ctx, local("2026-11-25 05:00")); err == nil || !strings.Contains(err.Error(), "marks of days to come: no room") {
		t.Errorf("told of %v", err)
	}
	s.done(t, "rollup/cellar", "2026-11-24")
}

// TestWeeksAway: a program that was off for six weeks makes up for each night, in
// order; what happened in them stands on its day.
func TestWeeksAway(t *testing.T) {
	s := newFake()
	s.add("cellar", fact(coordinator.FactCalled, "w1", "2026-10-01 12:00", 0, time.Minute))
	k := keeper(t, s, Options{})
	must(t, k.CatchUp(ctx, local("2026-10-02 05:00")))
	const weeks = 6
	for w := range weeks {
		start := local("2026-10-08 10:00").AddDate(0, 0, 7*w)
		s.add("cellar", coordinator.Fact{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(w + 1), Start: start, End: start.Add(time.Hour), EnergyWh: 500})
	}
	must(t, k.CatchUp(ctx, local("2026-11-13 12:00")))
	all := between(t, s, "cellar", "2026-10-01", "2026-11-12")
	cycles := 0
	for _, sum := range all {
		if sum.Machine != "" {
			continue
		}
		cycles += sum.Cycles
		if thursday := sum.Date.Weekday() == time.Thursday && date("2026-10-01").Before(sum.Date); thursday != (sum.Cycles == 1) {
			t.Errorf("%s has %d cycles", sum.Date, sum.Cycles)
		}
	}
	if cycles != weeks {
		t.Errorf("%d cycles of %d", cycles, weeks)
	}
	for d := date("2026-10-01"); d.Before(date("2026-11-13")); d = d.Add(1) {
		s.done(t, "rollup/cellar", d.String())
	}
	// History by person is shortened once, for the last night, not for each of them.
	s.done(t, "retain/cellar", "2026-11-12")
	if len(s.marks["retain/cellar 2026-11-01"]) != 0 {
		t.Error("history was shortened for a night in between")
	}
}
