package chart

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// heatCell is a cell as drawn: its shade, -1 for unknown, and what is written in it.
type heatCell struct {
	x, y  float64
	shade int
	text  string
	dark  bool // the text is light, on dark
}

// cellsOf are the cells of a drawing, those of its legend left out.
func cellsOf(t failer, all []element) (out []heatCell) {
	t.Helper()
	for i, e := range all {
		if !e.is("chart-cell") || e.num(t, "width") == swatch && e.num(t, "height") == 14 {
			continue
		}
		c := heatCell{x: e.num(t, "x"), y: e.num(t, "y"), shade: -1}
		for _, class := range strings.Fields(e.attr["class"]) {
			if n, found := strings.CutPrefix(class, "chart-shade-"); found {
				c.shade, _ = strconv.Atoi(n)
			}
		}
		for _, next := range all[i+1:] { // its text, if it has one, is before the next cell
			if next.is("chart-cell") {
				break
			}
			if next.is("chart-in-cell") {
				c.text, c.dark = next.text, next.is("chart-on-dark")
				w, h := e.num(t, "width"), e.num(t, "height")
				if math.Abs(next.num(t, "x")-c.x-w/2) > 0.2 || next.num(t, "y") < c.y || next.num(t, "y") > c.y+h {
					t.Fatalf("%q is not in the middle of its cell", next.text)
				}
			}
		}
		out = append(out, c)
	}
	return out
}

// at is where the cell of a day and hour comes in the drawing: days down on wide
// screens, across on narrow ones.
func cellIndex(s Size, day, hour int) int {
	if s == Narrow {
		return hour*7 + day
	}
	return day*24 + hour
}

// TestHeatLiesAsItsNames: each cell is beside the name of its day and below that of
// its hour; turned round on a narrow screen.
func TestHeatLiesAsItsNames(t *testing.T) {
	h := week(func(day, hour int) float64 { return float64(1 + day*24 + hour) })
	for _, s := range sizes {
		cells := cellsOf(t, checkDrawing(t, h.SVG(s), false))
		if len(cells) != 7*24 {
			t.Fatalf("%s: %d cells", s.name, len(cells))
		}
		for day := range 7 {
			for hour := range 24 {
				c := cells[cellIndex(s, day, hour)]
				if want := strconv.Itoa(1 + day*24 + hour); c.text != want && c.text != "" {
					t.Fatalf("%s: day %d, hour %d says %q, want %q", s.name, day, hour, c.text, want)
				}
				along, down := c.x, c.y
				if s == Narrow {
					along, down = down, along
				}
				if hour > 0 {
					was := cells[cellIndex(s, day, hour-1)]
					if before := map[bool]float64{false: was.x, true: was.y}[s == Narrow]; along <= before {
						t.Fatalf("%s: hour %d is not behind the one before", s.name, hour)
					}
				}
				if day > 0 {
					was := cells[cellIndex(s, day-1, hour)]
					if before := map[bool]float64{false: was.y, true: was.x}[s == Narrow]; down <= before {
						t.Fatalf("%s: day %d is not behind the one before", s.name, day)
					}
				}
			}
		}
	}
}

// TestShadesAreEvenSteps: a fifth of the most to each; a value at a bound has the
// shade below it, as the legend's "at most" says (worked by hand).
func TestShadesAreEvenSteps(t *testing.T) {
	for _, most := range []float64{1, 5, 7.3, 100, 1e6} {
		for i := 1; i <= shades; i++ {
			bound := most * float64(i) / shades
			if got := shadeOf(bound*(1-1e-9), most); got != i {
				t.Errorf("%v of %v has shade %d, want %d", bound, most, got, i)
			}
			if i < shades {
				if got := shadeOf(bound*1.001, most); got != i+1 {
					t.Errorf("just over %v of %v has shade %d, want %d", bound, most, got, i+1)
				}
			}
		}
		if got := shadeOf(most, most); got != shades {
			t.Errorf("the most, %v, has shade %d", most, got)
		}
		if got := shadeOf(most/1e6, most); got != 1 {
			t.Errorf("a little of %v has shade %d, want 1: it is not nothing", most, got)
		}
	}
	for v, want := range map[float64]int{0: 0, -1: 0, math.Inf(-1): 0, math.Inf(1): shades, 1e300: shades} {
		if got := shadeOf(v, 10); got != want {
			t.Errorf("%v of 10 has shade %d, want %d", v, got, want)
		}
	}
	if shadeOf(1, 0) != 0 || shadeOf(math.NaN(), 10) != 0 || shadeOf(3, -1) != 0 {
		t.Error("a shade of nothing, or of no number")
	}
}

// TestDarkerIsMore: of any two cells the one with the higher value is at least as
// dark; unknown ones are hatched and say nothing; nothing is the lightest, and only it.
func TestDarkerIsMore(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.OneOf(rapid.Float64Range(0, 30), rapid.Just(0.0), rapid.Just(math.NaN())), 7*24, 7*24).Draw(t, "values")
		h := week(func(day, hour int) float64 { return values[day*24+hour] })
		h.Unheard = "unknown"
		for _, s := range sizes {
			cells := cellsOf(t, checkDrawing(t, h.SVG(s), false))
			type known struct {
				v     float64
				shade int
			}
			var all []known
			for day := range 7 {
				for hour := range 24 {
					v, c := values[day*24+hour], cells[cellIndex(s, day, hour)]
					if math.IsNaN(v) {
						if c.shade != -1 || c.text != "" {
							t.Fatalf("an unknown hour has shade %d and says %q", c.shade, c.text)
						}
						continue
					}
					if (c.shade == 0) != (v == 0) {
						t.Fatalf("%v has shade %d", v, c.shade)
					}
					if v == 0 && c.text != "" {
						t.Fatalf("nothing is written as %q", c.text)
					}
					if c.dark != (c.text != "" && c.shade >= shades-1) {
						t.Fatalf("shade %d has light text: %v", c.shade, c.dark)
					}
					all = append(all, known{v, c.shade})
				}
			}
			slices.SortFunc(all, func(a, b known) int { return a.shade - b.shade })
			for i := 1; i < len(all); i++ {
				if all[i].shade > all[i-1].shade && all[i].v <= all[i-1].v {
					t.Fatalf("%v is darker than %v", all[i], all[i-1])
				}
			}
		}
	})
}

// TestHeatsLegend: as many steps as there are shades, the last of them the most, with
// the unit; none where there is nothing.
func TestHeatsLegend(t *testing.T) {
	h := week(func(day, hour int) float64 { return float64(hour) / 23 * 40 })
	var got []string
	for _, e := range checkDrawing(t, h.SVG(Wide), false) {
		if e.is("chart-word") {
			got = append(got, e.text)
		}
	}
	if want := []string{"0", "≤ 8", "≤ 16", "≤ 24", "≤ 32", "≤ 40 cycles"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	h = week(func(day, hour int) float64 { return float64(hour) / 23 * 2 })
	got = nil
	for _, e := range checkDrawing(t, h.SVG(Narrow), false) {
		if e.is("chart-word") {
			got = append(got, e.text)
		}
	}
	if want := []string{"0", "≤ 0.4", "≤ 0.8", "≤ 1.2", "≤ 1.6", "≤ 2.0 cycles"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	for name, v := range map[string]float64{"nothing": 0, "unknown": math.NaN()} {
		if all := checkDrawing(t, week(func(int, int) float64 { return v }).SVG(Wide), false); count(all, "chart-word") != 0 {
			t.Errorf("%s: a legend of %d steps", name, count(all, "chart-word"))
		}
	}
}

// TestHeatWithHolesInIt: days or hours without a value are unknown, not 0, and more
// values than there are names are left out.
func TestHeatWithHolesInIt(t *testing.T) {
	h := week(func(day, hour int) float64 { return 3 })
	h.Values = h.Values[:5]
	h.Values[2] = h.Values[2][:10]
	h.Values[0] = append(h.Values[0], 99)
	unknown := 0
	for i, c := range cellsOf(t, checkDrawing(t, h.SVG(Wide), false)) {
		day, hour := i/24, i%24
		if missing := day >= 5 || day == 2 && hour >= 10; missing != (c.shade < 0) {
			t.Errorf("day %d, hour %d: shade %d", day, hour, c.shade)
		} else if missing {
			unknown++
		}
	}
	if unknown != 2*24+14 {
		t.Errorf("%d unknown hours", unknown)
	}
}

// TestCellsAreSaidByWhoKnows: the words of a cell and of its tip are the page's;
// what does not fit a cell is in the tip only.
func TestCellsAreSaidByWhoKnows(t *testing.T) {
	h := week(func(day, hour int) float64 { return 1234567 })
	h.Tip = func(day, hour int) string { return fmt.Sprintf("%s %s: much", h.Days[day], h.Hours[hour]) }
	for _, s := range sizes {
		svg := h.SVG(s)
		for _, c := range cellsOf(t, checkDrawing(t, svg, false)) {
			if c.text != "" {
				t.Fatalf("%s: %q is wider than its cell", s.name, c.text)
			}
		}
		if got := strings.Count(svg, ": much</title>"); got != 7*24 {
			t.Errorf("%s: %d tips", s.name, got)
		}
		if !strings.Contains(svg, "<title>Sun 23: much</title>") {
			t.Errorf("%s: the last hour of the week has no tip", s.name)
		}
	}
	h.Cell = func(float64) string { return "x" }
	for _, c := range cellsOf(t, checkDrawing(t, h.SVG(Wide), false)) {
		if c.text != "x" {
			t.Fatalf("a cell says %q", c.text)
		}
	}
}
