package ui

import (
	"cmp"
	"context"
	"math"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/wear"
	"drumturn/queue"
	"drumturn/ui/chart"
)

// Worn tells what goes wrong slowly. It reads the store.
type Worn interface {
	// Wear draws the charts of a machine.
	Wear(ctx context.Context, room coordinator.RoomID, machine coordinator.MachineID) (usage.Wear, error)
	// Drifts is what last night found in a room, by machine.
	Drifts(ctx context.Context, room coordinator.RoomID) (map[coordinator.MachineID][]wear.Drift, error)
}

// wearView is the manager's page about a machine's wear.
type wearView struct {
	Machine, Room, Back string
	Since               string // when it was made as new
	LookedAfter         string // the day on which it was last looked after
	Act                 string // path of the form that says so now
	Figures             []wearFigure
	Dryer               bool
}

// wearFigure is one figure with its charts: what it says, of the newest cycles.
type wearFigure struct {
	Title, Says, Short string // Short is what it says in a word or two
	ID                 string
	Drifts             bool
	Charts             []figureView
}

// pointsShown is how many cycles a chart has.
const pointsShown = 150

// wearOf is what is measured of the machine that the address names.
func (s *Server) wearOf(c echo.Context) (*scene, *coordinator.MachineView, usage.Wear, error) {
	_, sc, m, err := s.managerMachine(c)
	if err != nil {
		return nil, nil, usage.Wear{}, err
	}
	if s.o.Worn == nil {
		return nil, nil, usage.Wear{}, noPast
	}
	w, err := s.o.Worn.Wear(c.Request().Context(), sc.snap.Room, m.ID)
	return sc, m, w, err
}

// wearPage shows what is measured of a machine's cycles, with control charts.
func (s *Server) wearPage(c echo.Context) error {
	sc, m, w, err := s.wearOf(c)
	if err != nil {
		return err
	}
	v := wearView{
		Machine: machineName(sc.lang(), m), Room: sc.snap.Name, Back: "/manager" + machinePath(sc.snap.Room, m.ID), Dryer: m.Kind != queue.Washer,
	}
	v.Act = v.Back
	if !m.LookedAfter.IsZero() {
		v.LookedAfter = fullDay(sc.lang(), m.LookedAfter.In(sc.tell().zone))
	}
	if !w.Since.IsZero() {
		v.Since = fullDay(sc.lang(), w.Since.In(sc.tell().zone))
	}
	for i := range w.Charts {
		v.Figures = append(v.Figures, viewWear(sc, m, &w.Charts[i]))
	}
	slices.SortStableFunc(v.Figures, func(a, b wearFigure) int { return cmp.Compare(rankWear(a), rankWear(b)) })
	return s.render(c, http.StatusOK, "wear", v)
}

// rankWear puts what changed before what is as usual.
func rankWear(f wearFigure) int {
	if f.Drifts {
		return 0
	}
	return 1
}

// viewWear is one figure.
func viewWear(sc *scene, m *coordinator.MachineView, c *wear.Chart) wearFigure {
	l := sc.lang()
	f := wearFigure{Title: l.Say("wear." + c.Figure.String()), Says: l.Say("wear.as-usual"), ID: "is-" + c.Figure.String()}
	known, charted := 0, charted(c)
	for _, p := range c.Points {
		if !p.Charted {
			known++
		}
	}
	switch {
	case c.Drift != nil && settled(m, c.Drift):
		f.Says = l.Say("wear.settled", "day", fullDay(l, m.LookedAfter.In(sc.tell().zone)), "was", driftSays(sc, m, c.Drift))
	case c.Drift != nil:
		f.Says, f.Drifts = driftSays(sc, m, c.Drift), true
	case len(c.Points) == 0:
		f.Says = l.Say("wear.unmeasured")
	case len(charted) == 0:
		f.Says = l.Count("wear.learning", known)
	}
	if f.Short = f.Says; len(charted) > 0 {
		f.Short = l.Say("wear.short-usual")
	}
	if c.Drift != nil {
		f.Short = l.Say("wear.alarm")
		if !f.Drifts {
			f.Short = l.Say("hand.looked-after")
		}
	}
	if len(charted) > 0 {
		f.Charts = []figureView{offFigure(sc, c, charted), sumFigure(sc, c, charted)}
		for i := range f.Charts {
			f.Charts[i].Table.Files = tableFiles("/manager"+machinePath(sc.snap.Room, m.ID)+"/wear", c.Figure.String(), "")
		}
	}
	return f
}

// charted are the newest points that are on the charts.
func charted(c *wear.Chart) (all []wear.Point) {
	for _, p := range c.Points {
		if p.Charted {
			all = append(all, p)
		}
	}
	return all[max(0, len(all)-pointsShown):]
}

// settled reports whether the machine was looked after since a drift was found.
func settled(m *coordinator.MachineView, d *wear.Drift) bool {
	return !m.LookedAfter.IsZero() && !d.Last.After(m.LookedAfter)
}

// driftSays says a drift in a sentence or two: what, how much, since when, and
// what to look at.
func driftSays(sc *scene, m *coordinator.MachineView, d *wear.Drift) string {
	l, zone := sc.lang(), sc.tell().zone
	key := "wear-more."
	if d.Change < 0 {
		key = "wear-less."
	}
	by := l.Number(math.Abs(100*d.Change), 0)
	if d.Figure == wear.Standby {
		by = l.Number(math.Abs(d.Change), 1)
	}
	when, to := monthOf(l, d.From.In(zone)), monthOf(l, d.To.In(zone))
	if to != when {
		when = l.Say("wear.from-to", "from", when, "to", to)
	}
	what := l.Say(key+d.Figure.String(), "machine", machineName(l, m), "by", by, "when", when)
	since := l.Say("wear.since", "day", fullDay(l, d.Since.In(zone)), "n", d.Cycles)
	advice := l.Say("wear-do." + d.Figure.String())
	return l.Say("wear.told", "what", what, "since", since, "advice", advice)
}

// scaled turns a point's distance from the usual into what is drawn: percent, or
// W of standby.
func scaled(f wear.Figure, off float64) float64 {
	if f == wear.Standby {
		return off
	}
	return 100 * math.Expm1(off)
}

func unitOff(f wear.Figure) string {
	if f == wear.Standby {
		return "W"
	}
	return "%"
}

// offFigure is the chart of the weighted average.
func offFigure(sc *scene, c *wear.Chart, points []wear.Point) figureView {
	l, f := sc.lang(), c.Figure
	id := "wear-" + f.String()
	v := figureView{ID: id, Title: l.Say("wear.chart-average"), Note: l.Say("wear.average-how")}
	ch := &chart.Control{
		Frame:   chart.Frame{ID: id, Title: l.Say("wear." + f.String()), Text: v.Title, Unit: unitOff(f), Locale: locale(l)},
		DotName: l.Say("wear.cycle"), AlarmName: l.Say("wear.alarm"),
	}
	average, low, high := []float64{}, []float64{}, []float64{}
	for i, p := range points {
		ch.Labels = append(ch.Labels, shortDay(l, p.At.In(sc.tell().zone)))
		ch.Dots = append(ch.Dots, scaled(f, p.Off))
		average, low, high = append(average, scaled(f, p.Average.Average)), append(low, scaled(f, p.Average.Low)), append(high, scaled(f, p.Average.High))
		if p.Signals && (i == 0 || !points[i-1].Signals) {
			ch.Alarms = append(ch.Alarms, i)
		}
	}
	ch.Lines = []chart.ControlLine{{Name: l.Say("wear.average"), Values: average}}
	ch.Limits = []chart.ControlLine{{Name: l.Say("wear.limits"), Values: low}, {Values: high}}
	v.Drawings, v.Table = drawn(ch), wearTable(sc, c, points, v.Title)
	return v
}

// sumFigure is the chart of cumulative sums, in shares of the limit.
func sumFigure(sc *scene, c *wear.Chart, points []wear.Point) figureView {
	l := sc.lang()
	id := "wear-sums-" + c.Figure.String()
	v := figureView{ID: id, Title: l.Say("wear.chart-sums"), Note: l.Say("wear.sums-how")}
	ch := &chart.Control{
		Frame:     chart.Frame{ID: id, Title: l.Say("wear." + c.Figure.String()), Text: v.Title, Unit: "%", Locale: locale(l)},
		AlarmName: l.Say("wear.alarm"),
	}
	rise, sag, high, low := []float64{}, []float64{}, []float64{}, []float64{}
	for i, p := range points {
		ch.Labels = append(ch.Labels, shortDay(l, p.At.In(sc.tell().zone)))
		rise, sag = append(rise, 100*p.Sum.Rise/c.H), append(sag, -100*p.Sum.Sag/c.H)
		high, low = append(high, 100), append(low, -100)
		if p.Signals && (i == 0 || !points[i-1].Signals) {
			ch.Alarms = append(ch.Alarms, i)
		}
	}
	ch.Lines = []chart.ControlLine{{Name: l.Say("wear.rise"), Values: rise}, {Name: l.Say("wear.sag"), Values: sag, Dashed: true}}
	ch.Limits = []chart.ControlLine{{Name: l.Say("wear.limits"), Values: high}, {Values: low}}
	v.Drawings, v.Table = drawn(ch), sumTable(sc, c, points, v.Title)
	return v
}

// sumTable is what the chart of sums is of, newest first.
func sumTable(sc *scene, c *wear.Chart, points []wear.Point, caption string) figuresTable {
	l := sc.lang()
	t := figuresTable{Caption: caption, Head: []cellView{headCell(l.Say("wear.over")), numCell(l.Say("wear.rise") + " %"), numCell(l.Say("wear.sag") + " %")}}
	for i := len(points) - 1; i >= 0; i-- {
		p := &points[i]
		t.Rows = append(t.Rows, []cellView{headCell(sc.tell().at(p.At)), numCell(l.Fixed(100*p.Sum.Rise/c.H, 0)), numCell(l.Fixed(100*p.Sum.Sag/c.H, 0))})
	}
	return t
}

// wearTable is what the chart of the average is of, newest first.
func wearTable(sc *scene, c *wear.Chart, points []wear.Point, caption string) figuresTable {
	l := sc.lang()
	t := figuresTable{Caption: caption, Head: []cellView{
		headCell(l.Say("wear.over")), numCell(l.Say("wear-unit." + c.Figure.String())), numCell(l.Say("wear.usual")),
		numCell(l.Say("wear.off") + " " + unitOff(c.Figure)), numCell(l.Say("wear.average") + " " + unitOff(c.Figure)), numCell(l.Say("wear.sum") + " %"),
	}}
	digits := 0
	if c.Figure == wear.Energy {
		digits = 2
	} else if c.Figure == wear.Standby {
		digits = 1
	}
	for i := len(points) - 1; i >= 0; i-- {
		p := &points[i]
		t.Rows = append(t.Rows, []cellView{
			headCell(sc.tell().at(p.At)), numCell(l.Fixed(p.Value, digits)), numCell(l.Fixed(p.Usual, digits)),
			numCell(l.Fixed(scaled(c.Figure, p.Off), 1)), numCell(l.Fixed(scaled(c.Figure, p.Average.Average), 1)),
			numCell(l.Fixed(100*max(p.Sum.Rise, p.Sum.Sag)/c.H, 0)),
		})
	}
	return t
}

// driftHands lists the drifts of a room's machines for the manager's first page.
func driftHands(sc *scene, found map[coordinator.MachineID][]wear.Drift) (out []handView) {
	for i := range sc.snap.Machines {
		m := &sc.snap.Machines[i]
		for _, d := range found[m.ID] {
			if settled(m, &d) {
				continue
			}
			out = append(out, handView{
				Do: "looked-after", Button: sc.lang().Say("hand.looked-after"), Act: "/manager" + machinePath(sc.snap.Room, m.ID),
				Room: sc.snap.Name, Machine: machineName(sc.lang(), m), Link: "/manager" + machinePath(sc.snap.Room, m.ID) + "/wear",
				What: driftSays(sc, m, &d),
			})
		}
	}
	return out
}
