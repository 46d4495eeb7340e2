package ui

import (
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/hindsight"
)

// cycleFile is one table of a cycle's page.
func (s *Server) cycleFile(c echo.Context) error {
	p, of, before, err := s.cycleOf(c)
	if err != nil {
		return err
	}
	k, story, err := p.again(c.Request().Context(), &of, before)
	if err != nil {
		return err
	}
	tables := []usage.Table{k.file(p, "curve"), p.phasesFile(story.Phases), p.leftFile(&of, story.Said)}
	return s.sendTable(c, tables, string(p.at.Room)+"-"+string(p.at.Machine)+"-"+strconv.FormatUint(of.Cycle, 10))
}

// phasesFile has a row for each stretch of the cycle.
func (p *pastScene) phasesFile(all []hindsight.Phase) usage.Table {
	t := usage.Table{Name: "phases", Columns: []usage.Column{word("phase"), word("from"), word("to"), number("length", "s", 0)}}
	for _, x := range all {
		t.Rows = append(t.Rows, []usage.Cell{
			usage.Word(x.Phase.String()), usage.Instant(x.From, p.zone), usage.Instant(x.To, p.zone), usage.Fixed(x.To.Sub(x.From).Seconds(), 0),
		})
	}
	return t
}

// leftFile has a row for each minute.
func (p *pastScene) leftFile(of *coordinator.Fact, said []hindsight.Said) usage.Table {
	t := usage.Table{Name: "remaining", Columns: []usage.Column{
		word("at"), number("said_median", "min", 1), number("said_low", "min", 1), number("said_high", "min", 1), number("was", "min", 1), number("off", "min", 1),
	}}
	minutes := func(d time.Duration) usage.Cell { return usage.Fixed(d.Minutes(), 1) }
	for _, x := range said {
		was := of.End.Sub(x.At)
		t.Rows = append(t.Rows, []usage.Cell{
			usage.Instant(x.At, p.zone), minutes(x.Left.Median), minutes(x.Left.Low), minutes(x.Left.High), minutes(was), minutes(x.Left.Median - was),
		})
	}
	return t
}
