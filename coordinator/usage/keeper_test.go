package usage

import (
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
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
