package store

import (
	"fmt"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
)

// benchSet is what a step typically changes: two rows, a checkpoint of 2 KB, a
// fact, and the readings of five seconds.
func benchSet(u coordinator.Unit, seq uint64) coordinator.ChangeSet {
	when := at(5 * float64(seq))
	set := coordinator.ChangeSet{
		Unit: u, Expect: seq, At: when,
		Rows:        []coordinator.Row{{Table: "machine", Key: "w1", Value: make([]byte, 300)}, {Table: "turn", Key: fmt.Sprint(seq % 50), Value: make([]byte, 200)}},
		Checkpoints: []coordinator.MachineCheckpoint{{Machine: "w1"}},
		Facts:       []coordinator.Fact{{At: when, Kind: coordinator.FactCalled, Machine: "w1", Person: "ada", Home: "12", Wait: time.Hour}},
	}
	set.Checkpoints[0].At, set.Checkpoints[0].Data = when, make([]byte, 2048)
	for i := range 5 {
		set.Readings = append(set.Readings, reading("w1", 5*float64(seq)+float64(i), float64(i%3)+1.9))
	}
	return set
}

// BenchmarkCommit: full change sets with a wait for the disk, from one room and
// from 500 rooms at once.
func BenchmarkCommit(b *testing.B) {
	for _, units := range []int{1, 500} {
		b.Run(fmt.Sprintf("units=%d", units), func(b *testing.B) {
			f := get[*File](b)(Open(filepath.Join(b.TempDir(), "b.db"), Options{}))
			b.ResetTimer()
			var wg sync.WaitGroup
			for i := range units {
				wg.Go(func() {
					u := coordinator.Unit(fmt.Sprint("room", i))
					for n := range b.N/units + 1 {
						must(b, f.Commit(ctx, benchSet(u, uint64(n))))
					}
				})
			}
			wg.Wait()
			b.StopTimer()
			b.ReportMetric(float64((b.N/units+1)*units)/b.Elapsed().Seconds(), "commits/s")
			must(b, f.Close())
		})
	}
}

// BenchmarkFlush: readings alone, of a room's 20 machines, five each.
func BenchmarkFlush(b *testing.B) {
	f := get[*File](b)(Open(filepath.Join(b.TempDir(), "b.db"), Options{}))
	n := 0.0
	for b.Loop() {
		set := coordinator.ChangeSet{Unit: "cellar", At: at(n)}
		for m := range 20 {
			for i := range 5 {
				set.Readings = append(set.Readings, reading(coordinator.MachineID(fmt.Sprint("w", m)), n+float64(i), 1.9))
			}
		}
		must(b, f.Commit(ctx, set))
		n += 5
	}
	b.ReportMetric(100*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
	must(b, f.Close())
}

// BenchmarkLoad: a room of 20 machines, each with a day of readings a second
// stored and an hour of them after the checkpoint.
func BenchmarkLoad(b *testing.B) {
	f := get[*File](b)(Open(filepath.Join(b.TempDir(), "b.db"), Options{NoSync: true}))
	set := coordinator.ChangeSet{Unit: "cellar", At: at(86400)}
	for m := range 20 {
		id := coordinator.MachineID(fmt.Sprint("w", m))
		c := coordinator.MachineCheckpoint{Machine: id}
		c.At, c.Data = at(86400-3600), make([]byte, 2048)
		set.Checkpoints = append(set.Checkpoints, c)
		set.Readings = nil
		for i := range 86400 {
			set.Readings = append(set.Readings, reading(id, float64(i), float64(i%40)/10))
		}
		must(b, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: at(86400), Readings: set.Readings}))
	}
	set.Readings = nil
	must(b, f.Commit(ctx, set))
	tail := 0
	for b.Loop() {
		s := get[coordinator.Stored](b)(f.Load(ctx, "cellar"))
		tail = len(s.Tail)
	}
	b.ReportMetric(float64(tail), "readings")
	must(b, f.Close())
}

// BenchmarkReadings: reading a day of one machine, a reading a second.
func BenchmarkReadings(b *testing.B) {
	f := get[*File](b)(Open(filepath.Join(b.TempDir(), "b.db"), Options{NoSync: true}))
	store(b, f, steady(86400), 86400)
	for b.Loop() {
		n := len(readings(b, f, "cellar", "w1", at(0), at(86400)))
		if n != 86400 {
			b.Fatalf("%d readings", n)
		}
	}
	must(b, f.Close())
}
