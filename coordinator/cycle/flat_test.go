package cycle

import (
	"testing"
	"time"
)

// TestFlat: from where a steady low power lasts. Steps are 10 s apart.
func TestFlat(t *testing.T) {
	for _, c := range []struct {
		what  string
		watts []float64
		from  int // which reading it begins with
	}{
		{"steady", []float64{7, 7, 7, 7}, 0},
		{"a single spike", []float64{7, 7, 20, 7, 7}, 0},
		{"two in a row are a new level", []float64{7, 7, 20, 20, 20}, 3},
		{"a turn of the drum ends it at once", []float64{7, 7, 120, 7, 7, 7}, 4},
		{"slowly down", []float64{7, 6.5, 6.5, 6, 6, 5.5}, 0},
		{"within a third", []float64{15, 19, 11, 15}, 0},
		{"beyond a third, twice", []float64{15, 21, 22, 21}, 2},
	} {
		var f flat
		for i, w := range c.watts {
			at := t0.Add(time.Duration(i) * 10 * time.Second)
			f.step(at, w, at, float64(i))
		}
		if got := int(f.From.Sub(t0) / (10 * time.Second)); got != c.from {
			t.Errorf("%s: since reading %d, want %d", c.what, got, c.from)
		}
		if f.WorkWh != float64(c.from) || !f.WorkAt.Equal(f.From) {
			t.Errorf("%s: the last work before is that of %v, %v Wh", c.what, f.WorkAt.Sub(t0), f.WorkWh)
		}
	}
}

func TestFlatFollowsTheLevel(t *testing.T) {
	var f flat
	w := 7.0
	for i := range 200 {
		f.step(t0.Add(time.Duration(i)*10*time.Second), w, t0, 0)
		w -= 0.02
	}
	if f.Level > 4 || !f.From.Equal(t0) {
		t.Errorf("a glow that fades from 7 W to 3 W: level %v since %v", f.Level, f.From.Sub(t0))
	}
}
