package ui

import (
	"encoding/xml"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"drumturn/coordinator/usage"
	"drumturn/push/words"
	"drumturn/ui/specimen"
)

// mark is one element of a drawing.
type mark struct {
	tag, class, text string
	attr             map[string]string
}

func (m mark) is(class string) bool { return slices.Contains(strings.Fields(m.class), class) }

func (m mark) num(t *testing.T, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(m.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", name, m, err)
	}
	return v
}

// marksOf reads a drawing.
func marksOf(t *testing.T, svg htmlText) (all []mark) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(string(svg)))
	for {
		token, err := d.Token()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		switch token := token.(type) {
		case xml.StartElement:
			m := mark{tag: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				m.attr[a.Name.Local] = a.Value
			}
			m.class = m.attr["class"]
			all = append(all, m)
		case xml.CharData:
			if len(all) > 0 {
				all[len(all)-1].text += string(token)
			}
		}
	}
}

// gauge takes values from a drawing as a reader does, by its axis.
type gauge struct{ y0, v0, y1, v1 float64 }

func gaugeOf(t *testing.T, all []mark) gauge {
	t.Helper()
	var ys, vs []float64
	for i, m := range all {
		if m.is("chart-grid") || m.is("chart-base") {
			ys, vs = append(ys, m.num(t, "y1")), append(vs, figureIn(all[i+1].text))
		}
	}
	n := len(ys) - 1
	if n < 1 {
		t.Fatal("no axis")
	}
	return gauge{ys[0], vs[0], ys[n], vs[n]}
}

func (g gauge) at(y float64) float64 { return g.v0 + (y-g.y0)/(g.y1-g.y0)*(g.v1-g.v0) }

// step is what a pixel is worth.
func (g gauge) step() float64 { return math.Abs((g.v1 - g.v0) / (g.y1 - g.y0)) }

// figureIn is the number that an English page writes as text; no number for none.
func figureIn(text string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(text, ",", ""), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

// specimenUse draws the use of the invented building.
func specimenUse(t *testing.T) []figureView {
	t.Helper()
	s := figuresServer(t)
	q := readUse(nil, s.localDay())
	r, err := s.o.Report(t.Context(), q.Query, s.houseRooms(words.English()))
	if err != nil {
		t.Fatal(err)
	}
	return (&useDrawer{l: words.English(), r: r, q: q}).figures()
}

func figureNamed(t *testing.T, all []figureView, id string) figureView {
	t.Helper()
	i := slices.IndexFunc(all, func(f figureView) bool { return f.ID == id })
	if i < 0 {
		t.Fatalf("there is no %s", id)
	}
	return all[i]
}

// TestStacksAreTheirTables: for each day, what a reader takes from the heights of the bars
// is the sum of those columns of the table behind them; a hatched day has no figures in it.
func TestStacksAreTheirTables(t *testing.T) {
	all := specimenUse(t)
	for id, columns := range map[string][]int{"use-cycles": {1}, "use-hours": {1, 2}, "use-utilisation": {1}, "use-energy": {1, 2}} {
		f := figureNamed(t, all, id)
		for _, svg := range f.Drawings {
			marks := marksOf(t, svg)
			g := gaugeOf(t, marks)
			tops, slots, hatched := map[string]float64{}, []string{}, 0
			for _, m := range marks {
				switch {
				case m.is("chart-bar"):
					x := m.attr["x"]
					if _, seen := tops[x]; !seen {
						tops[x] = math.Inf(-1)
						slots = append(slots, x)
					}
					tops[x] = max(tops[x], g.at(m.num(t, "y")))
				case m.is("chart-gap"):
					hatched++
				}
			}
			k, empty := 0, 0
			for _, row := range f.Table.Rows {
				want := 0.0
				for _, c := range columns {
					want += figureIn(row[c].Text)
				}
				if !(want > 0) { // nothing known, or nothing there
					empty++
					continue
				}
				if k == len(slots) {
					t.Fatalf("%s: fewer bars than rows with figures", id)
				}
				if got := tops[slots[k]]; math.Abs(got-want) > 0.3*g.step()+0.05 {
					t.Errorf("%s, %s: drawn as %v, in the table %v", id, row[0].Text, got, want)
				}
				k++
			}
			if k != len(slots) || k == 0 || hatched != empty {
				t.Errorf("%s: %d bars of %d rows, %d hatched, %d rows without figures", id, len(slots), len(f.Table.Rows), hatched, empty)
			}
		}
	}
}

// TestWaitsAreTheirTable: the corners of both lines are the two columns, and there is
// none on a day without.
func TestWaitsAreTheirTable(t *testing.T) {
	f := figureNamed(t, specimenUse(t), "use-waits")
	for _, svg := range f.Drawings {
		marks := marksOf(t, svg)
		g, line := gaugeOf(t, marks), 0
		for _, m := range marks {
			if m.tag != "path" || !m.is("chart-curve") {
				continue
			}
			var got []float64
			for _, corner := range strings.FieldsFunc(strings.TrimSuffix(m.attr["d"], "h.1"), func(r rune) bool { return r == 'M' || r == 'L' }) {
				_, y, _ := strings.Cut(corner, " ")
				got = append(got, g.at(figureIn(y)))
			}
			column := 2 + line // the calls are the first
			line++
			k := 0
			for _, row := range f.Table.Rows {
				want := figureIn(row[column].Text)
				if math.IsNaN(want) {
					continue
				}
				if k >= len(got) || math.Abs(got[k]-want) > 0.3*g.step()+0.06 {
					t.Fatalf("line %d, %s: corner %d of %d is not %v: %v", line, row[0].Text, k, len(got), want, got)
				}
				k++
			}
			if k != len(got) || k == 0 {
				t.Errorf("line %d has %d corners for %d days", line, len(got), k)
			}
		}
		if line != 2 {
			t.Errorf("%d lines", line)
		}
	}
}

// TestWeeksAreTheirTables: what is written in a cell is what the table says of that
// hour, and a cell that says nothing is 0 or unknown there.
func TestWeeksAreTheirTables(t *testing.T) {
	all := specimenUse(t)
	for _, id := range []string{"use-week-running", "use-week-waiting"} {
		f := figureNamed(t, all, id)
		for turned, svg := range f.Drawings {
			marks := marksOf(t, svg)
			cell, said := -1, 0
			for _, m := range marks {
				if m.is("chart-cell") {
					if cell++; cell == 7*24 {
						break // the legend's
					}
				}
				if !m.is("chart-in-cell") {
					continue
				}
				day, hour := cell/24, cell%24
				if turned == 1 {
					day, hour = cell%7, cell/7
				}
				said++
				if got, want := figureIn(m.text), figureIn(f.Table.Rows[day][1+hour].Text); math.Abs(got-want) > 0.0501 {
					t.Errorf("%s: day %d, hour %d says %v, the table %v", id, day, hour, got, want)
				}
			}
			figures := 0
			for _, row := range f.Table.Rows {
				for _, c := range row[1:] {
					if figureIn(c.Text) > 0 {
						figures++
					}
				}
			}
			if said != figures || said == 0 {
				t.Errorf("%s: %d cells say something, %d are more than 0 in the table", id, said, figures)
			}
		}
	}
}

// TestReportsHaveTheSameTables as the page of the use: a stored month is drawn by the same hand.
func TestReportsHaveTheSameTables(t *testing.T) {
	r, err := specimen.StoredReport(t.Context(), usage.Month{Year: 2026, Month: 2}, "")
	if err != nil {
		t.Fatal(err)
	}
	u := useDrawer{l: words.English(), r: r, q: useQuery{Query: r.Query}}
	for _, f := range u.figures() {
		if len(f.Table.Rows) == 0 || len(f.Table.Head) != len(f.Table.Rows[0]) || len(f.Drawings) != 2 {
			t.Errorf("%s: %d rows below %d heads, %d drawings", f.ID, len(f.Table.Rows), len(f.Table.Head), len(f.Drawings))
		}
	}
}
