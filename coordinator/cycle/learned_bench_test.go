package cycle

import (
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

// BenchmarkLearnedRead is one reading inside a cycle, with a full memory.
func BenchmarkLearnedRead(b *testing.B) {
	for _, step := range []time.Duration{time.Second, 8 * time.Second} {
		b.Run(step.String(), func(b *testing.B) {
			e, at := learnedWith(b, 30)
			g := newProgrammes(2)
			c, err := e.Checkpoint()
			if err != nil {
				b.Fatal(err)
			}
			rs := sample(g.wash(at), step)
			rs = rs[:len(rs)*9/10]
			b.ReportAllocs()
			b.ResetTimer()
			for i := 0; i < b.N; i++ {
				k := i % len(rs)
				if k == 0 {
					b.StopTimer()
					if err := e.Restore(c); err != nil {
						b.Fatal(err)
					}
					b.StartTimer()
				}
				e.Read(rs[k].At, rs[k])
			}
		})
	}
}
