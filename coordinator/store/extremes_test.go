package store

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// TestFarYears: instants from before 1970 to the last year that JSON can write
// keep their order and come back to the nanosecond, in whatever zone they came.
func TestFarYears(t *testing.T) {
	f, again := openFile(t)
	east, west := time.FixedZone("", 14*3600), time.FixedZone("", -12*3600)
	times := []time.Time{
		time.Date(1, 1, 2, 0, 0, 0, 1, time.UTC),
		time.Date(1969, 12, 31, 23, 59, 59, 999999999, time.UTC),
		time.Date(1970, 1, 1, 0, 0, 0, 0, time.UTC),
		time.Date(2026, 6, 10, 13, 0, 0, 0, east), // 23:00 the day before, UTC
		time.Date(2026, 6, 9, 12, 0, 0, 0, west),  // an hour later
		time.Date(9999, 12, 31, 11, 0, 0, 0, time.UTC),
	}
	set := coordinator.ChangeSet{Unit: "cellar", At: noon}
	for i := len(times) - 1; i >= 0; i-- { // stored in the wrong order
		set.Facts = append(set.Facts, coordinator.Fact{At: times[i], Kind: coordinator.FactJoined, Turn: coordinator.TurnID(i)})
		set.Readings = append(set.Readings, coordinator.MachineReading{Machine: "w1", Reading: cycle.Power(times[i], float64(i))})
	}
	must(t, f.Commit(ctx, set))
	f = again()
	end := time.Date(9999, 12, 31, 12, 0, 0, 0, time.UTC)
	gotFacts, gotReadings := facts(t, f, "cellar", time.Time{}, end), readings(t, f, "cellar", "w1", time.Time{}, end)
	if len(gotFacts) != len(times) || len(gotReadings) != len(times) {
		t.Fatalf("%d facts and %d readings of %d", len(gotFacts), len(gotReadings), len(times))
	}
	for i, want := range times {
		if !gotFacts[i].At.Equal(want) || gotFacts[i].Turn != coordinator.TurnID(i) {
			t.Errorf("fact %d is at %v, want %v", i, gotFacts[i].At, want)
		}
		if !gotReadings[i].Reading.At.Equal(want) || gotReadings[i].Reading.Watts != float64(i) {
			t.Errorf("reading %d is at %v, want %v", i, gotReadings[i].Reading.At, want)
		}
		if n := len(facts(t, f, "cellar", want, want.Add(1))); n != 1 {
			t.Errorf("from %v on one nanosecond has %d facts", want, n)
		}
		if n := len(facts(t, f, "cellar", want.Add(1), want)); n != 0 {
			t.Errorf("a stretch that ends before it begins has %d facts", n)
		}
	}
}

// TestYearsThatCannotBeWritten: a fact or notice after the year 9999 is refused
// before anything of its set is stored.
func TestYearsThatCannotBeWritten(t *testing.T) {
	f, _ := openFile(t)
	late := time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)
	for what, set := range map[string]coordinator.ChangeSet{
		"fact":   {Facts: []coordinator.Fact{{At: late, Kind: coordinator.FactJoined}}},
		"notice": {Notices: []coordinator.Notice{notice("cellar", 1, 0, late)}},
	} {
		set.Unit, set.At = "cellar", noon
		set.Rows = []coordinator.Row{{Table: "t", Key: "k", Value: []byte("v")}}
		err := f.Commit(ctx, row("attic", 0, "a", "1"), set)
		if err == nil || !strings.Contains(err.Error(), `unit "cellar" cannot be stored`) {
			t.Errorf("%s: %v", what, err)
		}
	}
	for _, u := range []coordinator.Unit{"cellar", "attic"} {
		wantSame(t, string(u), get[coordinator.Stored](t)(f.Load(ctx, u)), coordinator.Stored{})
	}
}

// TestFactsOfOneInstant come in the order in which they were stored.
func TestFactsOfOneInstant(t *testing.T) {
	f, again := openFile(t)
	const n = 2*pageOfFacts + 3
	for i := range n {
		set := coordinator.ChangeSet{Unit: "cellar", Expect: uint64(i), At: noon, Facts: []coordinator.Fact{{At: noon, Kind: coordinator.FactJoined, Turn: coordinator.TurnID(i)}}}
		must(t, f.Commit(ctx, set))
		if i == n/2 {
			f = again() // the numbering goes on after a restart
		}
	}
	for i, fact := range facts(t, f, "cellar", noon, at(1)) {
		if fact.Turn != coordinator.TurnID(i) {
			t.Fatalf("fact %d is that of %d", i, fact.Turn)
		}
	}
}

// TestHugeRows: a value of several pages' size is kept whole, replaced and removed.
func TestHugeRows(t *testing.T) {
	f, again := openFile(t)
	big := bytes.Repeat([]byte("0123456789abcdef"), 3<<16) // 3 MiB
	for i, value := range [][]byte{big, {}, big[:1<<20], nil} {
		must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", Expect: uint64(i), At: noon, Rows: []coordinator.Row{{Table: "t", Key: "k", Value: value}}}))
		f = again()
		got := get[coordinator.Stored](t)(f.Load(ctx, "cellar")).Rows
		if value == nil {
			if len(got) != 0 {
				t.Error("a removed row is there")
			}
			continue
		}
		if len(got) != 1 || !bytes.Equal(got[0].Value, value) || got[0].Value == nil {
			t.Errorf("%d bytes came back otherwise", len(value))
		}
	}
}

// TestLongNames: what the file could not keep is refused with the reason.
func TestLongNames(t *testing.T) {
	f, _ := openFile(t)
	long := strings.Repeat("x", maxKey)
	for what, set := range map[string]coordinator.ChangeSet{
		"unit":        {Unit: coordinator.Unit(long)},
		"row":         {Unit: "u", Rows: []coordinator.Row{{Table: "t", Key: long, Value: []byte("v")}}},
		"machine":     {Unit: "u", Readings: []coordinator.MachineReading{reading(coordinator.MachineID(long), 0, 1)}},
		"zero":        {Unit: "u\x00"},
		"zero table":  {Unit: "u", Rows: []coordinator.Row{{Table: "t\x00", Key: "k"}}},
		"zero worker": {Unit: "u", Checkpoints: []coordinator.MachineCheckpoint{{Machine: "m\x00"}}},
	} {
		err := f.Commit(ctx, set)
		if err == nil || !strings.Contains(err.Error(), "are kept") && !strings.Contains(err.Error(), "leave it out") {
			t.Errorf("%s: %v", what, err)
		}
	}
	if units := get[[]coordinator.Unit](t)(f.Units(ctx)); len(units) != 0 {
		t.Errorf("stored all the same: %q", units)
	}
}

// TestACorruptChunk: a chunk that does not decode makes an error that names the
// machine, and costs neither other machines nor the store.
func TestACorruptChunk(t *testing.T) {
	f, _ := openFile(t)
	set := coordinator.ChangeSet{Unit: "cellar", At: noon}
	for i := range 20 {
		set.Readings = append(set.Readings, reading("w1", float64(i), 5), reading("w2", float64(i), 6))
	}
	must(t, f.Commit(ctx, set))
	must(t, f.update(func(tx *bbolt.Tx) error {
		b := tx.Bucket(bucketReadings)
		key, value := lastChunk(b, machinePrefix("cellar", "w1"), spanOf(noon))
		return b.Put(key, value[:len(value)-1])
	}))
	ignore := func(coordinator.MachineReading) bool { return true }
	more := coordinator.ChangeSet{Unit: "cellar", At: noon, Readings: []coordinator.MachineReading{reading("w1", 30, 5)}}
	_, load := f.Load(ctx, "cellar")
	for what, err := range map[string]error{
		"read": f.Readings(ctx, "cellar", "w1", noon, at(100), ignore), "load": load, "add": f.Commit(ctx, more),
	} {
		if !errors.Is(err, errChunk) || !strings.Contains(fmt.Sprint(err), `"w1"`) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if n := len(readings(t, f, "cellar", "w2", noon, at(100))); n != 20 {
		t.Errorf("%d readings of the other machine", n)
	}
	must(t, f.Commit(ctx, row("attic", 0, "a", "1")))
}
