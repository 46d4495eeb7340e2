package chart

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// anyValue is a number that a figure may have, or what a broken one may be.
func anyValue() *rapid.Generator[float64] {
	return rapid.OneOf(rapid.Float64Range(0, 3000), rapid.Float64Range(0, 0.01), rapid.Float64(), rapid.SampledFrom([]float64{0, 1, math.NaN(), math.Inf(1), math.Inf(-1)}))
}

// withWords is a frame whose words are of a language that may run from right to left.
func withWords(t *rapid.T) Frame {
	words := rapid.SampledFrom([]string{"kWh", "Std.", "كيلوواط ساعة", "heures", "", "min"})
	return Frame{ID: "any", Title: words.Draw(t, "title"), Unit: words.Draw(t, "unit")}
}

// TestAnyBars: whatever the values, every bar stands on the one below it, none
// leaves the plot, and each is as high as the axis says.
func TestAnyBars(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(0, 40).Draw(t, "labels")
		b := &Bars{Frame: withWords(t), Unheard: rapid.SampledFrom([]string{"no figures", "لا أرقام", ""}).Draw(t, "unheard")}
		for i := range n {
			b.Labels = append(b.Labels, fmt.Sprintf("%d مارس", i+1))
		}
		for k, p := range []Pattern{Plain, Slant, Dots}[:rapid.IntRange(1, 3).Draw(t, "series")] {
			b.Series = append(b.Series, Series{fmt.Sprint("s", k), p, rapid.SliceOfN(anyValue(), n, n).Draw(t, "values")})
		}
		for _, s := range sizes {
			all := checkDrawing(t, b.SVG(s), true)
			want := 0
			for _, series := range b.Series {
				for i, v := range series.Values {
					if _, known := b.sum(i); known && v > 0 {
						want++
					}
				}
			}
			if got := count(all, "chart-bar"); got != want {
				t.Fatalf("%s: %d bars for %d values above 0", s.name, got, want)
			}
			checkStacks(t, all)
		}
	})
}

// checkStacks: bars at one place touch, the lowest stands on the base.
func checkStacks(t failer, all []element) {
	t.Helper()
	floor := map[float64]float64{}
	bottom := plotOf(t, all).bottom
	for _, e := range all {
		if !e.is("chart-bar") {
			continue
		}
		x, foot := e.num(t, "x"), e.num(t, "y")+e.num(t, "height")
		want, stacked := floor[x]
		if !stacked {
			want = bottom
		}
		if math.Abs(foot-want) > 0.21 {
			t.Fatalf("a bar at %v stands at %v, want %v", x, foot, want)
		}
		floor[x] = e.num(t, "y")
	}
}

// TestBarsAreTrue: heights are to each other as the values are.
func TestBarsAreTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.Float64Range(1, 1000), 2, 31).Draw(t, "values")
		b := &Bars{Frame: Frame{ID: "b", Title: "b"}, Labels: days(len(values)), Series: []Series{{Values: values}}}
		all := checkDrawing(t, b.SVG(Wide), true)
		high, tall := NiceScale(0, maxOf(values), 5).High, plotOf(t, all).bottom-plotOf(t, all).top
		i := 0
		for _, e := range all {
			if e.is("chart-bar") {
				if got, want := e.num(t, "height"), values[i]/high*tall; math.Abs(got-want) > 0.11 {
					t.Fatalf("%v of %v is %v px high, want %v", values[i], high, got, want)
				}
				i++
			}
		}
	})
}

func maxOf(values []float64) float64 {
	high := math.Inf(-1)
	for _, v := range values {
		high = max(high, v)
	}
	return high
}

// TestTicksAreRound: each is a whole multiple of the step, which is 1, 2, 2.5 or 5
// times a power of ten (common practice, no source); they begin at or below the
// lowest value and reach the highest, and none is said twice.
func TestTicksAreRound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		low, high := 0.0, rapid.Float64Range(1e-3, 1e7).Draw(t, "high")
		if rapid.Bool().Draw(t, "below") {
			low = -rapid.Float64Range(0, 1e7).Draw(t, "low")
		}
		s := NiceScale(low, high, rapid.IntRange(2, 8).Draw(t, "about"))
		ticks := s.Ticks()
		if len(ticks) < 2 || ticks[0] > low+1e-6*(high-low) || ticks[len(ticks)-1] < high-1e-6*(high-low) {
			t.Fatalf("ticks %v do not cover %v to %v", ticks, low, high)
		}
		step := ticks[1] - ticks[0]
		lead := step / math.Pow(10, math.Floor(math.Log10(step)+1e-9))
		round := false
		for _, m := range []float64{1, 2, 2.5, 5, 10} {
			round = round || math.Abs(lead-m) < 1e-6
		}
		if !round {
			t.Fatalf("a step of %v", step)
		}
		said := map[string]bool{}
		for _, v := range ticks {
			if k := v / step; math.Abs(k-math.Round(k)) > 1e-6 {
				t.Fatalf("%v is no multiple of %v", v, step)
			}
			if text := s.label(v, Locale{}); said[text] {
				t.Fatalf("two ticks of %v are called %q", ticks, text)
			} else {
				said[text] = true
			}
		}
	})
}

// TestAnyHeat: a cell for each hour of the week, in rows and columns that do not
// overlap, whatever is known of it.
func TestAnyHeat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(anyValue(), 1, 9).Draw(t, "values")
		h := week(func(day, hour int) float64 { return values[(24*day+hour)%len(values)] })
		h.Frame, h.Unheard = withWords(t), "unknown"
		for _, s := range sizes {
			all := checkDrawing(t, h.SVG(s), false)
			places := map[string]bool{}
			for _, e := range all {
				if e.is("chart-cell") && e.num(t, "height") != 14 { // the legend's are 14 high
					places[e.attr["x"]+" "+e.attr["y"]] = true
				}
			}
			if len(places) != 7*24 {
				t.Fatalf("%s: cells at %d places", s.name, len(places))
			}
		}
	})
}

// TestOddDays: the axis of a day has its hours where they are: on the day on which
// summer time begins there is no tick at 02:00, on that on which it ends the hours
// are a 25th of the width apart (Directive 2000/84/EC, articles 2 and 3).
func TestOddDays(t *testing.T) {
	berlin := zoned(t, "Europe/Berlin")
	for day, hours := range map[string]float64{"2026-03-29": 23, "2026-10-25": 25, "2026-03-17": 24} {
		from, err := time.ParseInLocation(time.DateOnly, day, berlin)
		if err != nil {
			t.Fatal(err)
		}
		to := from.AddDate(0, 0, 1)
		if got := to.Sub(from).Hours(); got != hours {
			t.Fatalf("%s has %v hours", day, got)
		}
		tr := NewTrace(from, to, 1440, time.Hour, false)
		for at := from; !at.After(to); at = at.Add(10 * time.Minute) { // energy: 0.1 kWh an hour
			tr.Add(at, at.Sub(from).Hours()/10)
		}
		tr.Close(to)
		c := &Time{Frame: Frame{ID: "e", Title: "Energy", Unit: "kWh"}, From: from, To: to, Zone: berlin, Curves: []Curve{{Trace: tr}}}
		for _, s := range sizes {
			all := checkDrawing(t, c.SVG(s), true)
			plot := plotOf(t, all)
			for _, e := range all {
				if !e.is("chart-time") || !strings.HasSuffix(e.text, ":00") {
					continue
				}
				var clock int
				if _, err := fmt.Sscanf(e.text, "%d:00", &clock); err != nil || clock == 0 {
					continue
				}
				at := time.Date(from.Year(), from.Month(), from.Day(), clock, 0, 0, 0, berlin)
				if want := plot.left + at.Sub(from).Hours()/hours*(plot.right-plot.left); math.Abs(e.num(t, "x")-want) > 0.11 {
					t.Errorf("%s, %s: %s stands at %v, want %v", day, s.name, e.text, e.num(t, "x"), want)
				}
			}
			for _, e := range all { // a straight line to the whole day's energy
				if !e.is("chart-curve") {
					continue
				}
				corners := points(t, e.attr["d"])
				last, scale := corners[len(corners)-1], NiceScale(0, hours/10, 5)
				if want := plot.bottom - hours/10/scale.High*(plot.bottom-plot.top); math.Abs(last[1]-want) > 1 || math.Abs(last[0]-plot.right) > 2 {
					t.Errorf("%s, %s: the day ends at %v, want %v, %v", day, s.name, last, plot.right, want)
				}
			}
		}
	}
}

// TestNothingAndOne: charts of no value, of one, and of none that is a number are
// drawn, with axes.
func TestNothingAndOne(t *testing.T) {
	for name, values := range map[string][]float64{"none": nil, "one": {5}, "zero": {0}, "unknown": {math.NaN()}, "endless": {math.Inf(1)}, "below": {-3}} {
		f := Frame{ID: name, Title: name, Unit: "W"}
		tr := NewTrace(dawn, after(time.Hour), 10, 0, true)
		for i, v := range values {
			tr.Add(after(time.Duration(i)*time.Minute), v)
		}
		tr.Close(after(time.Hour))
		for _, s := range sizes {
			for _, svg := range []string{
				(&Bars{Frame: f, Labels: days(len(values)), Series: []Series{{"a", Plain, values}}, Unheard: "unknown"}).SVG(s),
				(&Control{Frame: f, Labels: days(len(values)), Dots: values, Lines: []ControlLine{{"a", values, false}}}).SVG(s),
				(&Time{Frame: f, From: dawn, To: after(time.Hour), Curves: []Curve{{Trace: tr}}, Gaps: tr.Gaps()}).SVG(s),
				(&Time{Frame: f, From: dawn, To: dawn, Curves: []Curve{{Trace: tr}}}).SVG(s),
			} {
				checkDrawing(t, svg, true)
			}
		}
	}
}

// TestPatterns: lines of each are so far apart as they are to be, so that an area
// is neither full nor empty; Plain, Dark and Empty have none.
func TestPatterns(t *testing.T) {
	for p, want := range map[Pattern]int{Slant: 16, Fall: 16, Upright: 16, Level: 12, Dots: 81, Unknown: 12, Plain: 0, Dark: 0, Empty: 0} {
		h := hatches[p]
		got := 0
		if h.lines != nil {
			got = strings.Count(h.lines(box{100, 200, 150, 250}, h.apart), "M")
		}
		if got < want-1 || got > want+1 {
			t.Errorf("%q has %d lines in 50 by 50 px, want about %d", p, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) { // what does not fit is left out
		x, y := rapid.Float64Range(0, 900).Draw(t, "x"), rapid.Float64Range(0, 400).Draw(t, "y")
		b := box{x, y, x + rapid.Float64Range(0, 300).Draw(t, "w"), y + rapid.Float64Range(0, 200).Draw(t, "h")}
		for _, p := range []Pattern{Slant, Fall, Upright, Level, Dots, Unknown} {
			for _, c := range points(t, hatches[p].lines(b, hatches[p].apart)) {
				if !area(b).holds(c[0], c[1]) {
					t.Fatalf("%s: %v outside of %v", p, c, b)
				}
			}
		}
	})
}
