package cycle

import (
	"math"
	"testing"
	"time"
)

// washing puts an engine into the midst of a cycle, and returns a step that
// feeds it one reading of changing power a second later.
func washing(e Engine) func() {
	at, n := energyEpoch, 0
	feed := func(watts, wh float64) {
		at = at.Add(time.Second)
		e.Read(at, Reading{At: at, Watts: watts, Wh: wh})
	}
	levels := [...]float64{2000, 1990, 150, 1, 2, 160, 4, 400}
	for range 600 {
		feed(500, math.NaN())
	}
	return func() {
		n++
		// A quarter of an hour of each level, but pauses of a few seconds only.
		level := levels[n/900%len(levels)]
		if level < 5 && n%20 > 10 {
			level = 90
		}
		feed(level, math.NaN())
	}
}

func TestFixedAllocatesNothingInACycle(t *testing.T) {
	e := NewFixed(DefaultSettings())
	step := washing(e)
	if n := testing.AllocsPerRun(20_000, step); n != 0 {
		t.Errorf("%v allocations a reading", n)
	}
	if !e.Status().Running {
		t.Error("it was to be measured in a cycle")
	}
	if n := testing.AllocsPerRun(100, func() { e.Remaining(energySecond(4000)); e.Next(); e.Status() }); n != 0 {
		t.Errorf("%v allocations an answer", n)
	}
}

func BenchmarkFixedRead(b *testing.B) {
	step := washing(NewFixed(DefaultSettings()))
	b.ReportAllocs()
	for b.Loop() {
		step()
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkFixedRemaining(b *testing.B) {
	e := NewFixed(DefaultSettings())
	washing(e)
	for i := range lastRunKeeps {
		e.mem.Runs.Keep(time.Duration(40+i) * time.Minute)
	}
	b.ReportAllocs()
	for b.Loop() {
		e.Remaining(energySecond(1800))
	}
}

func BenchmarkFixedCheckpoint(b *testing.B) {
	e := NewFixed(DefaultSettings())
	washing(e)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := e.Checkpoint(); err != nil {
			b.Fatal(err)
		}
	}
}
