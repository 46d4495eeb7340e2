package cycle

import (
	"encoding/json"
	"testing"
	"time"
)

// TestCheckpointOfTheFirstLayout: it had no phases beside the profile, and a lull's
// place from its begin on. The cycle that ran goes on, and ends, as without a restart.
func TestCheckpointOfTheFirstLayout(t *testing.T) {
	for _, part := range []float64{0.3, 0.6, 0.65} {
		a, at := learnedWith(t, 3)
		rs := sample(newProgrammes(9).wash(at), 5*time.Second)
		n := int(part * float64(len(rs)))
		watchAll(a, rs[:n])
		point, err := a.Checkpoint()
		if err != nil {
			t.Fatal(err)
		}
		b := New(washer())
		if err := b.Restore(firstLayout(t, point)); err != nil {
			t.Fatal(err)
		}
		if !b.Status().Running || b.Status().Start != a.Status().Start {
			t.Fatalf("%.2f: %+v, want %+v", part, b.Status(), a.Status())
		}
		p, _ := a.Remaining(rs[n-1].At)
		q, _ := b.Remaining(rs[n-1].At)
		if d := (p.Median - q.Median).Abs(); d > 3*time.Minute {
			t.Errorf("%.2f: %v and %v to go", part, p.Median, q.Median)
		}
		x, y := ends(watchAll(a, rs[n:])), ends(watchAll(b, rs[n:]))
		if len(x) != 1 || len(y) != 1 || !x[0].end.Equal(y[0].end) {
			t.Errorf("%.2f: %v and %v", part, x, y)
		}
	}
}

// firstLayout is what the first layout would have stored.
func firstLayout(t *testing.T, c Checkpoint) Checkpoint {
	var m map[string]any
	if err := json.Unmarshal(c.Data, &m); err != nil {
		t.Fatal(err)
	}
	delete(m, "Stops")
	delete(m, "NeedLeast")
	delete(m["Profile"].(map[string]any), "Began")
	delete(m["Profile"].(map[string]any), "Phases")
	delete(m["Lull"].(map[string]any), "Stop")
	delete(m["Lull"].(map[string]any), "Placed")
	delete(m["Onset"].(map[string]any), "Usual")
	data, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	return Checkpoint{Engine: c.Engine, Version: 1, At: c.At, Data: data}
}

// TestFewRunsWiden: the fewer runs are known, the wider are the intervals, and more
// so of a dryer.
func TestFewRunsWiden(t *testing.T) {
	last := 0.0
	for n := 40; n >= 0; n -= 8 {
		w, d := New(washer()), New(dryer())
		w.mem.Past.Runs, d.mem.Past.Runs = make([]run, n), make([]run, n)
		if w.few() <= last || w.few() < 1 || d.few() <= w.few() {
			t.Errorf("%d runs: %v, of a dryer %v; with more %v", n, w.few(), d.few(), last)
		}
		last = w.few()
	}
}
