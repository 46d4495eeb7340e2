package ui

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/coordinator/usage/wear"
)

// wearFile is a figure of a machine's cycles with both of its charts.
func (s *Server) wearFile(c echo.Context) error {
	sc, m, w, err := s.wearOf(c)
	if err != nil {
		return err
	}
	var tables []usage.Table
	for i := range w.Charts {
		tables = append(tables, wearTableFile(sc, &w.Charts[i]))
	}
	return s.sendTable(c, tables, string(sc.snap.Room)+"-"+string(m.ID))
}

// wearTableFile has all cycles that are on the charts, newest first.
func wearTableFile(sc *scene, c *wear.Chart) usage.Table {
	off := unitOff(c.Figure)
	t := usage.Table{Name: c.Figure.String(), Columns: []usage.Column{
		number("cycle", "", 0), word("told"), number("programme", "", 0), number("value", unitOf(c.Figure), 3), number("usual", unitOf(c.Figure), 3), number("off", off, 2),
		number("average", off, 2), number("average_low", off, 2), number("average_high", off, 2), number("sum_rise", "%", 1), number("sum_sag", "%", 1), number("signals", "", 0),
	}}
	at := func(v float64) usage.Cell { return usage.Fixed(scaled(c.Figure, v), 2) }
	for i := len(c.Points) - 1; i >= 0; i-- {
		p := &c.Points[i]
		if !p.Charted {
			continue
		}
		signals := 0
		if p.Signals {
			signals = 1
		}
		t.Rows = append(t.Rows, []usage.Cell{
			usage.Word(strconv.FormatUint(p.Cycle, 10)), usage.Instant(p.At, sc.tell().zone), usage.Count(p.Programme), usage.Fixed(p.Value, 3), usage.Fixed(p.Usual, 3), at(p.Off),
			at(p.Average.Average), at(p.Average.Low), at(p.Average.High), usage.Fixed(100*p.Sum.Rise/c.H, 1), usage.Fixed(100*p.Sum.Sag/c.H, 1), usage.Count(signals),
		})
	}
	return t
}

// unitOf is that of a figure's values.
func unitOf(f wear.Figure) string {
	switch f {
	case wear.Length, wear.Heating:
		return "min"
	case wear.Energy:
		return "kWh"
	}
	return "W"
}

// enoughFile is a table of what the machines suffice for: of a kind, by case or
// by hour.
func (s *Server) enoughFile(c echo.Context) error {
	sc, all, err := s.capacityOf(c)
	if err != nil {
		return err
	}
	var tables []usage.Table
	for i := range all {
		tables = append(tables, casesFile(&all[i]), hoursFile(&all[i]))
	}
	return s.sendTable(c, tables, string(sc.snap.Room))
}

// caseColumns say which case a row is of.
func caseColumns() []usage.Column {
	return []usage.Column{number("machines", "", 0), number("collected_within", "min", 0)}
}

func caseCells(a *enough.Answer) []usage.Cell {
	within := usage.Cell{}
	if a.Case.Collected > 0 {
		within = usage.Fixed(a.Case.Collected.Minutes(), 0)
	}
	return []usage.Cell{usage.Count(a.Case.Machines), within}
}

func casesFile(c *usage.Capacity) usage.Table {
	t := usage.Table{Name: c.Kind.String() + "-cases", Columns: append(caseColumns(),
		number("wait_mean", "min", 1), number("wait_off", "min", 1), number("wait_p95", "min", 1), number("longer_than_30_min", "%", 1), number("busy", "%", 1))}
	for i := range c.Answers {
		a := &c.Answers[i]
		t.Rows = append(t.Rows, append(caseCells(a),
			usage.Fixed(a.All.Mean.Minutes(), 1), usage.Fixed(a.Off.Minutes(), 1), usage.Fixed(a.All.Most.Minutes(), 1), usage.Fixed(100*a.All.Long, 1), usage.Fixed(100*a.Busy, 1)))
	}
	return t
}

// hoursFile has a row for each case and hour of coming; nobody comes, nobody waits.
func hoursFile(c *usage.Capacity) usage.Table {
	t := usage.Table{Name: c.Kind.String() + "-hours", Columns: append(caseColumns(), number("hour", "", 0), number("come_a_week", "", 2), number("wait_mean", "min", 1))}
	for i := range c.Answers {
		a := &c.Answers[i]
		for h := range a.Hours {
			wait := usage.Cell{}
			if a.Hours[h].People > 0 {
				wait = usage.Fixed(a.Hours[h].Mean.Minutes(), 1)
			}
			t.Rows = append(t.Rows, append(caseCells(a), usage.Count(h), usage.Fixed(a.Hours[h].People, 2), wait))
		}
	}
	return t
}
