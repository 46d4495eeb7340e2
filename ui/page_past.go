package ui

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage/hindsight"
	"drumturn/ui/chart"
)

// pastView is the manager's page about one machine.
type pastView struct {
	Name, Room, Link string
	Row              row
	Axis             headView
	Date, Today      string // of the form, as forms have dates
	Day              string
	Before, After    string // addresses of the days around it; empty for none
	Figures          []figureView
	Cycles           figuresTable
	Filed            string // what the files of the cycles hold
	Older, Newest    string
	Learned          []string
	Programmes       figuresTable
	Meter            []factView
	Hearing          figuresTable
	WearLink         string // empty where wear is not watched
}

// factView is a word and what it stands for.
type factView struct{ Word, Text string }

// pageOfCycles is how many cycles a page lists.
const pageOfCycles = 25

// pastPage shows a machine: a day of its power, its cycles, what was learned of
// it, and how its meter does.
func (s *Server) pastPage(c echo.Context) error {
	p, err := s.pastOf(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	v := pastView{
		Name: machineName(p.lang(), p.machine), Room: p.snap.Name, Link: p.link(),
		Row: machineRow(p.snap, p.axis, p.machine, false), Axis: boardHead(p.scene),
	}
	if s.o.Worn != nil {
		v.WearLink = p.link() + "/wear"
	}
	if err := p.day(ctx, &v, c.QueryParam("day")); err != nil {
		return err
	}
	if err := p.cycles(ctx, &v, c.QueryParam("before")); err != nil {
		return err
	}
	p.learned(&v)
	if err := p.meter(ctx, &v, &s.hearings); err != nil {
		return err
	}
	return s.render(c, http.StatusOK, "past", v)
}

// dayAsked is the day that the address asks for: today where none, or nonsense, is.
func (p *pastScene) dayAsked(asked string) coordinator.Date {
	today := coordinator.DateOf(p.now, p.zone)
	var d coordinator.Date
	if d.UnmarshalText([]byte(asked)) != nil || today.Before(d) {
		return today
	}
	return d
}

// day draws the power of a day.
func (p *pastScene) day(ctx context.Context, v *pastView, asked string) error {
	today, d := coordinator.DateOf(p.now, p.zone), p.dayAsked(asked)
	from, to := d.Begin(p.zone), d.End(p.zone)
	v.Date, v.Today, v.Day = d.String(), today.String(), fullDay(p.lang(), from)
	v.Before = p.link() + "?day=" + d.Add(-1).String()
	if d.Before(today) {
		v.After = p.link() + "?day=" + d.Add(1).String()
	}
	k, err := p.curve(ctx, from, to, from, time.Hour)
	if err != nil {
		return err
	}
	cycles, err := hindsight.Between(ctx, p.past, p.at, from, to)
	if err != nil {
		return err
	}
	v.Figures = k.figures(p, "day", func(t *chart.Time) { t.Bands, t.Text = p.bands(cycles, d == today), v.Day })
	v.Figures[0].Table.Files = tableFiles(p.link(), "day", "day="+v.Date)
	v.Figures[1].Table.Files = v.Figures[0].Table.Files
	if k.begun {
		v.Figures[1].Note = p.lang().Say("past.energy-note", "kwh", kwhOf(p.lang(), k.kwh()))
	}
	return nil
}

// curve reads a stretch of the machine's readings. Its energy counts from zero on.
func (p *pastScene) curve(ctx context.Context, from, to, zero time.Time, slot time.Duration) (*curve, error) {
	k := newCurve(p.machine, p.silent(), from, to, slot)
	k.zero = zero
	until := to
	if now := p.now.Add(time.Minute); now.Before(until) {
		until = now
	}
	err := p.past.Readings(ctx, p.at.Room, p.at.Machine, from.Add(-p.silent()), until, k.take)
	k.close(p.now)
	return k, err
}

// bands mark the cycles of a day below its curve.
func (p *pastScene) bands(cycles []coordinator.Fact, today bool) []chart.Band {
	var all []chart.Band
	l := p.lang()
	for i := range cycles {
		c := &cycles[i]
		b := chart.Band{From: c.Start, To: c.End, Name: l.Say("past.cycle"), Pattern: chart.Dark, Tip: p.sentence(c)}
		if c.Note != endFinished {
			b.Name, b.Pattern = l.Say("past.cycle-cut"), chart.Slant
		}
		all = append(all, b)
	}
	if m := p.machine; today && m.Status == coordinator.Running {
		all = append(all, chart.Band{From: m.Since, To: p.now, Name: l.Say("past.cycle-running"), Pattern: chart.Dots})
	}
	return all
}

// sentence is a cycle in a line: "Cycle 118: 14:02 to 15:10, 0.71 kWh".
func (p *pastScene) sentence(c *coordinator.Fact) string {
	return p.lang().Say("past.cycle-line", "n", strconv.FormatUint(c.Cycle, 10), "from", p.tell().at(c.Start), "to", p.tell().at(c.End), "kwh", kwhOf(p.lang(), c.EnergyWh/1000))
}

// toldBefore is the instant before which the cycles asked for were told of; older
// is false where that is the present.
func (p *pastScene) toldBefore(asked string) (at time.Time, older bool) {
	at = p.now.Add(time.Minute)
	if sec, err := strconv.ParseInt(asked, 10, 64); err == nil && sec > 0 && sec < at.Unix() {
		return time.Unix(sec, 0), true
	}
	return at, false
}

// cycles lists a page of cycles, newest first.
func (p *pastScene) cycles(ctx context.Context, v *pastView, before string) error {
	at, older := p.toldBefore(before)
	query := ""
	if older {
		v.Newest, query = p.link()+"#cycles", "before="+before
	}
	all, err := hindsight.Cycles(ctx, p.past, p.at, at, pageOfCycles+1)
	if err != nil {
		return err
	}
	if len(all) > pageOfCycles {
		all = all[:pageOfCycles]
		v.Older = p.link() + "?before=" + strconv.FormatInt(all[pageOfCycles-1].At.Unix(), 10) + "#cycles"
	}
	l := p.lang()
	v.Filed = l.Say("past.filed", "n", l.Number(mostInFile, 0))
	v.Cycles = figuresTable{Caption: l.Say("past.cycles"), Files: tableFiles(p.link(), "cycles", query), Head: []cellView{
		headCell(l.Say("past.cycle")), headCell(l.Say("past.start")), numCell(l.Say("past.length")), numCell("kWh"), headCell(l.Say("past.how")),
		headCell(l.Say("past.programme")), headCell(l.Say("past.end")), headCell(l.Say("past.told")), numCell(l.Say("past.peak")),
	}}
	for i := range all {
		v.Cycles.Rows = append(v.Cycles.Rows, p.cycleRow(&all[i]))
	}
	return nil
}

func (p *pastScene) cycleRow(c *coordinator.Fact) []cellView {
	l, tell := p.lang(), p.tell()
	number := strconv.FormatUint(c.Cycle, 10)
	return []cellView{
		{Text: number, Link: p.cycleLink(c), Head: true},
		textCell(tell.at(c.Start)), numCell(l.Span(c.End.Sub(c.Start))), numCell(kwhOf(l, c.EnergyWh/1000)), textCell(endWord(l, c)),
		textCell(p.programme(c)), textCell(tell.clockOn(c.End, c.Start)), textCell(tell.clockOn(c.At, c.Start)), numCell(wattsOf(l, c.PeakW)),
	}
}

// cycleLink is the page about a cycle; when it was told of finds it fast.
func (p *pastScene) cycleLink(c *coordinator.Fact) string {
	return p.link() + "/c/" + strconv.FormatUint(c.Cycle, 10) + "?told=" + strconv.FormatInt(c.At.Unix(), 10)
}
