package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// linesOf are the lines of a class in a drawing of points, each in its stretches of
// corners, without the hair that makes a single point visible.
func linesOf(t failer, all []element, class string) (out [][][][2]float64) {
	t.Helper()
	for _, e := range all {
		if !e.is(class) || e.tag != "path" {
			continue
		}
		var line [][][2]float64
		for _, part := range strings.Split(strings.TrimSuffix(e.attr["d"], "h.1"), "M")[1:] {
			line = append(line, points(t, "M"+part))
		}
		out = append(out, line)
	}
	return out
}

// slotX is where point i of n stands: in the middle of its slot.
func slotX(plot area, i, n int) float64 {
	return plot.left + (float64(i)+0.5)/float64(n)*(plot.right-plot.left)
}

// TestControlReadBack: dots, lines and limits lie where the axis says that their
// values are, each point in the middle of its slot.
func TestControlReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 60).Draw(t, "n")
		middle := rapid.Float64Range(-500, 500).Draw(t, "middle")
		values := rapid.SliceOfN(rapid.Float64Range(middle-50, middle+50), n, n)
		c := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(n), Dots: values.Draw(t, "dots"),
			Lines:  []ControlLine{{Name: "mean", Values: values.Draw(t, "line")}},
			Limits: []ControlLine{{Name: "limit", Values: values.Draw(t, "upper")}, {Values: values.Draw(t, "lower")}}}
		for _, s := range sizes {
			all := checkDrawing(t, c.SVG(s), true)
			plot := plotOf(t, all)
			ys, labels := axisOf(t, all)
			slack := 0.25 * perPixel(ys, labels)
			check := func(what string, i int, x, y, want float64) {
				if got := valueAt(ys, labels, y); math.Abs(got-want) > slack || math.Abs(x-slotX(plot, i, n)) > 0.11 {
					t.Fatalf("%s: %s %d is %v at %v, want %v at %v", s.name, what, i, got, x, want, slotX(plot, i, n))
				}
			}
			i := 0
			for _, e := range all {
				if e.is("chart-dot-value") {
					check("dot", i, e.num(t, "cx"), e.num(t, "cy"), c.Dots[i])
					i++
				}
			}
			if i != n {
				t.Fatalf("%d dots for %d values", i, n)
			}
			drawn := append(linesOf(t, all, "chart-curve"), linesOf(t, all, "chart-limit")...)
			wanted := [][]float64{c.Lines[0].Values, c.Limits[0].Values, c.Limits[1].Values}
			if len(drawn) != len(wanted) {
				t.Fatalf("%d lines, want %d", len(drawn), len(wanted))
			}
			for k, line := range drawn {
				if len(line) != 1 || len(line[0]) != n {
					t.Fatalf("line %d has %d stretches", k, len(line))
				}
				for i, p := range line[0] {
					check("point", i, p[0], p[1], wanted[k][i])
				}
			}
		}
	})
}

// TestLinesBreakAtUnknown: what is no number is neither drawn nor bridged.
func TestLinesBreakAtUnknown(t *testing.T) {
	no, endless := math.NaN(), math.Inf(1)
	for _, c := range []struct {
		values []float64
		want   []int // points in each stretch
	}{
		{[]float64{1, 2, 3}, []int{3}},
		{[]float64{1, no, 3}, []int{1, 1}},
		{[]float64{no, 2, 3, endless, -endless, 6, 7}, []int{2, 2}},
		{[]float64{1, 2, no}, []int{2}},
		{[]float64{5}, []int{1}},
		{[]float64{no, no}, nil},
		{nil, nil},
		{[]float64{1, 2, 3, 4, 5, 6, 7, 8, 9}, []int{7}}, // of seven labels
	} {
		chart := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(7), Dots: c.values, Lines: []ControlLine{{Name: "a", Values: c.values}}}
		all := checkDrawing(t, chart.SVG(Wide), true)
		var got []int
		dots := 0
		for _, line := range linesOf(t, all, "chart-curve") {
			for _, stretch := range line {
				got = append(got, len(stretch))
			}
		}
		for _, n := range c.want {
			dots += n
		}
		if !slices.Equal(got, c.want) || count(all, "chart-dot-value") != dots {
			t.Errorf("%v: stretches of %v and %d dots, want %v", c.values, got, count(all, "chart-dot-value"), c.want)
		}
	}
}

// TestASinglePointIsSeen: a line of one point has a length.
func TestASinglePointIsSeen(t *testing.T) {
	c := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(3), Lines: []ControlLine{{Name: "a", Values: []float64{math.NaN(), 4}}}}
	if svg := c.SVG(Wide); !strings.Contains(svg, "h.1") {
		t.Error("a point alone has no length")
	}
}

// TestAlarmsStandOnTheirLine: on the first line that has a value there, else on the
// dot; one of no point, or of nothing known, is nowhere.
func TestAlarmsStandOnTheirLine(t *testing.T) {
	no := math.NaN()
	c := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(5), Dots: []float64{10, 20, 30, no, math.Inf(1)},
		Lines: []ControlLine{{Name: "a", Values: []float64{40, no, no, no}}, {Name: "b", Values: []float64{50, 60, no, no}}},
		Tip:   func(i int) string { return fmt.Sprint("point ", i) }, AlarmName: "outside"}
	for i, want := range []float64{40, 60, 30, no, no} {
		c.Alarms = []int{i}
		all := checkDrawing(t, c.SVG(Wide), true)
		ys, values := axisOf(t, all)
		plot, found := plotOf(t, all), 0
		for k, e := range all {
			if !e.is("chart-alarm") || k+1 >= len(all) || all[k+1].tag != "title" {
				continue // the legend's has no tip
			}
			found++
			top := points(t, strings.Split(e.attr["d"], "l")[0])[0]
			if got := valueAt(ys, values, top[1]+6); math.Abs(got-want) > 0.3*perPixel(ys, values) || math.Abs(top[0]-slotX(plot, i, 5)) > 0.11 {
				t.Errorf("the alarm of point %d is at %v, want %v", i, got, want)
			}
			if all[k+1].text != fmt.Sprint("point ", i) {
				t.Errorf("the alarm of point %d says %q", i, all[k+1].text)
			}
		}
		if (found == 1) == math.IsNaN(want) {
			t.Errorf("%d alarms at point %d", found, i)
		}
	}
	c.Alarms = []int{-1, 5, 1000, math.MaxInt}
	if all := checkDrawing(t, c.SVG(Wide), true); count(all, "chart-alarm") != 1 { // that of the legend
		t.Errorf("%d alarms of points that are none", count(all, "chart-alarm"))
	}
}

// TestControlsScale: it covers whatever is drawn, and begins at 0 only when that is asked for.
func TestControlsScale(t *testing.T) {
	few := ControlLine{Values: []float64{52, 54}}
	for name, c := range map[string]struct {
		chart    Control
		low, top float64
	}{
		"dots":      {Control{Dots: []float64{50, 58}}, 50, 58},
		"a line":    {Control{Dots: []float64{52}, Lines: []ControlLine{few, {Values: []float64{40}}}}, 40, 54},
		"limits":    {Control{Lines: []ControlLine{few}, Limits: []ControlLine{{Values: []float64{70}}}}, 52, 70},
		"from zero": {Control{Dots: []float64{50, 58}, FromZero: true}, 0, 58},
		"below":     {Control{Dots: []float64{-5, 58}, FromZero: true}, -5, 58},
		"nothing":   {Control{}, 0, 1},
		"unknown":   {Control{Dots: []float64{math.NaN(), math.Inf(1), math.Inf(-1)}}, 0, 1},
		"too large": {Control{Dots: []float64{0, 1e300}}, 0, biggest},
	} {
		s := c.chart.scale()
		if s.Low > c.low || s.High < c.top || s.Low < c.low-s.Step || s.High > c.top+s.Step {
			t.Errorf("%s: %+v for %v to %v", name, s, c.low, c.top)
		}
	}
	if s := (&Control{Dots: []float64{50, 58}}).scale(); s.Low == 0 {
		t.Error("a chart of changes begins at 0: they would not be seen")
	}
}

// TestControlsLegend: what is drawn is explained, in its order and its own stroke;
// what has no name is not.
func TestControlsLegend(t *testing.T) {
	one := []float64{1}
	c := &Control{Frame: Frame{ID: "c", Title: "c"}, Labels: days(1), Dots: one, DotName: "a cycle", AlarmName: "outside",
		Lines: []ControlLine{{Name: "median", Values: one}, {Name: "95 %", Values: one, Dashed: true}}, Limits: []ControlLine{{Name: "limits", Values: one}, {Values: one}}}
	words := func() (out []string) {
		for _, e := range checkDrawing(t, c.SVG(Wide), true) {
			if e.is("chart-word") {
				out = append(out, e.text)
			}
		}
		return out
	}
	if got, want := words(), []string{"a cycle", "median", "95 %", "limits"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	c.Alarms = []int{0}
	if got, want := words(), []string{"a cycle", "median", "95 %", "limits", "outside"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	dashed := map[string]int{}
	for _, e := range checkDrawing(t, c.SVG(Wide), true) {
		if e.is("chart-dashed") {
			dashed[e.tag]++
		}
	}
	if dashed["path"] != 1 || dashed["line"] != 1 {
		t.Errorf("dashed: %v, want the line and its key", dashed)
	}
	c.DotName, c.Lines, c.Limits, c.Alarms = "", nil, nil, nil
	if got := words(); got != nil {
		t.Errorf("explained without a name: %q", got)
	}
}

// TestHeightsAreAsAsked: a chart's plot is as tall as was asked for, or as its size is.
func TestHeightsAreAsAsked(t *testing.T) {
	tr := NewTrace(dawn, after(3600e9), 10, 0, true)
	tall := func(svg string) float64 {
		plot := plotOf(t, checkDrawing(t, svg, true))
		return plot.bottom - plot.top
	}
	for _, s := range sizes {
		for _, want := range []float64{0, 120} {
			h := want
			if want == 0 {
				want = s.height
			}
			for name, svg := range map[string]string{
				"bars":    (&Bars{Frame: Frame{ID: "a", Title: "a"}, Labels: days(2), Series: []Series{{Values: []float64{1, 2}}}, Height: h}).SVG(s),
				"control": (&Control{Frame: Frame{ID: "a", Title: "a"}, Labels: days(2), Dots: []float64{1, 2}, Height: h}).SVG(s),
				"time":    (&Time{Frame: Frame{ID: "a", Title: "a"}, From: dawn, To: after(3600e9), Curves: []Curve{{Trace: tr}}, Height: h}).SVG(s),
			} {
				if got := tall(svg); math.Abs(got-want) > 0.1 {
					t.Errorf("%s, %s: %v px, want %v", name, s.name, got, want)
				}
			}
		}
	}
}
