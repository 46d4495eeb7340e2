package usage

import (
	"bytes"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
	"drumturn/queue"
)

const (
	benchRooms    = 2
	benchMachines = 10 // in a room
	benchYears    = 5
)

// benchHouse is a building of two rooms of ten machines, with a tariff of three prices.
func benchHouse() (*House, []Room) {
	h := &House{Zone: berlin, Tariffs: tariffOf(window("night", 22*60, 6*60, 240_000), window("noon", 12*60, 14*60, 350_000)), Homes: map[coordinator.HomeID]string{}}
	h.Tariffs[0].Tariff.StandingMicros = 9_900_000
	var rooms []Room
	for i := range benchRooms {
		r := HouseRoom{ID: coordinator.RoomID(fmt.Sprint("room", i)), PerHome: true}
		k := Room{ID: r.ID, Hours: queue.AlwaysOpen(), Tariffs: h.Tariffs, PerHome: true}
		for m := range benchMachines {
			id := coordinator.MachineID(fmt.Sprint("m", m))
			r.Machines = append(r.Machines, HouseMachine{ID: id, Name: "Machine " + string(id)})
			k.Machines = append(k.Machines, id)
		}
		h.Rooms, rooms = append(h.Rooms, r), append(rooms, k)
	}
	return h, rooms
}

// benchDay invents what happens in a room on a day: about 14 cycles a machine.
func benchDay(rng *rand.Rand, room *Room, d Date, next *coordinator.LoadID) (facts []coordinator.Fact) {
	for _, m := range room.Machines {
		at := d.Begin(berlin).Add(6*time.Hour + time.Duration(rng.IntN(1800))*time.Second)
		for range 13 + rng.IntN(3) {
			*next++
			end := at.Add(time.Duration(30+rng.IntN(35)) * time.Minute)
			home := coordinator.HomeID(fmt.Sprint("h", rng.IntN(60)))
			facts = append(facts,
				coordinator.Fact{At: at.Add(-time.Duration(rng.IntN(120)) * time.Minute), Kind: coordinator.FactJoined, Turn: coordinator.TurnID(*next)},
				coordinator.Fact{At: at, Kind: coordinator.FactCalled, Machine: m, Turn: coordinator.TurnID(*next), Wait: time.Duration(rng.IntN(7200)) * time.Second},
				coordinator.Fact{At: at, Kind: coordinator.FactStarted, Machine: m, Cycle: uint64(*next), Load: *next, Home: home, Start: at},
				coordinator.Fact{At: end, Kind: coordinator.FactCycle, Machine: m, Cycle: uint64(*next), Load: *next, Start: at, End: end, EnergyWh: 300 + 1500*rng.Float64(), Note: "finished"})
			at = end.Add(time.Duration(1+rng.IntN(25)) * time.Minute)
		}
	}
	return facts
}

// buildBench fills a store with five years of 20 machines, summed up as the night
// does. It answers with how many cycles there are.
func buildBench(tb testing.TB, path string) (h *House, from, to Date, cycles int) {
	tb.Helper()
	f, err := store.Open(path, store.Options{NoSync: true})
	must(tb, err)
	defer func() { must(tb, f.Close()) }()
	h, rooms := benchHouse()
	rng := rand.New(rand.NewPCG(1, 2))
	from = date("2021-11-01")
	to = Date{Year: from.Year + benchYears, Month: from.Month, Day: from.Day}.Add(-1)
	for i := range rooms {
		room, load, seq := &rooms[i], coordinator.LoadID(0), uint64(0)
		for d := from; !to.Before(d); d = d.Add(1) {
			facts := benchDay(rng, room, d, &load)
			must(tb, f.Commit(ctx, coordinator.ChangeSet{Unit: room.ID, Expect: seq, At: d.End(berlin), Facts: facts}))
			seq++
			day := room.day(ctx, f, d, berlin, d.Add(1).End(berlin))
			day.Facts = facts
			sums, err := Summarise(day)
			must(tb, err)
			cycles += sums.All[0].Starts
			putSums(tb, f, room, d, &sums, d == MonthOf(d).Last())
		}
	}
	return h, from, to, cycles
}

// five is a store of five years.
type five struct {
	path     string
	h        *House
	from, to Date
}

// fiveYears makes the store, and says how large it is.
func fiveYears(b *testing.B) *five {
	f := &five{path: filepath.Join(b.TempDir(), "building.db")}
	begin := time.Now()
	var cycles int
	f.h, f.from, f.to, cycles = buildBench(b, f.path)
	info, err := os.Stat(f.path)
	must(b, err)
	b.Logf("%d cycles of %d machines in %d years: %d MiB, built in %v",
		cycles, benchRooms*benchMachines, benchYears, info.Size()>>20, time.Since(begin).Round(time.Second))
	return f
}

func (f *five) open(tb testing.TB) *store.File {
	tb.Helper()
	s, err := store.Open(f.path, store.Options{NoSync: true})
	must(tb, err)
	return s
}

// pages are the reports that the manager's pages ask for.
func (f *five) pages() map[string]Query {
	by := func(scope Scope, p Period) Query { return Query{Scope: scope, From: f.from, To: f.to, By: p} }
	month := by(Scope{}, ByDay)
	month.From = MonthOf(f.to).First()
	return map[string]Query{
		"building, a month by day":     month,
		"building, 5 years by day":     by(Scope{}, ByDay),
		"building, 5 years by week":    by(Scope{}, ByWeek),
		"building, 5 years by month":   by(Scope{}, ByMonth),
		"building, 5 years as a whole": by(Scope{}, ByAll),
		"a room, 5 years by day":       by(Scope{Room: "room0"}, ByDay),
		"a machine, 5 years by day":    by(Scope{Room: "room1", Machine: "m7"}, ByDay),
		"a machine, 5 years by month":  by(Scope{Room: "room1", Machine: "m7"}, ByMonth),
	}
}

// BenchmarkFiveYears makes each page's report of five years from a store that was
// read before (warm), and from one whose file the system has nothing of in memory
// (cold), and writes the longest as files.
func BenchmarkFiveYears(b *testing.B) {
	f := fiveYears(b)
	pages := f.pages()
	for _, name := range slices.Sorted(maps.Keys(pages)) {
		q := pages[name]
		b.Run(name+"/warm", func(b *testing.B) { f.warm(b, q) })
		b.Run(name+"/cold", func(b *testing.B) { f.cold(b, q) })
	}
	b.Run("kept", func(b *testing.B) { f.kept(b, pages["building, 5 years by day"]) })
	b.Run("files", func(b *testing.B) { f.files(b, pages["building, 5 years by day"]) })
}

func (f *five) warm(b *testing.B, q Query) {
	s := f.open(b)
	defer func() { must(b, s.Close()) }()
	var r *Report
	run := func() {
		var err error
		r, err = MakeReport(ctx, s, f.h, q)
		must(b, err)
	}
	run()
	b.ReportAllocs()
	begin := cpuTime(b)
	for b.Loop() {
		run()
	}
	// On a computer that does other things as well, the wall's time says little.
	b.ReportMetric(float64(cpuTime(b)-begin)/float64(b.N)/1e6, "cpu-ms/op")
	r = nil
	b.ReportMetric(float64(heapOf(func() any { run(); return r }))/1024, "KiB-kept")
}

func (f *five) cold(b *testing.B, q Query) {
	s := f.open(b)
	defer func() { must(b, s.Close()) }()
	var worst time.Duration
	for b.Loop() {
		b.StopTimer()
		forget(b, f.path)
		begin := time.Now()
		b.StartTimer()
		_, err := MakeReport(ctx, s, f.h, q)
		must(b, err)
		worst = max(worst, time.Since(begin))
	}
	b.ReportMetric(float64(worst)/1e6, "ms-worst")
}

// kept asks for a report that was made before.
func (f *five) kept(b *testing.B, q Query) {
	s := f.open(b)
	defer func() { must(b, s.Close()) }()
	reports := NewReports(s, func() uint64 { return 0 })
	_, err := reports.Report(ctx, f.h, q)
	must(b, err)
	for b.Loop() {
		_, err := reports.Report(ctx, f.h, q)
		must(b, err)
	}
}

// heapOf is what a value takes of the heap, octets.
func heapOf(make func() any) uint64 {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	v := make()
	runtime.GC()
	runtime.ReadMemStats(&after)
	runtime.KeepAlive(v)
	return after.HeapAlloc - min(before.HeapAlloc, after.HeapAlloc)
}

func (f *five) files(b *testing.B, q Query) {
	s := f.open(b)
	defer func() { must(b, s.Close()) }()
	r, err := MakeReport(ctx, s, f.h, q)
	must(b, err)
	var out bytes.Buffer
	for name, write := range map[string]func(){
		"CSV": func() {
			for _, t := range r.Tables() {
				must(b, t.WriteCSV(&out))
			}
		},
		"JSON": func() { must(b, r.WriteJSON(&out)) },
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				out.Reset()
				write()
			}
			b.ReportMetric(float64(out.Len())/1024, "KiB-file")
		})
	}
}
