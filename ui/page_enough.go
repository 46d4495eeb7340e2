package ui

import (
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/push/words"
	"drumturn/ui/chart"
)

// enoughView is the manager's page about whether a room has enough machines.
type enoughView struct {
	Room, Back string
	From, To   string
	Kinds      []enoughKind
}

// enoughKind is one kind of machine.
type enoughKind struct {
	Title  string
	Answer string // what would help, empty where too little was seen
	Says   []string
	Cases  *figuresTable
	Hours  *figureView
}

// capacityOf is what the machines of the room that the address names suffice for.
func (s *Server) capacityOf(c echo.Context) (*scene, []usage.Capacity, error) {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return nil, nil, err
	}
	if s.o.Capacity == nil {
		return nil, nil, noPast
	}
	all, err := s.o.Capacity(c.Request().Context(), sc.snap.Room)
	return sc, all, err
}

// enoughPage shows waits as they are and as they would be.
func (s *Server) enoughPage(c echo.Context) error {
	sc, all, err := s.capacityOf(c)
	if err != nil {
		return err
	}
	v := enoughView{Room: sc.snap.Name, Back: "/manager#rooms"}
	for i := range all {
		v.From, v.To = fullDay(sc.lang(), all[i].From.In(sc.tell().zone)), fullDay(sc.lang(), all[i].To.In(sc.tell().zone))
		k := viewCapacity(sc.lang(), &all[i])
		k.files("/manager/r/"+pathEscape(string(sc.snap.Room))+"/enough", all[i].Kind.String())
		v.Kinds = append(v.Kinds, k)
	}
	return s.render(c, http.StatusOK, "enough", v)
}

// files links to the tables, where there are some.
func (k *enoughKind) files(page, kind string) {
	if k.Cases == nil {
		return
	}
	k.Cases.Files = tableFiles(page, kind+"-cases", "")
	k.Hours.Table.Files = tableFiles(page, kind+"-hours", "")
}

func viewCapacity(l *words.Language, c *usage.Capacity) enoughKind {
	kind := c.Kind.String()
	k := enoughKind{Title: l.Count("enough-kind."+kind, c.Machines)}
	weeks := l.Number(c.Seen.Weeks, 0)
	if len(c.Answers) == 0 {
		k.Says = []string{l.Say("enough.too-little", "loads", len(c.Seen.Cycles), "weeks", weeks)}
		return k
	}
	as := &c.Answers[0]
	k.Says = []string{
		l.Say("enough.seen", "n", l.Number(c.Seen.PerWeek(), 0), "weeks", weeks, "wait", waitText(l, c.Seen.Waited.Mean), "most", waitText(l, c.Seen.Waited.Most)),
		l.Say("enough.played", "wait", waitText(l, as.All.Mean), "busy", l.Number(100*as.Busy, 0)),
	}
	if c.Seen.Left > 0 {
		k.Says = append(k.Says, l.Count("enough.left", c.Seen.Left))
	}
	k.Answer = helps(l, c)
	t := casesTable(l, c)
	k.Cases, k.Hours = &t, hoursFigure(l, c)
	return k
}

// helps says which of the ways shortens the wait the most, or that none does much.
func helps(l *words.Language, c *usage.Capacity) string {
	best, _ := bestCase(c)
	if best == nil {
		return l.Say("enough.none-helps")
	}
	return l.Say("enough.helps", "case", caseWords(l, c, best), "from", waitText(l, c.Answers[0].All.Mean), "to", waitText(l, best.All.Mean))
}

// caseWords says a case.
func caseWords(l *words.Language, c *usage.Capacity, a *enough.Answer) string {
	kind := c.Kind.String()
	switch {
	case a.Case.Collected > 0:
		return l.Say("enough.collected", "span", l.Span(a.Case.Collected))
	case a.Case.Machines > c.Machines:
		return l.Say("enough-more." + kind)
	case a.Case.Machines < c.Machines:
		return l.Say("enough-less." + kind)
	}
	return l.Say("enough.as-is")
}

func casesTable(l *words.Language, c *usage.Capacity) figuresTable {
	t := figuresTable{Caption: l.Say("enough.cases"), Wraps: true, Head: []cellView{
		headCell(l.Say("enough.case")), numCell(l.Say("enough.mean")), numCell(l.Say("enough.most")), numCell(l.Say("enough.long")), numCell(l.Say("enough.busy")),
	}}
	for i := range c.Answers {
		a := &c.Answers[i]
		t.Rows = append(t.Rows, []cellView{
			headCell(caseWords(l, c, a)), numCell(l.Say("enough.give-or-take", "wait", waitText(l, a.All.Mean), "off", waitText(l, a.Off))), numCell(waitText(l, a.All.Most)),
			numCell(l.Say("enough.percent", "n", l.Number(100*a.All.Long, 0))), numCell(l.Say("enough.percent", "n", l.Number(100*a.Busy, 0))),
		})
	}
	return t
}

// hoursFigure is the mean wait by the hour of coming: as it is, and with a machine more.
func hoursFigure(l *words.Language, c *usage.Capacity) *figureView {
	id := "enough-" + c.Kind.String()
	v := &figureView{ID: id, Title: l.Say("enough.hours"), Note: l.Say("enough.hours-how")}
	ch := &chart.Bars{Frame: chart.Frame{ID: id, Title: v.Title, Text: l.Count("enough-kind."+c.Kind.String(), c.Machines), Unit: l.Say("enough.unit"), Locale: locale(l)}, Unheard: l.Say("enough.nobody")}
	v.Table = figuresTable{Caption: v.Title, Head: []cellView{headCell(l.Say("enough.hour")), numCell(l.Say("enough.come"))}}
	for i := range c.Answers {
		v.Table.Head = append(v.Table.Head, numCell(caseWords(l, c, &c.Answers[i])))
	}
	now := chart.Series{Name: l.Say("enough.mean")}
	for h := range 24 {
		as := &c.Answers[0].Hours[h]
		ch.Labels = append(ch.Labels, strconv.Itoa(h))
		now.Values = append(now.Values, as.Mean.Minutes())
		row := []cellView{headCell(l.Say("enough.from-to", "from", h, "to", h+1)), numCell(l.Number(as.People, 1))}
		for i := range c.Answers {
			cell := numCell("")
			if as.People > 0 {
				cell.Text = waitText(l, c.Answers[i].Hours[h].Mean)
			}
			row = append(row, cell)
		}
		v.Table.Rows = append(v.Table.Rows, row)
	}
	ch.Series = []chart.Series{now}
	v.Drawings = drawn(ch)
	return v
}

// waitText is a wait in whole minutes.
func waitText(l *words.Language, d time.Duration) string {
	return l.Say("enough.minutes", "n", l.Number(d.Minutes(), 0))
}
