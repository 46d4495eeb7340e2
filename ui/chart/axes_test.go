package chart

import (
	"fmt"
	"math"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// axisOf reads a drawing's axis of values back: the value of each line of the grid
// by its height, from the label beside it.
func axisOf(t failer, all []element) (ys, values []float64) {
	t.Helper()
	for i, e := range all {
		if !e.is("chart-grid") && !e.is("chart-base") {
			continue
		}
		label := all[i+1] // written right after its line
		v, err := strconv.ParseFloat(label.text, 64)
		if !label.is("chart-value") || err != nil {
			t.Fatalf("no value beside the line %v but %v %q", e.attr, label.attr, label.text)
		}
		if gap := math.Abs(label.num(t, "y") - e.num(t, "y1")); gap > textSize/2 {
			t.Fatalf("%q is written %v px from its line", label.text, gap)
		}
		if label.num(t, "x") >= e.num(t, "x1") || label.attr["text-anchor"] != "end" {
			t.Fatalf("%q runs into the plot", label.text)
		}
		if e.num(t, "y1") != e.num(t, "y2") {
			t.Fatalf("the line of %q is not level", label.text)
		}
		ys, values = append(ys, e.num(t, "y1")), append(values, v)
	}
	if len(ys) < 2 {
		t.Fatalf("an axis of %d lines", len(ys))
	}
	return ys, values
}

// valueAt is the value that a height stands for, as a reader would take it from
// the first and the last line of the grid.
func valueAt(ys, values []float64, y float64) float64 {
	n := len(ys) - 1
	return values[0] + (y-ys[0])/(ys[n]-ys[0])*(values[n]-values[0])
}

// perPixel is how much of a value a pixel is, and so how well it can be read.
func perPixel(ys, values []float64) float64 {
	n := len(ys) - 1
	return math.Abs((values[n] - values[0]) / (ys[n] - ys[0]))
}

// TestAxisIsLinear: the lines are as far apart as their labels, upwards, and the
// heavy one is 0, or the lowest where 0 is below it.
func TestAxisIsLinear(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		heavy     string
	}{{0, 50, "0"}, {-40, 60, "0"}, {41, 58, "40"}, {-58, -41, ""}, {0, 0.4, "0.0"}, {0, 2400, "0"}} {
		chart := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(2), Dots: []float64{c.low, c.high}}
		for _, s := range sizes {
			all := checkDrawing(t, chart.SVG(s), true)
			ys, values := axisOf(t, all)
			for i := range ys {
				if i > 0 && (ys[i] >= ys[i-1] || values[i] <= values[i-1]) {
					t.Errorf("%v to %v: line %d at %v is %v, below one at %v of %v", c.low, c.high, i, ys[i], values[i], ys[i-1], values[i-1])
				}
				if got := valueAt(ys, values, ys[i]); math.Abs(got-values[i]) > perPixel(ys, values) {
					t.Errorf("%v to %v: the line called %v lies at %v", c.low, c.high, values[i], got)
				}
			}
			heavy := ""
			for i, e := range all {
				if e.is("chart-base") {
					heavy += all[i+1].text
				}
			}
			if heavy != c.heavy {
				t.Errorf("%v to %v: heavy lines %q, want %q", c.low, c.high, heavy, c.heavy)
			}
		}
	}
}

// TestUnitStandsAboveTheAxis, once, within the drawing, however long it is.
func TestUnitStandsAboveTheAxis(t *testing.T) {
	for _, unit := range []string{"W", "kWh", "minutes from the usual", "كيلوواط ساعة"} {
		b := &Bars{Frame: Frame{ID: "b", Title: "b", Unit: unit}, Labels: days(3), Series: []Series{{Values: []float64{1, 2, 3}}}}
		for _, s := range sizes {
			all := checkDrawing(t, b.SVG(s), true)
			plot, found := plotOf(t, all), 0
			for _, e := range all {
				if e.is("chart-unit") {
					found++
					if e.text != unit || e.num(t, "y") >= plot.top {
						t.Errorf("%q stands at %v of a plot from %v", e.text, e.num(t, "y"), plot.top)
					}
				}
			}
			if found != 1 {
				t.Errorf("%s: %d units", s.name, found)
			}
		}
	}
	none := checkDrawing(t, (&Bars{Frame: Frame{ID: "b", Title: "b"}, Labels: days(1), Series: []Series{{Values: []float64{1}}}}).SVG(Wide), true)
	if count(none, "chart-unit") != 0 {
		t.Error("a unit where there is none")
	}
}

// TestPlotsBelowEachOther: charts that are given the same room have their plots
// from the same place on, unless a label needs more.
func TestPlotsBelowEachOther(t *testing.T) {
	left := func(high, room float64) float64 {
		b := &Bars{Frame: Frame{ID: "b", Title: "b", Left: room}, Labels: days(1), Series: []Series{{Values: []float64{high}}}}
		return plotOf(t, checkDrawing(t, b.SVG(Wide), true)).left
	}
	if a, b := left(3, 60), left(2500, 60); a != b || a != 60 {
		t.Errorf("plots begin at %v and %v", a, b)
	}
	if narrow, wide := left(3, 0), left(250_000, 0); narrow >= wide {
		t.Errorf("longer labels have no more room: %v, %v", narrow, wide)
	}
	if got := left(250_000_000, 5); got <= 5 {
		t.Errorf("labels of nine digits in %v px", got)
	}
	if got := left(1, 10_000); got > Wide.width*0.4+0.1 {
		t.Errorf("no room for the plot: it begins at %v", got)
	}
}

// TestBarsReadBack: what a reader takes from the drawing is what was put in, each
// bar in the slot of its label.
func TestBarsReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 31).Draw(t, "n")
		top := math.Pow(10, rapid.Float64Range(-1, 5).Draw(t, "exponent"))
		value := rapid.Float64Range(top/1000, top)
		lower, upper := rapid.SliceOfN(value, n, n).Draw(t, "lower"), rapid.SliceOfN(value, n, n).Draw(t, "upper")
		b := &Bars{Frame: Frame{ID: "b", Title: "b"}, Labels: days(n), Series: []Series{{"a", Plain, lower}, {"b", Slant, upper}}}
		for _, s := range sizes {
			all := checkDrawing(t, b.SVG(s), true)
			ys, values := axisOf(t, all)
			plot, bars := plotOf(t, all), []element{}
			for _, e := range all {
				if e.is("chart-bar") {
					bars = append(bars, e)
				}
			}
			if len(bars) != 2*n {
				t.Fatalf("%d bars for %d stacks of two", len(bars), n)
			}
			slack, slot := 0.25*perPixel(ys, values), (plot.right-plot.left)/float64(n)
			for i := range n {
				for k, want := range []float64{lower[i], lower[i] + upper[i]} {
					e := bars[2*i+k]
					if got := valueAt(ys, values, e.num(t, "y")); math.Abs(got-want) > slack {
						t.Fatalf("%s: bar %d reaches up to %v, want %v", s.name, i, got, want)
					}
					if x := e.num(t, "x") + e.num(t, "width")/2; math.Abs(x-plot.left-(float64(i)+0.5)*slot) > 0.2 {
						t.Fatalf("%s: bar %d of %d is at %v", s.name, i, n, x)
					}
				}
			}
		}
	})
}

// TestBarsOfUnknown: a place of which nothing is known is hatched from top to bottom
// and has no bar; one of nothing has neither; one series of two is enough to know.
func TestBarsOfUnknown(t *testing.T) {
	no := math.NaN()
	b := &Bars{Frame: Frame{ID: "b", Title: "b", Unit: "h"}, Labels: []string{"known", "nothing", "unknown", "half", "below"}, Unheard: "no figures",
		Series: []Series{{"a", Plain, []float64{4, 0, no, no, -2}}, {"b", Slant, []float64{1, 0, no, 2}}}}
	for _, s := range sizes {
		all := checkDrawing(t, b.SVG(s), true)
		plot := plotOf(t, all)
		tips := map[string]int{}
		for i, e := range all {
			if e.is("chart-bar") || e.is("chart-gap") {
				tips[all[i+1].text]++
			}
			if e.is("chart-gap") && (math.Abs(e.num(t, "y")-plot.top) > 0.1 || math.Abs(e.num(t, "height")-(plot.bottom-plot.top)) > 0.1) {
				t.Errorf("the gap is not as tall as the plot: %v", e.attr)
			}
		}
		want := map[string]int{"known: 5.00 h": 2, "unknown: no figures": 1, "half: 2.00 h": 1}
		if fmt.Sprint(tips) != fmt.Sprint(want) {
			t.Errorf("%s: %v, want %v", s.name, tips, want)
		}
		keys := 0
		for _, e := range all {
			if e.is("chart-word") && e.text == "no figures" {
				keys++
			}
		}
		if keys != 1 {
			t.Errorf("%s: the hatching is explained %d times", s.name, keys)
		}
	}
	b.Series = []Series{{"a", Plain, []float64{1, 2, 3, 4, 5}}}
	if all := checkDrawing(t, b.SVG(Wide), true); count(all, "chart-word") != 0 {
		t.Error("a legend where there is one series and nothing unknown")
	}
}

// TestTooLargeForItsAxis: a value beyond what is meant is drawn to the edge, an endless
// one as well, and the other bars keep their places.
func TestTooLargeForItsAxis(t *testing.T) {
	b := &Bars{Frame: Frame{ID: "b", Title: "b"}, Labels: days(3), Series: []Series{{Values: []float64{1e300, math.Inf(1), 1}}}}
	all := checkDrawing(t, b.SVG(Wide), true)
	plot, n := plotOf(t, all), 0
	for _, e := range all {
		if !e.is("chart-bar") {
			continue
		}
		if n < 2 && math.Abs(e.num(t, "height")-(plot.bottom-plot.top)) > 0.2 {
			t.Errorf("bar %d is %v high", n, e.num(t, "height"))
		}
		n++
	}
	if n != 3 {
		t.Errorf("%d bars", n)
	}
	tiny := &Bars{Frame: Frame{ID: "b", Title: "b"}, Labels: days(2), Series: []Series{{Values: []float64{2e-7, 1e-7}}}}
	checkDrawing(t, tiny.SVG(Wide), true)
}

// TestTimeStandsWhereItShould: the ticks of time and the marks lie at their share of
// the width, labels below their ticks unless that would run out of the drawing.
func TestTimeStandsWhereItShould(t *testing.T) {
	for _, span := range []time.Duration{40 * time.Minute, 3 * time.Hour, 24 * time.Hour, 30 * 24 * time.Hour} {
		tr := NewTrace(dawn, after(span), 100, 0, true)
		tr.Add(dawn, 5)
		tr.Close(after(span))
		c := &Time{Frame: Frame{ID: "t", Title: "t"}, From: dawn, To: after(span), Curves: []Curve{{Trace: tr}},
			Marks: []Mark{{after(span / 4), "quarter", false}, {after(span * 3 / 4), "three quarters", true}}}
		for _, s := range sizes {
			all := checkDrawing(t, c.SVG(s), true)
			plot, ticks := plotOf(t, all), TimeTicks(dawn, after(span), nil, int(plotOf(t, all).right-plotOf(t, all).left)/60, Locale{})
			at := func(when time.Time) float64 {
				return plot.left + float64(when.Sub(dawn))/float64(span)*(plot.right-plot.left)
			}
			var lines, marks []float64
			for _, e := range all {
				switch {
				case e.is("chart-tick"):
					lines = append(lines, e.num(t, "x1"))
				case e.is("chart-mark"):
					marks = append(marks, e.num(t, "x1"))
					if math.Abs(e.num(t, "y2")-plot.bottom) > 0.1 || e.num(t, "y1") >= plot.top {
						t.Errorf("a mark from %v to %v in a plot of %v", e.num(t, "y1"), e.num(t, "y2"), plot)
					}
				}
			}
			if len(lines) != len(ticks) || len(marks) != 2 {
				t.Fatalf("%v, %s: %d ticks for %d, %d marks", span, s.name, len(lines), len(ticks), len(marks))
			}
			for i, tick := range ticks {
				if math.Abs(lines[i]-at(tick.At)) > 0.11 {
					t.Errorf("%v, %s: %s stands at %v, want %v", span, s.name, tick.Label, lines[i], at(tick.At))
				}
			}
			for i, when := range []time.Time{after(span / 4), after(span * 3 / 4)} {
				if math.Abs(marks[i]-at(when)) > 0.11 {
					t.Errorf("%v, %s: mark %d at %v, want %v", span, s.name, i, marks[i], at(when))
				}
			}
			if count(all, "chart-dotted") != 1 {
				t.Errorf("%v, %s: %d dotted marks, want 1", span, s.name, count(all, "chart-dotted"))
			}
		}
	}
}
