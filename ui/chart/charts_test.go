package chart

import (
	"encoding/binary"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var sizes = []Size{Wide, Narrow}

func days(n int) []string {
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf("%d Mar", i+1))
	}
	return out
}

func week(v func(day, hour int) float64) *Heat {
	h := &Heat{Frame: Frame{ID: "week", Title: "A week", Unit: "cycles"}, Days: []string{"Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"}}
	for hour := range 24 {
		h.Hours = append(h.Hours, fmt.Sprintf("%02d", hour))
	}
	for day := range 7 {
		h.Values = append(h.Values, make([]float64, 24))
		for hour := range 24 {
			h.Values[day][hour] = v(day, hour)
		}
	}
	return h
}

func count(all []element, class string) (n int) {
	for _, e := range all {
		if e.is(class) {
			n++
		}
	}
	return n
}

// TestTimeChart: a cycle with its phases, marks that come close together, a gap.
func TestTimeChart(t *testing.T) {
	tr := NewTrace(dawn, after(90*time.Minute), 1000, 10*time.Minute, true)
	for s := 0; s < 5400; s += 10 {
		if s < 2000 || s > 3000 {
			tr.Add(after(time.Duration(s)*time.Second), float64(s%2200))
		}
	}
	tr.Close(after(90 * time.Minute))
	c := &Time{
		Frame: Frame{ID: "power", Title: "Power", Text: "of a <cycle>", Unit: "W"}, From: dawn, To: after(90 * time.Minute),
		Curves: []Curve{{Name: "watts", Trace: tr, Filled: true, Steps: true}}, Gaps: tr.Gaps(), Unheard: "not heard",
		Bands:   []Band{{dawn, after(20 * time.Minute), "heat", Dark, ""}, {after(20 * time.Minute), after(80 * time.Minute), "tumble", Slant, ""}},
		Marks:   []Mark{{dawn, "start 00:00", false}, {after(80 * time.Minute), "end 01:20", false}, {after(82 * time.Minute), "told 01:22", true}, {after(83 * time.Minute), "emptied 01:23", true}},
		Ribbons: []Ribbon{{"range", []Range{{dawn, 100, 900}, {after(30 * time.Minute), 50, math.Inf(1)}}, after(time.Hour)}},
	}
	for _, s := range sizes {
		all := checkDrawing(t, c.SVG(s), true)
		if count(all, "chart-gap") != 1 || count(all, "chart-band") != 2 || count(all, "chart-mark") != 4 {
			t.Errorf("%s: %d gaps, %d bands, %d marks", s.name, count(all, "chart-gap"), count(all, "chart-band"), count(all, "chart-mark"))
		}
		if s == Wide { // on a phone these three lines are too close for that
			checkLines(t, all)
		}
		checkEmpty(t, all)
	}
}

// checkLines: no line of a mark runs through a label.
func checkLines(t *testing.T, all []element) {
	t.Helper()
	for _, line := range all {
		if !line.is("chart-mark") {
			continue
		}
		for _, text := range all {
			b := area{}
			if text.tag == "text" {
				b = textBox(t, text)
			}
			if x := line.num(t, "x1"); text.is("chart-mark-word") && x > b.left && x < b.right && line.num(t, "y1") < b.bottom {
				t.Errorf("the line at %v runs through %q", x, text.text)
			}
		}
	}
}

// checkEmpty: nothing is drawn within a gap, above all no line at 0.
func checkEmpty(t *testing.T, all []element) {
	t.Helper()
	for _, gap := range all {
		if !gap.is("chart-gap") {
			continue
		}
		from, to := gap.num(t, "x"), gap.num(t, "x")+gap.num(t, "width")
		for _, e := range all {
			if !e.is("chart-curve") || e.tag != "path" {
				continue
			}
			for _, part := range strings.Split(e.attr["d"], "M")[1:] {
				corners := points(t, "M"+part)
				low, high := math.Inf(1), math.Inf(-1)
				for _, p := range corners {
					low, high = min(low, p[0]), max(high, p[0])
				}
				if low < from-2 && high > to+2 {
					t.Errorf("a curve from %v to %v crosses the gap from %v to %v", low, high, from, to)
				}
			}
		}
	}
}

// TestCurveIsTrue: the value that a drawn curve has at the end of a staircase
// is where the axis says.
func TestCurveIsTrue(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 600, 0, true)
	tr.Add(dawn, 1000)
	tr.Add(after(30*time.Minute), 500)
	tr.Close(after(time.Hour))
	c := &Time{Frame: Frame{ID: "a", Title: "a"}, From: dawn, To: after(time.Hour), Curves: []Curve{{Trace: tr, Steps: true}}}
	all := checkDrawing(t, c.SVG(Wide), true)
	plot := plotOf(t, all)
	for _, e := range all {
		if !e.is("chart-curve") {
			continue
		}
		corners := points(t, e.attr["d"])
		first, last := corners[0], corners[len(corners)-1]
		if math.Abs(first[1]-plot.top) > 0.2 || math.Abs(last[1]-(plot.top+plot.bottom)/2) > 0.2 {
			t.Errorf("from %v to %v in %v: want the top, then the middle", first, last, plot)
		}
		for _, p := range corners {
			if math.Abs(p[1]-plot.top) > 0.2 && p[0] < (plot.left+plot.right)/2-2 {
				t.Errorf("it falls at %v, before half time", p)
			}
		}
	}
}

func TestBars(t *testing.T) {
	run := []float64{3, 0, 8, math.NaN(), 5}
	b := &Bars{Frame: Frame{ID: "b", Title: "Hours", Unit: "h"}, Labels: days(5), Unheard: "no data",
		Series: []Series{{"running", Plain, run}, {"blocked", Slant, []float64{1, 2, 0, math.NaN(), 1}}}}
	for _, s := range sizes {
		all := checkDrawing(t, b.SVG(s), true)
		if got := count(all, "chart-bar"); got != 6 || count(all, "chart-gap") != 1 {
			t.Errorf("%s: %d bars and %d gaps, want 6 and 1", s.name, got, count(all, "chart-gap"))
		}
		plot := plotOf(t, all)
		tall := 0.0
		for _, e := range all {
			if e.is("chart-bar") {
				tall = max(tall, e.num(t, "height"))
			}
		}
		if want := plot.bottom - plot.top; math.Abs(tall-want) > 0.2 { // 8 of 8
			t.Errorf("the tallest is %v of %v", tall, want)
		}
	}
}

func TestHeat(t *testing.T) {
	h := week(func(day, hour int) float64 { return float64(day * hour) })
	h.Values[2][3] = math.NaN()
	h.Tip = func(day, hour int) string { return fmt.Sprint(day, hour) }
	for _, s := range sizes {
		all := checkDrawing(t, h.SVG(s), false)
		if got := count(all, "chart-cell"); got != 7*24+shades+1 {
			t.Errorf("%s: %d cells", s.name, got)
		}
		if count(all, "chart-in-cell") < 100 {
			t.Errorf("%s: only %d cells say their value: the rest tell by shade alone", s.name, count(all, "chart-in-cell"))
		}
	}
	for _, c := range []struct {
		v    float64
		want int
	}{{0, 0}, {-3, 0}, {math.NaN(), 0}, {0.1, 1}, {20, 1}, {21, 2}, {100, 5}} {
		if got := shadeOf(c.v, 100); got != c.want {
			t.Errorf("shade of %v is %d, want %d", c.v, got, c.want)
		}
	}
}

func TestControl(t *testing.T) {
	c := &Control{Frame: Frame{ID: "c", Title: "Drying time", Unit: "min"}, Labels: days(30), DotName: "a cycle", AlarmName: "outside its limits", Alarms: []int{28, 29, 40, -1}}
	var line, up []float64
	for i := range 30 {
		c.Dots, line, up = append(c.Dots, 50+float64(i%5)), append(line, 50+float64(i)/3), append(up, 58)
	}
	line[4] = math.NaN()
	c.Lines, c.Limits = []ControlLine{{Name: "mean", Values: line}}, []ControlLine{{Name: "limit", Values: up}}
	for _, s := range sizes {
		all := checkDrawing(t, c.SVG(s), true)
		if got := count(all, "chart-alarm"); got != 3 { // two, and the legend's
			t.Errorf("%s: %d alarms", s.name, got)
		}
		if got := count(all, "chart-dot-value"); got != 31 {
			t.Errorf("%s: %d dots", s.name, got)
		}
	}
}

// TestAnyTimeChart: whatever comes, every mark is in its place.
func TestAnyTimeChart(t *testing.T) {
	berlin := zoned(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		from := time.Unix(rapid.Int64Range(1.6e9, 1.9e9).Draw(t, "from"), 0)
		to := from.Add(time.Duration(rapid.IntRange(60, 40*86400).Draw(t, "seconds")) * time.Second)
		at := rapid.Custom(func(t *rapid.T) time.Time {
			return from.Add(time.Duration(rapid.Float64Range(-0.2, 1.2).Draw(t, "share") * float64(to.Sub(from))))
		})
		tr := NewTrace(from, to, rapid.IntRange(1, 1500).Draw(t, "columns"), time.Duration(rapid.IntRange(0, 7200).Draw(t, "hold"))*time.Second, rapid.Bool().Draw(t, "steps"))
		when := from.Add(-time.Minute)
		for range rapid.IntRange(0, 60).Draw(t, "readings") {
			when = when.Add(time.Duration(rapid.Float64Range(0, 0.1).Draw(t, "later") * float64(to.Sub(from))))
			tr.Add(when, rapid.OneOf(rapid.Float64Range(-5, 3000), rapid.Float64(), rapid.Just(math.NaN())).Draw(t, "watts"))
		}
		tr.Close(at.Draw(t, "now"))
		c := &Time{Frame: Frame{ID: "any", Title: "Any", Unit: rapid.SampledFrom([]string{"", "W", "kWh", "minutes left"}).Draw(t, "unit")}, From: from, To: to, Zone: berlin,
			Curves: []Curve{{Name: "power", Trace: tr, Filled: true, Steps: rapid.Bool().Draw(t, "drawn")}, {Name: "none"}}, Gaps: tr.Gaps(), Unheard: "not heard"}
		for range rapid.IntRange(0, 5).Draw(t, "marks") {
			c.Marks = append(c.Marks, Mark{at.Draw(t, "mark"), rapid.SampledFrom([]string{"start 14:02", "end 15:30", "now", "told 15:33"}).Draw(t, "text"), false})
		}
		for range rapid.IntRange(0, 4).Draw(t, "bands") {
			c.Bands = append(c.Bands, Band{at.Draw(t, "a"), at.Draw(t, "b"), rapid.SampledFrom([]string{"heat", "spin", "pause"}).Draw(t, "name"), Dots, ""})
		}
		for _, s := range sizes {
			checkDrawing(t, c.SVG(s), true)
		}
	})
}

// FuzzCharts feeds the other charts with arbitrary numbers, infinities and
// not-a-numbers among them, and arbitrary short words.
func FuzzCharts(f *testing.F) {
	f.Add([]byte{}, "")
	f.Add(bits(1), "kWh")
	f.Add(bits(math.NaN(), math.Inf(1), -1, 0, 5), "<&\"\x00\xff")
	f.Add(bits(1e300, -1e300, 1e-300, math.MaxFloat64), "€")
	f.Fuzz(func(t *testing.T, data []byte, word string) {
		if len([]rune(word)) > 12 {
			word = string([]rune(word)[:12])
		}
		word = strings.ToValidUTF8(word, "?")
		var v []float64
		for ; len(data) >= 8 && len(v) < 400; data = data[8:] {
			v = append(v, math.Float64frombits(binary.LittleEndian.Uint64(data)))
		}
		names := make([]string, len(v))
		for i := range names {
			names[i] = word
		}
		frame := Frame{ID: word, Title: word, Text: word, Unit: word}
		for _, s := range sizes {
			checkDrawing(t, (&Bars{Frame: frame, Labels: names, Series: []Series{{"a", Plain, v}, {"b", Dots, v}}, Unheard: word}).SVG(s), true)
			checkDrawing(t, (&Control{Frame: frame, Labels: names, Dots: v, DotName: "dot", Lines: []ControlLine{{"a", v, true}}, Limits: []ControlLine{{"b", v, false}}, Alarms: []int{0, 1}}).SVG(s), true)
			h := week(func(day, hour int) float64 { return math.NaN() })
			for i := range min(len(v), 168) {
				h.Values[i/24][i%24] = v[i]
			}
			h.Unit = word
			checkDrawing(t, h.SVG(s), false)
		}
	})
}

func bits(v ...float64) (out []byte) {
	for _, x := range v {
		out = binary.LittleEndian.AppendUint64(out, math.Float64bits(x))
	}
	return out
}

// TestDrawingsAreSmall: a day of readings each second is no long page.
func TestDrawingsAreSmall(t *testing.T) {
	tr := NewTrace(dawn, after(24*time.Hour), 1440, 10*time.Minute, true)
	for s := range 86400 {
		tr.Add(after(time.Duration(s)*time.Second), 1000+900*math.Sin(float64(s*s%997)))
	}
	c := &Time{Frame: Frame{ID: "day", Title: "Power", Unit: "W"}, From: dawn, To: after(24 * time.Hour), Curves: []Curve{{Trace: tr, Filled: true, Steps: true}}}
	if got := len(c.SVG(Wide)); got > 60_000 {
		t.Errorf("%d bytes", got)
	}
}

// BenchmarkDay is a day at a reading a second, from readings to both drawings.
func BenchmarkDay(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		tr := NewTrace(dawn, after(24*time.Hour), 1440, 10*time.Minute, true)
		for s := range 86400 {
			tr.Add(after(time.Duration(s)*time.Second), float64(s%2000))
		}
		c := &Time{Frame: Frame{ID: "day", Title: "Power", Unit: "W"}, From: dawn, To: after(24 * time.Hour), Curves: []Curve{{Trace: tr, Filled: true, Steps: true}}}
		_, _ = c.SVG(Wide), c.SVG(Narrow)
	}
}
