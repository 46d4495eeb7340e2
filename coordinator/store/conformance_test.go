package store

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// Conform holds an implementation to what Store promises. open gives an empty
// store and a function that closes and opens it again.
func Conform(t *testing.T, open func(t *testing.T) (s Store, reopen func() Store)) {
	for _, c := range []struct {
		name string
		run  func(t *testing.T, s Store, reopen func() Store)
	}{
		{"a unit never seen is empty", conformEmpty},
		{"rows are put, replaced and deleted", conformRows},
		{"a wrong sequence changes nothing", conformSequence},
		{"the sets of a call are all or none", conformAtomic},
		{"readings alone move nothing", conformReadingsOnly},
		{"the tail begins after the checkpoint", conformTail},
		{"readings come in the order of time", conformReadings},
		{"facts come in the order of time", conformFacts},
		{"facts are read on from one of them", conformFactsAfter},
		{"units do not see each other", conformUnits},
		{"a notice is created once", conformOnce},
		{"what is settled is withdrawn", conformWithdraw},
		{"a newer notice is noted", conformNewer},
		{"rows are found by person", conformPerson},
		{"due rows are oldest first", conformDue},
		{"a withdrawn row stays withdrawn", conformRecord},
		{"jobs and daily sums are kept", conformDaily},
		{"marks of days to come are taken back", conformForgetJobs},
		{"history is shortened", conformRetain},
		{"callbacks may use the store", conformCallbacks},
		{"everything survives reopening", conformReopen},
		{"bad input is refused alone", conformBadInput},
		{"a context that is over is obeyed", conformContext},
		{"a backup never replaces a file", conformBackup},
		{"a closed store says so", conformClosed},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, reopen := open(t)
			c.run(t, s, reopen)
		})
	}
}

func TestMemoryConforms(t *testing.T) {
	Conform(t, func(*testing.T) (Store, func() Store) {
		m := newMemory()
		return m, func() Store { return m }
	})
}

func TestFileConforms(t *testing.T) {
	Conform(t, func(t *testing.T) (Store, func() Store) {
		f, reopen := openFile(t)
		return f, func() Store { return reopen() }
	})
}

func conformEmpty(t *testing.T, s Store, _ func() Store) {
	wantSame(t, "an unseen unit", get[coordinator.Stored](t)(s.Load(ctx, "cellar")), coordinator.Stored{})
	if next := get[time.Time](t)(s.NextDelivery(ctx)); !next.IsZero() {
		t.Errorf("the next delivery of an empty outbox is at %v", next)
	}
	wantSame(t, "deliveries", get[[]coordinator.Delivery](t)(s.Deliveries(ctx, 10)), []coordinator.Delivery{})
	must(t, s.Commit(ctx))
	must(t, s.RecordDeliveries(ctx))
}

func conformRows(t *testing.T, s Store, _ func() Store) {
	must(t, s.Commit(ctx, row("cellar", 0, "b", "1")))
	must(t, s.Commit(ctx, row("cellar", 1, "a", "2")))
	must(t, s.Commit(ctx, row("cellar", 2, "b", "3")))
	set := coordinator.ChangeSet{Unit: "cellar", Expect: 3, At: at(9), Rows: []coordinator.Row{
		{Table: "t", Key: "a"}, {Table: "s", Key: "z", Value: []byte{}}, {Table: "t", Key: "never there"},
	}}
	must(t, s.Commit(ctx, set))
	wantSame(t, "the unit", get[coordinator.Stored](t)(s.Load(ctx, "cellar")), coordinator.Stored{
		Seq: 4, At: at(9),
		Rows: []coordinator.Row{{Table: "s", Key: "z", Value: []byte{}}, {Table: "t", Key: "b", Value: []byte("3")}},
	})
}

func conformSequence(t *testing.T, s Store, _ func() Store) {
	must(t, s.Commit(ctx, row("cellar", 0, "a", "1")))
	for _, expect := range []uint64{0, 2} {
		if err := s.Commit(ctx, row("cellar", expect, "a", "wrong")); !errors.Is(err, coordinator.ErrSequence) {
			t.Errorf("expecting %d at 1 answered %v", expect, err)
		}
	}
	got := get[coordinator.Stored](t)(s.Load(ctx, "cellar"))
	if got.Seq != 1 || string(got.Rows[0].Value) != "1" {
		t.Errorf("a refused set changed the unit: %s", plain(got))
	}
}

func conformAtomic(t *testing.T, s Store, _ func() Store) {
	must(t, s.Commit(ctx, row("a", 0, "k", "1"), row("b", 0, "k", "1"), row("a", 1, "k", "2")))
	err := s.Commit(ctx, row("a", 2, "k", "3"), row("b", 7, "k", "wrong"))
	if !errors.Is(err, coordinator.ErrSequence) {
		t.Fatalf("a wrong second set answered %v", err)
	}
	if err := s.Commit(ctx, row("a", 2, "k", "3"), row("a", 2, "k", "4")); !errors.Is(err, coordinator.ErrSequence) {
		t.Fatalf("one sequence used twice answered %v", err)
	}
	a, b := get[coordinator.Stored](t)(s.Load(ctx, "a")), get[coordinator.Stored](t)(s.Load(ctx, "b"))
	if a.Seq != 2 || string(a.Rows[0].Value) != "2" || b.Seq != 1 {
		t.Errorf("half a call was stored: a %s, b %s", plain(a), plain(b))
	}
}

func conformReadingsOnly(t *testing.T, s Store, _ func() Store) {
	set := coordinator.ChangeSet{Unit: "cellar", Expect: 99, At: at(5), Readings: []coordinator.MachineReading{reading("w1", 5, 2)}}
	must(t, s.Commit(ctx, set))
	got := get[coordinator.Stored](t)(s.Load(ctx, "cellar"))
	wantSame(t, "the unit", got, coordinator.Stored{At: at(5), Tail: set.Readings})
	must(t, s.Commit(ctx, row("cellar", 0, "a", "1")))
	if got := get[coordinator.Stored](t)(s.Load(ctx, "cellar")); !got.At.Equal(at(5)) {
		t.Errorf("an older set moved the unit's time back to %v", got.At)
	}
}

func conformTail(t *testing.T, s Store, _ func() Store) {
	check := func(m coordinator.MachineID, when time.Time, data string) coordinator.MachineCheckpoint {
		return coordinator.MachineCheckpoint{Machine: m, Checkpoint: cycle.Checkpoint{Engine: "rule", Version: -3, At: when, Data: []byte(data)}}
	}
	almost := reading("w1", 0, 3)
	almost.At = at(3).Add(1) // one nanosecond after the checkpoint
	set := coordinator.ChangeSet{
		Unit: "cellar", At: at(4),
		Checkpoints: []coordinator.MachineCheckpoint{check("w1", at(3), "x"), check("w2", at(100), "")},
		Readings: []coordinator.MachineReading{
			reading("w2", 1, 10), reading("w1", 4, 4), reading("w1", 2, 2), reading("w1", 3, 3), almost, reading("d1", 1, 7),
		},
	}
	must(t, s.Commit(ctx, set))
	got := get[coordinator.Stored](t)(s.Load(ctx, "cellar"))
	wantSame(t, "checkpoints", got.Checkpoints, set.Checkpoints)
	wantSame(t, "tail", got.Tail, []coordinator.MachineReading{reading("d1", 1, 7), almost, reading("w1", 4, 4)})
}

func conformReadings(t *testing.T, s Store, _ func() Store) {
	register := coordinator.MachineReading{Machine: "w1", Reading: cycle.Reading{At: at(30), Watts: math.NaN(), Wh: 1234.5}}
	both := coordinator.MachineReading{Machine: "w1", Reading: cycle.Reading{At: at(20), Watts: 2013.7, Wh: 1230.25}}
	nothing := coordinator.MachineReading{Machine: "w1", Reading: cycle.Reading{At: at(25), Watts: math.NaN(), Wh: math.NaN()}}
	for _, r := range []coordinator.MachineReading{
		reading("w1", 10, 1.9), register, both, nothing, reading("w1", -90000, 0.1), reading("w1", 10, 2), reading("w10", 10, 5),
		reading("w1", 50000, math.Copysign(0, -1)), reading("w1", 15, 1e300), reading("w1", 16, math.Inf(1)), reading("w1", 17, 1.0/3),
	} {
		must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: r.At, Readings: []coordinator.MachineReading{r}}))
	}
	wantSame(t, "all", readings(t, s, "cellar", "w1", at(-1e6), at(1e6)), []coordinator.MachineReading{
		reading("w1", -90000, 0.1), reading("w1", 10, 1.9), reading("w1", 10, 2), reading("w1", 15, 1e300), reading("w1", 16, math.Inf(1)),
		reading("w1", 17, 1.0/3), both, nothing, register, reading("w1", 50000, math.Copysign(0, -1)),
	})
	wantSame(t, "a range", readings(t, s, "cellar", "w1", at(20), at(30)), []coordinator.MachineReading{both, nothing})
	wantSame(t, "an empty range", readings(t, s, "cellar", "w1", at(30), at(20)), []coordinator.MachineReading{})
	count := 0
	must(t, s.Readings(ctx, "cellar", "w1", at(-1e6), at(1e6), func(coordinator.MachineReading) bool { count++; return count < 3 }))
	if count != 3 {
		t.Errorf("told to stop after 3, it gave %d", count)
	}
}

func conformFacts(t *testing.T, s Store, _ func() Store) {
	one := coordinator.Fact{At: at(10), Kind: coordinator.FactCycle, Machine: "w1", Cycle: 7, Start: at(-3600), End: at(0), EnergyWh: 812.5, Note: "finished"}
	two := coordinator.Fact{At: at(10), Kind: coordinator.FactCollected, Person: "ada", Home: "12", Load: 3, Wait: 90 * time.Second}
	three := coordinator.Fact{At: at(11), Kind: coordinator.FactJoined, Turn: 4}
	old := coordinator.Fact{At: at(-5), Kind: coordinator.FactOut}
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(11), Facts: []coordinator.Fact{one, two, three}}))
	must(t, s.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: 1, At: at(12), Facts: []coordinator.Fact{old}}))
	wantSame(t, "all", facts(t, s, "cellar", time.Time{}, at(100)), []coordinator.Fact{old, one, two, three})
	wantSame(t, "a range", facts(t, s, "cellar", at(10), at(11)), []coordinator.Fact{one, two})
	count := 0
	must(t, s.Facts(ctx, "cellar", time.Time{}, at(100), func(coordinator.Fact) bool { count++; return false }))
	if count != 1 {
		t.Errorf("told to stop after 1, it gave %d", count)
	}
}

// conformUnits uses names of which one begins with another.
func conformUnits(t *testing.T, s Store, _ func() Store) {
	units := []coordinator.Unit{coordinator.Building, "a", "a1", "a/b", "ä"}
	for i, u := range units {
		set := row(u, 0, "key", string(u)+"!")
		set.Facts = []coordinator.Fact{{At: at(float64(i)), Kind: coordinator.FactJoined, Person: coordinator.PersonID(u)}}
		set.Readings = []coordinator.MachineReading{reading("1", float64(i), float64(i)), reading("11", float64(i), 7)}
		must(t, s.Commit(ctx, set))
	}
	for i, u := range units {
		got := get[coordinator.Stored](t)(s.Load(ctx, u))
		if got.Seq != 1 || len(got.Rows) != 1 || string(got.Rows[0].Value) != string(u)+"!" || len(got.Tail) != 2 {
			t.Errorf("unit %q is %s", u, plain(got))
		}
		if got := facts(t, s, u, time.Time{}, at(99)); len(got) != 1 || string(got[0].Person) != string(u) {
			t.Errorf("unit %q has the history %s", u, plain(got))
		}
		wantSame(t, "readings", readings(t, s, u, "1", at(-1), at(99)), []coordinator.MachineReading{reading("1", float64(i), float64(i))})
	}
}

func conformBadInput(t *testing.T, s Store, _ func() Store) {
	must(t, s.Commit(ctx, row("cellar", 0, "a", "1")))
	if s.Commit(ctx, row("cel\x00lar", 0, "a", "1")) == nil {
		t.Error("a unit with a zero byte was taken")
	}
	must(t, s.Commit(ctx, row("cellar", 1, "a", "2")))
}

func conformContext(t *testing.T, s Store, _ func() Store) {
	over, cancel := context.WithCancel(ctx)
	cancel()
	calls := map[string]error{
		"Commit": s.Commit(over, row("cellar", 0, "a", "1")),
		"Facts":  s.Facts(over, "cellar", at(0), at(1), func(coordinator.Fact) bool { return true }),
	}
	_, calls["Load"] = s.Load(over, "cellar")
	_, calls["Retain"] = s.Retain(over, "cellar", at(0), at(0))
	for name, err := range calls {
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%s answered %v", name, err)
		}
	}
	wantSame(t, "the unit", get[coordinator.Stored](t)(s.Load(ctx, "cellar")), coordinator.Stored{})
}

func conformBackup(t *testing.T, s Store, _ func() Store) {
	path := filepath.Join(t.TempDir(), "copy.db")
	must(t, s.Backup(ctx, path))
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the copy is %v, %v", info, err)
	}
	if s.Backup(ctx, path) == nil {
		t.Error("a second backup replaced the first")
	}
}

func conformClosed(t *testing.T, s Store, _ func() Store) {
	must(t, s.Close())
	must(t, s.Close())
	if err := s.Commit(ctx, row("cellar", 0, "a", "1")); !errors.Is(err, ErrClosed) {
		t.Errorf("Commit answered %v", err)
	}
	if _, err := s.Load(ctx, "cellar"); !errors.Is(err, ErrClosed) {
		t.Errorf("Load answered %v", err)
	}
}
