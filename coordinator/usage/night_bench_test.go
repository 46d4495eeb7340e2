package usage

import (
	"math/rand/v2"
	"path/filepath"
	"testing"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
)

// BenchmarkNight sums up the last day of a month of a room with ten machines, with
// about 140 cycles a day, on the store that the program uses.
func BenchmarkNight(b *testing.B) {
	f, err := store.Open(filepath.Join(b.TempDir(), "building.db"), store.Options{NoSync: true})
	must(b, err)
	defer func() { must(b, f.Close()) }()
	_, rooms := benchHouse()
	room, load, rng := &rooms[0], coordinator.LoadID(0), rand.New(rand.NewPCG(1, 2))
	first, last := date("2026-10-01"), date("2026-10-31")
	night := func(d Date) {
		must(b, rollUp(ctx, f, room, d, berlin, coordinator.JobMark{Job: "rollup/" + string(room.ID), Date: d.String(), At: d.Add(1).End(berlin)}))
	}
	seq := uint64(0)
	for d := first; !last.Before(d); d = d.Add(1) {
		must(b, f.Commit(ctx, coordinator.ChangeSet{Unit: room.ID, Expect: seq, At: d.End(berlin), Facts: benchDay(rng, room, d, &load)}))
		seq++
		night(d)
	}
	begin := cpuTime(b)
	for b.Loop() {
		night(last)
	}
	b.ReportMetric(float64(cpuTime(b)-begin)/float64(b.N)/1e6, "cpu-ms/op")
}
