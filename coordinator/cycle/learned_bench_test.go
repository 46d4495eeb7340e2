package cycle

import (
	"sync"
	"testing"
	"time"
)

// learnedWith is an engine that has seen n washes.
func learnedWith(tb testing.TB, n int) (*Learned, time.Time) {
	tb.Helper()
	s := DefaultSettings()
	e := New(s)
	at := t0
	g := newProgrammes(1)
	for range n {
		at = feed(tb, e, g.wash(at), 5*time.Second)
		at = at.Add(time.Hour)
	}
	return e, at
}

// fullMemory is an engine that remembers as many washes as it ever does.
var fullMemory = sync.OnceValues(func() (Checkpoint, time.Time) {
	e, at := New(DefaultSettings()), t0
	g := newProgrammes(1)
	for range runsKept {
		c := g.wash(at)
		watchAll(e, sample(c, 10*time.Second))
		at = at.Add(c.length() + time.Hour)
	}
	point, err := e.Checkpoint()
	if err != nil {
		panic(err)
	}
	return point, at
})

// runningWith is an engine with a full memory at the start of one more wash, and
// the readings inside that, one each step.
func runningWith(b *testing.B, step time.Duration) (Checkpoint, *Learned, []Reading) {
	point, at := fullMemory()
	e := New(DefaultSettings())
	if err := e.Restore(point); err != nil {
		b.Fatal(err)
	}
	c := newProgrammes(2).wash(at)
	rs := sample(c, step)
	n := 0
	for !rs[n].At.After(c.start.Add(time.Minute)) {
		n++
	}
	watchAll(e, rs[:n])
	if !e.Status().Running {
		b.Fatal("it does not run")
	}
	for len(rs) > 0 && rs[len(rs)-1].At.After(c.end.Add(-time.Minute)) {
		rs = rs[:len(rs)-1]
	}
	point, err := e.Checkpoint()
	if err != nil {
		b.Fatal(err)
	}
	return point, e, rs[n:]
}

var benchSteps = []time.Duration{time.Second, 8 * time.Second, 30 * time.Second}

// BenchmarkLearnedRead is one reading inside a cycle.
func BenchmarkLearnedRead(b *testing.B) { benchInside(b, func(*Learned, time.Time) {}) }

// BenchmarkLearnedAsked is the same with somebody who wants to know, each minute,
// how long it still takes.
func BenchmarkLearnedAsked(b *testing.B) {
	var last time.Time
	benchInside(b, func(e *Learned, at time.Time) {
		if d := at.Sub(last); d >= time.Minute || d < 0 {
			e.Remaining(at)
			last = at
		}
	})
}

func benchInside(b *testing.B, then func(e *Learned, at time.Time)) {
	for _, step := range benchSteps {
		b.Run(step.String(), func(b *testing.B) {
			point, e, rs := runningWith(b, step)
			b.ReportAllocs()
			b.ResetTimer()
			for i := 0; i < b.N; i++ {
				k := i % len(rs)
				if k == 0 {
					b.StopTimer()
					if err := e.Restore(point); err != nil {
						b.Fatal(err)
					}
					b.StartTimer()
				}
				e.Read(rs[k].At, rs[k])
				then(e, rs[k].At)
			}
		})
	}
}

// BenchmarkLearnedEnd is the reading at which a wash is declared over, or the tick,
// with a full memory to learn into.
func BenchmarkLearnedEnd(b *testing.B) {
	point, at := fullMemory()
	rs := sample(newProgrammes(2).wash(at), 10*time.Second)
	e := New(DefaultSettings())
	if err := e.Restore(point); err != nil {
		b.Fatal(err)
	}
	n := 0
	for n < len(rs) && len(ends(watchAll(e, rs[n:n+1]))) == 0 {
		n++
	}
	if err := e.Restore(point); err != nil {
		b.Fatal(err)
	}
	watchAll(e, rs[:n])
	before, err := e.Checkpoint()
	if err != nil || n == len(rs) {
		b.Fatal(err, "it does not end")
	}
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		if err := e.Restore(before); err != nil {
			b.Fatal(err)
		}
		e.Remaining(rs[n-1].At)
		b.StartTimer()
		watchAll(e, rs[n:n+1])
	}
}
