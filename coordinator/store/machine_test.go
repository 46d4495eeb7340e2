package store

import (
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// TestAgainstModel runs random histories on the file and on the plain model,
// reopening the file at random, and wants the same answers everywhere.
func TestAgainstModel(t *testing.T) {
	dir, run := t.TempDir(), 0
	rapid.Check(t, func(t *rapid.T) {
		run++
		m := &machine{path: filepath.Join(dir, fmt.Sprintf("%d.db", run)), model: newMemory()}
		m.open(t)
		t.Repeat(map[string]func(*rapid.T){
			"":        m.compare,
			"commit":  m.commit,
			"record":  m.record,
			"retain":  m.retain,
			"reopen":  m.reopen,
			"compact": m.compact,
		})
		m.compareAll(t)
		must(t, m.file.Close())
		checkFile(t, m.path)
	})
}

var (
	unitsDrawn    = rapid.SampledFrom([]coordinator.Unit{coordinator.Building, "a", "ab"})
	machinesDrawn = rapid.SampledFrom([]coordinator.MachineID{"1", "11"})
)

// machine is a file and a model that have seen the same.
type machine struct {
	path  string
	file  *File
	model *memory
}

func (m *machine) open(t *rapid.T) {
	m.file = get[*File](t)(Open(m.path, Options{NoSync: true}))
}

func (m *machine) reopen(t *rapid.T) {
	must(t, m.file.Close())
	m.open(t)
}

func (m *machine) compact(t *rapid.T) {
	if rapid.IntRange(0, 3).Draw(t, "seldom") > 0 {
		return // it waits for the disk, unlike the rest
	}
	must(t, m.file.Close())
	must(t, Compact(ctx, m.path))
	m.open(t)
}

func (m *machine) commit(t *rapid.T) {
	next := map[coordinator.Unit]uint64{}
	sets := make([]coordinator.ChangeSet, rapid.IntRange(1, 3).Draw(t, "sets"))
	for i := range sets {
		u := unitsDrawn.Draw(t, "unit")
		if _, ok := next[u]; !ok {
			next[u] = get[coordinator.Stored](t)(m.model.Load(ctx, u)).Seq
		}
		sets[i] = drawSet(t, u, next[u])
		if sets[i].Moves() {
			next[u]++
		}
	}
	if rapid.IntRange(0, 9).Draw(t, "wrong") == 0 {
		sets[len(sets)-1].Expect += 3
	}
	got, want := m.file.Commit(ctx, sets...), m.model.Commit(ctx, sets...)
	if errors.Is(got, coordinator.ErrSequence) != errors.Is(want, coordinator.ErrSequence) || (got == nil) != (want == nil) {
		t.Fatalf("the file answers %v, the model %v", got, want)
	}
}

// drawTime is within a few spans of readings, both sides of noon.
func drawTime(t *rapid.T, name string) time.Time {
	return at(float64(rapid.IntRange(-60, 60).Draw(t, name)) * 977.5)
}

func drawSet(t *rapid.T, u coordinator.Unit, seq uint64) coordinator.ChangeSet {
	set := coordinator.ChangeSet{Unit: u, Expect: seq, At: drawTime(t, "at")}
	some := func(name string) int { return rapid.IntRange(0, 2).Draw(t, name) }
	for range some("rows") {
		r := coordinator.Row{Table: rapid.SampledFrom([]string{"", "t", "tt"}).Draw(t, "table"), Key: rapid.SampledFrom([]string{"", "k", "\x00"}).Draw(t, "key")}
		if rapid.Bool().Draw(t, "put") {
			r.Value = []byte{byte(rapid.IntRange(0, 255).Draw(t, "value"))}
		}
		set.Rows = append(set.Rows, r)
	}
	for range some("checkpoints") {
		set.Checkpoints = append(set.Checkpoints, coordinator.MachineCheckpoint{
			Machine: machinesDrawn.Draw(t, "machine"), Checkpoint: cycle.Checkpoint{Engine: "e", Version: 1, At: drawTime(t, "checkpoint"), Data: []byte("d")},
		})
	}
	for range some("facts") {
		set.Facts = append(set.Facts, coordinator.Fact{At: drawTime(t, "fact"), Kind: coordinator.FactJoined, Person: "ada", Turn: coordinator.TurnID(rapid.IntRange(1, 99).Draw(t, "turn"))})
	}
	for range some("notices") {
		n := notice(u, coordinator.LoadID(rapid.IntRange(1, 3).Draw(t, "load")), rapid.IntRange(0, 2).Draw(t, "step"), drawTime(t, "made"))
		set.Notices = append(set.Notices, n)
	}
	for range some("withdraw") {
		set.Withdraw = append(set.Withdraw, coordinator.Subject{Room: unitsDrawn.Draw(t, "room"), Load: coordinator.LoadID(rapid.IntRange(1, 3).Draw(t, "load"))})
	}
	for range rapid.IntRange(0, 5).Draw(t, "readings") {
		set.Readings = append(set.Readings, coordinator.MachineReading{Machine: machinesDrawn.Draw(t, "machine"), Reading: cycle.Reading{
			At: drawTime(t, "reading"), Watts: float64(rapid.IntRange(0, 30).Draw(t, "watts")) / 10,
			Wh: rapid.SampledFrom([]float64{math.NaN(), 7.25}).Draw(t, "wh"),
		}})
	}
	return set
}

// record settles or puts off a random row, or one that does not exist.
func (m *machine) record(t *rapid.T) {
	d := coordinator.Delivery{Key: "none", Notice: notice("a", 9, 9, noon)}
	if all := deliveries(t, m.model); len(all) > 0 {
		d = rapid.SampledFrom(all).Draw(t, "row")
	}
	d.State = rapid.SampledFrom([]coordinator.DeliveryState{coordinator.Pending, coordinator.Done, coordinator.Dropped}).Draw(t, "state")
	d.NextAt, d.Changed, d.Tries = drawTime(t, "next"), drawTime(t, "changed"), d.Tries+1
	d.Devices = []coordinator.DeviceResult{{Device: "phone", Status: d.Tries, At: d.Changed}}
	d.Told = []coordinator.Told{{Person: rapid.SampledFrom([]coordinator.PersonID{"ada", "ad", "bo"}).Draw(t, "told"), Reason: coordinator.ReasonNow, At: d.Changed}}
	must(t, m.file.RecordDeliveries(ctx, d))
	must(t, m.model.RecordDeliveries(ctx, d))
}

func (m *machine) retain(t *rapid.T) {
	u, person, before := unitsDrawn.Draw(t, "unit"), drawTime(t, "by person"), drawTime(t, "readings")
	retainAll(t, m.file, u, person, before)
	retainAll(t, m.model, u, person, before)
}

// compare looks at the outbox and at a part of the rest, drawn anew each time.
func (m *machine) compare(t *rapid.T) {
	now := drawTime(t, "now")
	wantSame(t, "deliveries", deliveries(t, m.file), deliveries(t, m.model))
	for _, who := range []coordinator.PersonID{"ad", "ada", "bo", ""} {
		wantSame(t, "those to "+string(who), get[[]coordinator.Delivery](t)(m.file.DeliveriesTo(ctx, who, 3)), get[[]coordinator.Delivery](t)(m.model.DeliveriesTo(ctx, who, 3)))
	}
	wantSame(t, "due", due(t, m.file, now), due(t, m.model, now))
	wantSame(t, "next", get[time.Time](t)(m.file.NextDelivery(ctx)), get[time.Time](t)(m.model.NextDelivery(ctx)))
	m.compareUnit(t, unitsDrawn.Draw(t, "unit"), machinesDrawn.Draw(t, "machine"), now)
}

func (m *machine) compareAll(t *rapid.T) {
	for _, u := range []coordinator.Unit{coordinator.Building, "a", "ab"} {
		for _, id := range []coordinator.MachineID{"1", "11"} {
			m.compareUnit(t, u, id, time.Time{})
		}
	}
}

func (m *machine) compareUnit(t *rapid.T, u coordinator.Unit, id coordinator.MachineID, from time.Time) {
	end := at(1e6)
	wantSame(t, "unit "+string(u), get[coordinator.Stored](t)(m.file.Load(ctx, u)), get[coordinator.Stored](t)(m.model.Load(ctx, u)))
	wantSame(t, "facts", facts(t, m.file, u, from, end), facts(t, m.model, u, from, end))
	wantSame(t, "readings", readings(t, m.file, u, id, from, end), readings(t, m.model, u, id, from, end))
}
