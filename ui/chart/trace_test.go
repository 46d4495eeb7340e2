package chart

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var dawn = time.Date(2026, 3, 17, 0, 0, 0, 0, time.UTC)

func after(d time.Duration) time.Time { return dawn.Add(d) }

// TestTraceKeepsExtremes: whatever the number of readings, the highest and the
// lowest of each column are those of the readings in it.
func TestTraceKeepsExtremes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "columns")
		tr := NewTrace(dawn, after(time.Hour), n, 0, false)
		type seen struct{ low, high float64 }
		want := map[int]seen{}
		at, top := dawn, math.Inf(-1)
		for {
			at = at.Add(time.Duration(rapid.IntRange(1, 600).Draw(t, "seconds")) * time.Second)
			if at.After(after(time.Hour)) {
				break
			}
			v := rapid.Float64Range(-10, 3000).Draw(t, "watts")
			tr.Add(at, v)
			k := min(int(float64(at.Sub(dawn))/float64(time.Hour)*float64(n)), n-1)
			s, ok := want[k]
			if !ok {
				s = seen{v, v}
			}
			want[k], top = seen{min(s.low, v), max(s.high, v)}, max(top, v)
		}
		for k := range tr.cols {
			s, ok := want[k]
			if c := tr.cols[k]; c.seen != ok || ok && (c.low != s.low || c.high != s.high) {
				t.Fatalf("column %d is %+v, want %+v", k, c, s)
			}
		}
		if high, ok := tr.Highest(); ok && high != top {
			t.Fatalf("highest %v, want %v", high, top)
		}
		half := tr.melt(max(1, n/2))
		high := math.Inf(-1)
		for _, c := range half {
			if c.seen {
				high = max(high, c.high)
			}
		}
		if len(want) > 0 && high != top {
			t.Fatalf("melting lost the highest: %v, want %v", high, top)
		}
	})
}

// TestTraceGaps: what was not heard is a gap, never a line at 0.
func TestTraceGaps(t *testing.T) {
	const hold = 10 * time.Minute
	tr := NewTrace(dawn, after(2*time.Hour), 120, hold, true)
	for m := 15; m <= 40; m += 5 {
		tr.Add(after(time.Duration(m)*time.Minute), 100)
	}
	tr.Add(after(60*time.Minute), 200)
	tr.Close(after(100 * time.Minute)) // the present
	want := []Gap{{dawn, after(15 * time.Minute)}, {after(40 * time.Minute), after(time.Hour)}, {after(time.Hour), after(100 * time.Minute)}}
	if got := tr.Gaps(); len(got) != len(want) || got[0] != want[0] || got[1] != want[1] || got[2] != want[2] {
		t.Errorf("gaps %v, want %v", got, want)
	}
	for _, c := range []struct {
		minute int
		v      float64
		ok     bool
	}{{5, 0, false}, {17, 100, true}, {38, 100, true}, {50, 0, false}, {60, 200, true}, {80, 0, false}, {110, 0, false}} {
		if v, ok := tr.At(after(time.Duration(c.minute) * time.Minute)); ok != c.ok || ok && v != c.v {
			t.Errorf("minute %d: %v %v, want %v %v", c.minute, v, ok, c.v, c.ok)
		}
	}
}

// TestTraceBegins with what held before: a reading from before the begin is no
// gap, and what it said holds.
func TestTraceBegins(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 60, 10*time.Minute, true)
	tr.Add(after(-2*time.Minute), 7)
	tr.Add(after(5*time.Minute), 9)
	tr.Close(after(6 * time.Minute))
	if len(tr.Gaps()) != 0 {
		t.Errorf("gaps %v", tr.Gaps())
	}
	if v, ok := tr.At(after(3 * time.Minute)); !ok || v != 7 {
		t.Errorf("%v %v, want the 7 that held", v, ok)
	}
}

func TestTraceOfNonsense(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 60, time.Minute, true)
	tr.Add(after(10*time.Minute), 5)
	tr.Add(after(9*time.Minute), 1e9) // not newer
	tr.Add(after(10*time.Minute+30*time.Second), math.NaN())
	tr.Add(after(11*time.Minute), math.Inf(1))
	tr.Add(after(2*time.Hour), 1e9) // not within
	if high, ok := tr.Highest(); !ok || high != 5 || tr.Readings() != 3 {
		t.Errorf("highest %v %v of %d readings", high, ok, tr.Readings())
	}
	empty := NewTrace(dawn, dawn, 0, 0, true)
	empty.Add(dawn, 1)
	empty.Close(after(time.Hour))
	if _, ok := empty.Highest(); ok || len(empty.Gaps()) != 0 {
		t.Error("a curve over no time has something in it")
	}
	many := NewTrace(dawn, after(1000*time.Hour), 10, time.Minute, true)
	for h := range 1000 {
		many.Add(after(time.Duration(h)*time.Hour), 1)
	}
	if got := many.Gaps(); len(got) != mostGaps || !got[mostGaps-1].To.Equal(after(999*time.Hour)) {
		t.Errorf("%d gaps", len(got))
	}
}
