package chart

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// nasty is a name that would break out of an attribute, an element or a script.
const nasty = `</title><script>alert("1")</script> & 'x' "y" <!-- ]]>`

// TestNamesAreEscaped: whatever is named comes out as text, as it was written, and
// makes no element and no attribute of its own.
func TestNamesAreEscaped(t *testing.T) {
	f := Frame{ID: "a", Title: nasty, Text: nasty, Unit: nasty[:20]}
	tr := NewTrace(dawn, after(time.Hour), 60, time.Minute, true)
	tr.Add(after(30*time.Minute), 5)
	tr.Close(after(time.Hour))
	tip := func(int) string { return nasty }
	drawings := map[string]interface{ SVG(Size) string }{
		"bars": &Bars{Frame: f, Labels: []string{nasty, "b"}, Unheard: nasty, Tip: tip,
			Series: []Series{{nasty, Plain, []float64{1, math.NaN()}}, {nasty, Slant, []float64{1, math.NaN()}}}},
		"control": &Control{Frame: f, Labels: []string{nasty}, Dots: []float64{1}, DotName: nasty, Alarms: []int{0}, AlarmName: nasty, Tip: tip,
			Lines: []ControlLine{{Name: nasty, Values: []float64{1}}}, Limits: []ControlLine{{Name: nasty, Values: []float64{2}}}},
		"time": &Time{Frame: f, From: dawn, To: after(time.Hour), Curves: []Curve{{Name: nasty, Trace: tr}}, Gaps: tr.Gaps(), Unheard: nasty,
			Bands: []Band{{dawn, after(time.Minute * 30), nasty, Slant, nasty}}, Marks: []Mark{{after(time.Minute), nasty, false}},
			Ribbons: []Ribbon{{nasty, []Range{{dawn, 1, 2}}, after(time.Hour)}}},
		"heat": &Heat{Frame: f, Days: []string{nasty}, Hours: []string{nasty}, Values: [][]float64{{1}},
			Cell: func(float64) string { return "<b>" }, Tip: func(int, int) string { return nasty }},
	}
	known := []string{"svg", "title", "desc", "text", "line", "rect", "path", "circle"}
	for name, d := range drawings {
		for _, s := range sizes {
			found := 0
			for _, e := range parse(t, d.SVG(s)) {
				if !slices.Contains(known, e.tag) {
					t.Errorf("%s, %s: an element %s", name, s.name, e.tag)
				}
				for attr := range e.attr {
					if strings.HasPrefix(attr, "on") || attr == "href" || attr == "style" {
						t.Errorf("%s, %s: an attribute %s", name, s.name, attr)
					}
				}
				if e.text == nasty {
					found++
				}
			}
			if found < 3 {
				t.Errorf("%s, %s: the name is said %d times as it was written", name, s.name, found)
			}
		}
	}
}

// TestWhatXMLCannotHold is left out: control characters and halves of letters.
func TestWhatXMLCannotHold(t *testing.T) {
	for in, want := range map[string]string{
		"plain": "plain", "a\x00b\x08c\x1f": "abc", "tab\tand\nline": "tab\tand\nline", "\ufffe\uffff!": "!", "half \xc3": "half \uFFFD", "غسالة": "غسالة", "": "",
	} {
		if got := clean(in); got != want {
			t.Errorf("%q becomes %q, want %q", in, got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		name := string(rapid.SliceOfN(rapid.Byte(), 0, 12).Draw(t, "name"))
		b := &Bars{Frame: Frame{ID: name, Title: name}, Labels: []string{name}, Series: []Series{{Values: []float64{1}}}}
		parse(t, b.SVG(Wide))
	})
}

// TestNoTwoAreCalledTheSame: charts of a page, and the two sizes of each, have
// identifiers of their own, of letters that an address can hold.
func TestNoTwoAreCalledTheSame(t *testing.T) {
	seen := map[string]bool{}
	for _, id := range []string{"cycles", "cycles-2", "Energy in kWh", "<script>"} {
		for _, s := range sizes {
			for _, e := range checkDrawing(t, (&Bars{Frame: Frame{ID: id, Title: "t", Text: "more"}}).SVG(s), true) {
				of := e.attr["id"]
				if of == "" {
					continue
				}
				if seen[of] || strings.Trim(of, "abcdefghijklmnopqrstuvwxyz0123456789-") != "" {
					t.Errorf("%s, %s: %q twice, or not plain", id, s.name, of)
				}
				seen[of] = true
			}
		}
	}
	if len(seen) != 4*2*2 {
		t.Errorf("%d names: a title and a text for each of 8 drawings", len(seen))
	}
}

// TestWhoCannotSee is told the title, and the text where there is one.
func TestWhoCannotSee(t *testing.T) {
	for text, want := range map[string]int{"": 1, "more of it": 2} {
		all := checkDrawing(t, (&Bars{Frame: Frame{ID: "a", Title: "Cycles", Text: text}}).SVG(Wide), true)
		labels := strings.Fields(all[0].attr["aria-labelledby"])
		if len(labels) != want || all[1].tag != "title" || all[1].text != "Cycles" || all[1].attr["id"] != labels[0] {
			t.Errorf("%q: labelled by %v, first %v", text, labels, all[1])
		}
		if want == 2 && (all[2].tag != "desc" || all[2].text != text || all[2].attr["id"] != labels[1]) {
			t.Errorf("the text: %v", all[2])
		}
	}
}

// TestLabelsBelow: the first is always there, then every so manieth, as few left out
// as keep them apart; a single long one stays within the drawing.
func TestLabelsBelow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 120).Draw(t, "n")
		letters := rapid.IntRange(3, 12).Draw(t, "letters")
		c := &Control{Frame: Frame{ID: "c", Title: "c"}, Dots: make([]float64, n)}
		for i := range n {
			c.Labels = append(c.Labels, fmt.Sprintf("%0*d", letters, i))
		}
		for _, s := range sizes {
			var got []element
			for _, e := range checkDrawing(t, c.SVG(s), true) {
				if e.is("chart-time") {
					got = append(got, e)
				}
			}
			if len(got) == 0 || got[0].text != c.Labels[0] {
				t.Fatalf("%d labels, the first is not there", len(got))
			}
			every := n
			if len(got) > 1 {
				every = slices.Index(c.Labels, got[1].text)
			}
			if len(got) != (n+every-1)/every {
				t.Fatalf("%d labels of %d, every %d", len(got), n, every)
			}
			for i, e := range got {
				if e.text != c.Labels[i*every] {
					t.Fatalf("label %d of every %d is %q", i, every, e.text)
				}
			}
			// One more between each two would not have fitted, even where those at the edges are pushed in.
			if every > 1 {
				slot := (s.width * 0.99) / float64(n)
				if room := slot * float64(every-1); room > 1.6*textWidth(c.Labels[0])+space+slot {
					t.Fatalf("%s: every %d of %d labels of %d letters, though %v px would do", s.name, every, n, letters, room)
				}
			}
		}
	})
}

// TestLegendsFitTheirWidth: as many entries in a line as fit, in their order, and none
// beyond the drawing unless it is longer than that by itself.
func TestLegendsFitTheirWidth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var keys []key
		for range rapid.IntRange(0, 12).Draw(t, "keys") {
			keys = append(keys, key{text: strings.Repeat("w", rapid.IntRange(1, 30).Draw(t, "letters"))})
		}
		d := &drawing{f: &Frame{}, width: rapid.SampledFrom([]float64{380, 840}).Draw(t, "width")}
		var flat []key
		taken := func(k key) float64 { return swatch + space + textWidth(k.text) + 3*space }
		for i, row := range d.rows(keys) {
			x := 0.0
			for _, k := range row {
				x += taken(k)
			}
			if len(row) == 0 || x > d.width && len(row) > 1 {
				t.Fatalf("line %d of %d entries is %v px wide", i, len(row), x)
			}
			if i > 0 {
				before := 0.0
				for _, k := range d.rows(keys)[i-1] {
					before += taken(k)
				}
				if before+taken(row[0]) <= d.width {
					t.Fatalf("line %d begins though its first entry fits the one before", i)
				}
			}
			flat = append(flat, row...)
		}
		if len(flat) != len(keys) {
			t.Fatalf("%d entries of %d", len(flat), len(keys))
		}
		for i := range keys {
			if flat[i].text != keys[i].text {
				t.Fatalf("entry %d is another", i)
			}
		}
	})
}

// TestKeysOfTime: curves and ribbons are explained when there are several, each name
// of a band once, and what was not heard only where something was not.
func TestKeysOfTime(t *testing.T) {
	tr := NewTrace(dawn, after(time.Hour), 10, 0, true)
	tr.Add(dawn, 1)
	band := func(name string) Band { return Band{dawn, after(time.Hour), name, Slant, ""} }
	for name, c := range map[string]struct {
		chart Time
		want  []string
	}{
		"one curve":       {Time{Curves: []Curve{{Name: "power", Trace: tr}}}, nil},
		"two":             {Time{Curves: []Curve{{Name: "power", Trace: tr}, {Name: "usual", Trace: tr, Dashed: true}}}, []string{"power", "usual"}},
		"with a ribbon":   {Time{Curves: []Curve{{Name: "left", Trace: tr}}, Ribbons: []Ribbon{{"likely", []Range{{dawn, 0, 1}}, after(time.Hour)}}}, []string{"left", "likely"}},
		"bands":           {Time{Bands: []Band{band("heat"), band("spin"), band("heat")}}, []string{"heat", "spin"}},
		"gaps":            {Time{Gaps: []Gap{{dawn, after(time.Hour)}}, Unheard: "not heard"}, []string{"not heard"}},
		"no gaps":         {Time{Unheard: "not heard"}, nil},
		"without a word":  {Time{Gaps: []Gap{{dawn, after(time.Hour)}}}, nil},
		"all of them, so": {Time{Curves: []Curve{{Name: "a", Trace: tr}, {Name: "b", Trace: tr}}, Bands: []Band{band("c")}, Gaps: []Gap{{dawn, after(time.Hour)}}, Unheard: "d"}, []string{"a", "b", "c", "d"}},
	} {
		c.chart.Frame, c.chart.From, c.chart.To = Frame{ID: "a", Title: "a"}, dawn, after(time.Hour)
		var got []string
		for _, e := range checkDrawing(t, c.chart.SVG(Wide), true) {
			if e.is("chart-word") {
				got = append(got, e.text)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
}

// TestRibbonsAndBands lie over their time, and a ribbon between its bounds: each
// value holds until the next (worked by hand: of two hours and 0 to 10).
func TestRibbonsAndBands(t *testing.T) {
	c := &Time{Frame: Frame{ID: "a", Title: "a"}, From: dawn, To: after(2 * time.Hour), Least: 10,
		Ribbons: []Ribbon{{"likely", []Range{{dawn, 2, 8}, {after(time.Hour), 4, 6}}, after(90 * time.Minute)}},
		Bands:   []Band{{after(30 * time.Minute), after(time.Hour), "heat", Dark, ""}, {after(-time.Hour), after(30 * time.Minute), "fill", Dots, "a tip"}, {after(3 * time.Hour), after(4 * time.Hour), "late", Plain, ""}}}
	for _, s := range sizes {
		all := checkDrawing(t, c.SVG(s), true)
		plot := plotOf(t, all)
		x := func(share float64) float64 { return plot.left + share*(plot.right-plot.left) }
		y := func(v float64) float64 { return plot.bottom - v/10*(plot.bottom-plot.top) }
		want := [][2]float64{{x(0), y(8)}, {x(.5), y(8)}, {x(.5), y(6)}, {x(.75), y(6)}, {x(.75), y(4)}, {x(.5), y(4)}, {x(.5), y(2)}, {x(0), y(2)}}
		var bands []element
		var tips []string
		for i, e := range all {
			if e.is("chart-ribbon") && e.tag == "path" {
				got := points(t, e.attr["d"])
				for k := range want {
					if k >= len(got) || math.Abs(got[k][0]-want[k][0]) > 0.11 || math.Abs(got[k][1]-want[k][1]) > 0.11 {
						t.Errorf("%s: the ribbon's corners %v, want %v", s.name, got, want)
						break
					}
				}
			}
			if e.is("chart-band") {
				bands, tips = append(bands, e), append(tips, all[i+1].text)
			}
		}
		if len(bands) != 2 || !slices.Equal(tips, []string{"heat: 00:30–01:00", "a tip"}) {
			t.Fatalf("%s: %d bands, tips %q", s.name, len(bands), tips)
		}
		for k, share := range [][2]float64{{.25, .5}, {0, .25}} {
			from, width := bands[k].num(t, "x"), bands[k].num(t, "width")
			if math.Abs(from-x(share[0])) > 0.11 || math.Abs(from+width-x(share[1])) > 0.2 || bands[k].num(t, "y") <= plot.bottom {
				t.Errorf("%s: band %d from %v, %v wide", s.name, k, from, width)
			}
		}
	}
}

// TestGapsSayWhatTheyAre, where there is room for it, and always in their tip.
func TestGapsSayWhatTheyAre(t *testing.T) {
	berlin := zoned(t, "Europe/Berlin")
	c := &Time{Frame: Frame{ID: "a", Title: "a"}, From: dawn, To: after(10 * time.Hour), Zone: berlin, Unheard: "not heard",
		Gaps: []Gap{{after(time.Hour), after(5 * time.Hour)}, {after(6 * time.Hour), after(6*time.Hour + time.Minute)}, {after(8 * time.Hour), after(8 * time.Hour)}, {after(11 * time.Hour), after(12 * time.Hour)}}}
	for _, s := range sizes {
		all := checkDrawing(t, c.SVG(s), true)
		var tips []string
		for i, e := range all {
			if e.is("chart-gap") {
				tips = append(tips, all[i+1].text)
			}
		}
		if want := []string{"not heard: 02:00–06:00", "not heard: 07:00–07:01"}; !slices.Equal(tips, want) { // an hour ahead of UTC in March (from memory)
			t.Errorf("%s: %q, want %q", s.name, tips, want)
		}
		if got := count(all, "chart-unheard"); got != 1 {
			t.Errorf("%s: said in %d gaps, want only the long one", s.name, got)
		}
	}
}

// TestHowManyLabelsAreLeftOut: none where they have room, every second where half of
// them do (worked by hand: three letters of 8 px and 6 px between them are 30 px).
func TestHowManyLabelsAreLeftOut(t *testing.T) {
	for apart, want := range map[float64]int{31: 10, 16: 5, 11: 4, 8: 3} {
		d := &drawing{f: &Frame{}, width: 1000}
		var spots []spot
		for i := range 10 {
			spots = append(spots, spot{100 + float64(i)*apart, "abc"})
		}
		d.below(20, "chart-time", spots)
		if got := strings.Count(d.String(), "<text"); got != want {
			t.Errorf("%v px apart: %d labels, want %d", apart, got, want)
		}
	}
}

// TestMarksKeepTheirDistance: names of marks in one lane stand as far apart as words do.
func TestMarksKeepTheirDistance(t *testing.T) {
	for minutes := 1; minutes < 30; minutes++ {
		c := &Time{From: dawn, To: after(2 * time.Hour), Marks: []Mark{{after(40 * time.Minute), "end 00:40", false}, {after(time.Duration(40+minutes) * time.Minute), "told 00:50", true}}}
		all, _ := c.place(box{50, 50, 800, 300}, 840)
		for i, p := range all {
			for _, o := range all[:i] {
				if p.lane == o.lane && p.left < o.right+space && o.left < p.right+space {
					t.Errorf("%d minutes apart: %v to %v beside %v to %v", minutes, p.left, p.right, o.left, o.right)
				}
			}
		}
	}
}
