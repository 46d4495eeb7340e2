package chart

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// tenByTen is a plot in which column i of ten stands at 10·i + 5 px and a value of
// 0 to 10 at 100 - 10·v px.
var tenByTen = box{0, 0, 100, 100}

var toTen = Scale{0, 10, 1}

func flat(v float64) column { return column{v, v, v, v, true, false} }

func broken(c column) column {
	c.broken = true
	return c
}

// columns of ten, those not named unseen.
func columnsAt(at map[int]column) []column {
	out := make([]column, 10)
	for i, c := range at {
		out[i] = c
	}
	return out
}

// TestRoutes: the paths of small curves (worked by hand).
func TestRoutes(t *testing.T) {
	for name, c := range map[string]struct {
		cols          map[int]column
		lines, stairs string
	}{
		"nothing":              {nil, "", ""},
		"one":                  {map[int]column{3: flat(4)}, "M35 60h.1", "M35 60h.1"},
		"two":                  {map[int]column{1: flat(2), 4: flat(5)}, "M15 80L45 50", "M15 80H45V50"},
		"a column with a peak": {map[int]column{0: {1, 1, 9, 2, true, false}, 1: flat(2)}, "M5 90V10V80L15 80", "M5 90V10V80H15V80"},
		"down, then up":        {map[int]column{0: {5, 1, 8, 8, true, false}}, "M5 50V90V20", "M5 50V90V20"},
		"up, then down":        {map[int]column{0: {5, 1, 8, 1, true, false}}, "M5 50V20V90", "M5 50V20V90"},
		"a gap":                {map[int]column{1: flat(2), 2: flat(2), 6: broken(flat(3)), 7: flat(3)}, "M15 80L25 80M65 70L75 70", "M15 80H25V80M65 70H75V70"},
		"alone between gaps":   {map[int]column{1: flat(2), 3: broken(flat(4)), 6: broken(flat(1))}, "M15 80h.1M35 60h.1M65 90h.1", "M15 80h.1M35 60h.1M65 90h.1"},
		"beyond the plot":      {map[int]column{0: flat(-5), 1: flat(50)}, "M5 100L15 0", "M5 100H15V0"},
	} {
		cols := columnsAt(c.cols)
		if got := route(cols, tenByTen, toTen, false); got != c.lines {
			t.Errorf("%s, lines: %s, want %s", name, got, c.lines)
		}
		if got := route(cols, tenByTen, toTen, true); got != c.stairs {
			t.Errorf("%s, steps: %s, want %s", name, got, c.stairs)
		}
	}
}

// TestAreasUnderCurves: down to 0, or to the lowest value of an axis above it, and
// closed before each gap (worked by hand).
func TestAreasUnderCurves(t *testing.T) {
	for name, c := range map[string]struct {
		cols  map[int]column
		scale Scale
		want  string
	}{
		"nothing":         {nil, toTen, ""},
		"two":             {map[int]column{1: flat(2), 4: flat(5)}, toTen, "M15 100H15V80H45V50H45V100Z"},
		"a gap":           {map[int]column{1: flat(2), 4: broken(flat(5)), 5: flat(5)}, toTen, "M15 100H15V80H15V100ZM45 100H45V50H55V50H55V100Z"},
		"around 0":        {map[int]column{0: flat(-5), 1: flat(5)}, Scale{-10, 10, 5}, "M5 50H5V75H15V25H15V50Z"},
		"an axis above 0": {map[int]column{0: flat(15)}, Scale{10, 20, 5}, "M5 100H5V50H5V100Z"},
		"the highest":     {map[int]column{0: {1, 1, 9, 2, true, false}}, toTen, "M5 100H5V10H5V100Z"},
	} {
		if got := under(columnsAt(c.cols), tenByTen, c.scale); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
	}
}

// TestMelting: the first, lowest, highest and last of several columns are those of
// the column they become, and a break before the first of them stays.
func TestMelting(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 6, 0, false)
	tr.cols = []column{{3, 2, 5, 4, true, true}, {4, 1, 4, 1, true, false}, {}, {7, 7, 9, 8, true, true}, {}, {}}
	want := []column{{3, 1, 5, 1, true, true}, {7, 7, 9, 8, true, true}, {}}
	for i, c := range tr.melt(3) {
		if c != want[i] {
			t.Errorf("column %d: %+v, want %+v", i, c, want[i])
		}
	}
	if got := tr.melt(6); &got[0] != &tr.cols[0] {
		t.Error("columns that fit are copied")
	}
	if got := tr.melt(0); len(got) != 1 || got[0] != (column{3, 1, 9, 8, true, true}) {
		t.Errorf("all in one: %+v", got)
	}
}

// TestSteppedTracesHold: a value holds from its reading to the next, whatever the
// columns; what holds at the end holds until the curve is closed.
func TestSteppedTracesHold(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 120).Draw(t, "columns")
		tr := NewTrace(dawn, after(time.Hour), n, 0, true)
		type reading struct {
			at time.Duration
			v  float64
		}
		var readings []reading
		for at := time.Duration(0); ; {
			at += time.Duration(rapid.IntRange(1, 900).Draw(t, "seconds")) * time.Second
			if at > time.Hour {
				break
			}
			r := reading{at, float64(rapid.IntRange(0, 3000).Draw(t, "watts"))}
			readings = append(readings, r)
			tr.Add(after(r.at), r.v)
		}
		end := time.Duration(rapid.IntRange(0, 4000).Draw(t, "now")) * time.Second
		tr.Close(after(end))
		for k := range n {
			from, to := time.Hour*time.Duration(k)/time.Duration(n), time.Hour*time.Duration(k+1)/time.Duration(n)
			low, high, any := math.Inf(1), math.Inf(-1), false
			for i, r := range readings {
				until := end
				if i+1 < len(readings) {
					until = readings[i+1].at
				}
				until = max(until, r.at)
				// Columns that a reading only just touches may or may not have it.
				if r.at < to-time.Second && until > from+time.Second {
					low, high, any = min(low, r.v), max(high, r.v), true
				}
			}
			if c := tr.cols[k]; any && (!c.seen || c.low > low || c.high < high) {
				t.Fatalf("column %d of %d is %+v, want %v to %v", k, n, c, low, high)
			}
			if !any && tr.cols[k].seen && len(readings) > 0 && to < readings[0].at-time.Second {
				t.Fatalf("column %d was seen before the first reading", k)
			}
		}
	})
}

// TestACurveIsNotDrawnThroughUnknown: a reading that is no number ends the line, and
// the next one begins another.
func TestACurveIsNotDrawnThroughUnknown(t *testing.T) {
	for _, steps := range []bool{true, false} {
		for name, bad := range map[string]float64{"no number": math.NaN(), "endless": math.Inf(1), "endless below": math.Inf(-1)} {
			tr := NewTrace(dawn, after(time.Hour), 60, 0, steps)
			for m, v := range []float64{5, 5, 5, bad, bad, 7, 7} {
				tr.Add(after(time.Duration(m)*5*time.Minute), v)
			}
			tr.Close(after(40 * time.Minute))
			c := &Time{Frame: Frame{ID: "a", Title: "a"}, From: dawn, To: after(time.Hour), Curves: []Curve{{Trace: tr, Steps: steps, Filled: true}}}
			for _, s := range sizes {
				all := checkDrawing(t, c.SVG(s), true)
				plot := plotOf(t, all)
				for _, e := range all {
					if !e.is("chart-curve") && !e.is("chart-under") {
						continue
					}
					parts := strings.Split(e.attr["d"], "M")[1:]
					if len(parts) != 2 {
						t.Fatalf("%s, %s: %d stretches of %s", name, s.name, len(parts), e.attr["d"])
					}
					ends := points(t, "M"+parts[0])
					last := 0.0
					for _, p := range ends {
						last = max(last, p[0])
					}
					if share := (last - plot.left) / (plot.right - plot.left); share > 16.0/60 {
						t.Errorf("%s, %s: the line goes on to %v of the hour; nothing is known from minute 15 on", name, s.name, share)
					}
				}
			}
		}
	}
}

// TestReadingsOutOfPlace are ignored: older ones, those beyond the end, and all of a
// curve without a length.
func TestReadingsOutOfPlace(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 60, 0, false)
	tr.Add(after(10*time.Minute), 1)
	tr.Add(after(10*time.Minute), 2)
	tr.Add(after(5*time.Minute), 3)
	tr.Add(after(61*time.Minute), 4)
	if v, ok := tr.At(after(10 * time.Minute)); v != 1 || !ok || tr.Readings() != 1 {
		t.Errorf("%v %v of %d readings", v, ok, tr.Readings())
	}
	for _, at := range []time.Duration{-time.Second, 5 * time.Minute, time.Hour + time.Second} {
		if v, ok := tr.At(after(at)); ok {
			t.Errorf("%v at %v, where nothing is known", v, at)
		}
	}
	tr.Add(after(time.Hour), 9) // the end is within
	if v, ok := tr.At(after(time.Hour)); v != 9 || !ok {
		t.Errorf("%v %v at the end", v, ok)
	}
	back := NewTrace(after(time.Hour), dawn, 60, 0, true)
	back.Add(after(30*time.Minute), 1)
	back.Close(after(2 * time.Hour))
	if back.Readings() != 0 || len(back.Gaps()) != 0 {
		t.Error("a curve that ends before it begins has readings")
	}
}

// TestGapsAreLongerThanTheHold, to the instant, at the begin, between and at the end.
func TestGapsAreLongerThanTheHold(t *testing.T) {
	const hold = 10 * time.Minute
	for _, c := range []struct {
		first, second, now time.Duration
		want               []Gap
	}{
		{10 * time.Minute, 20 * time.Minute, 30 * time.Minute, nil},
		{10*time.Minute + 1, 20 * time.Minute, 30 * time.Minute, []Gap{{dawn, after(10*time.Minute + 1)}}},
		{10 * time.Minute, 20*time.Minute + 1, 30 * time.Minute, []Gap{{after(10 * time.Minute), after(20*time.Minute + 1)}}},
		{10 * time.Minute, 20 * time.Minute, 30*time.Minute + 1, []Gap{{after(20 * time.Minute), after(30*time.Minute + 1)}}},
		{10 * time.Minute, 20 * time.Minute, 5 * time.Hour, []Gap{{after(20 * time.Minute), after(time.Hour)}}},
		{-5 * time.Minute, 0, time.Minute, nil},
		{-30 * time.Minute, 15 * time.Minute, 16 * time.Minute, []Gap{{dawn, after(15 * time.Minute)}}},
	} {
		tr := NewTrace(dawn, after(time.Hour), 60, hold, true)
		tr.Add(after(c.first), 1)
		tr.Add(after(c.second), 2)
		tr.Close(after(c.now))
		got := tr.Gaps()
		if _, ok := tr.At(after(15 * time.Minute)); ok != (len(c.want) == 0 || c.want[0].From != after(10*time.Minute)) && c.first > 0 && c.first <= hold {
			t.Errorf("%v, %v: what was heard holds at minute 15: %v", c.first, c.second, ok)
		}
		if len(got) != len(c.want) || len(got) == 1 && got[0] != c.want[0] {
			t.Errorf("%v, %v, closed at %v: %v, want %v", c.first, c.second, c.now, got, c.want)
		}
	}
	none := NewTrace(dawn, after(time.Hour), 60, hold, true)
	none.Close(after(10 * time.Minute))
	if len(none.Gaps()) != 0 {
		t.Errorf("nothing heard for as long as a value holds: %v", none.Gaps())
	}
	none = NewTrace(dawn, after(time.Hour), 60, hold, true)
	none.Close(after(2 * time.Hour))
	if got := none.Gaps(); len(got) != 1 || got[0] != (Gap{dawn, after(time.Hour)}) {
		t.Errorf("nothing heard at all: %v", got)
	}
}
