package ui

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/hindsight"
	"drumturn/ui/chart"
)

// cycleView is the manager's page about one cycle, and the sheet to print of it.
type cycleView struct {
	Machine, Room, Back string
	Number, Day         string
	Facts               []factView
	Figures             []figureView
	Left                *figureView // the remaining time; nil where it cannot be reckoned
	Phases              figuresTable
	Behind              int
	Earlier, Next       string
	Sheet, Page         string
	What                []string // what was seen, on the sheet
	Log                 []logLine
	Made                string
}

// noCycle is an address that names none.
var noCycle = coordinator.Refuse(coordinator.NotFound, "no-cycle", "There is no such cycle of this machine, or it is no longer kept.")

const (
	// cyclesBefore is how many cycles a fresh engine sees before the one told again.
	cyclesBefore = 20
	// margin is drawn before the start and after the end.
	margin = 5 * time.Minute
	// foundWithin is how long after the hint in the address a cycle is looked for.
	foundWithin = 24 * time.Hour
)

// cyclePage shows one cycle.
func (s *Server) cyclePage(c echo.Context) error { return s.showCycle(c, "cycle") }

// cycleSheet is the same on one page of paper: the evidence, when somebody complains.
func (s *Server) cycleSheet(c echo.Context) error { return s.showCycle(c, "cycle-sheet") }

// cycleOf finds the cycle that an address names, and some that came before it.
func (s *Server) cycleOf(c echo.Context) (p *pastScene, of coordinator.Fact, before []coordinator.Fact, err error) {
	if p, err = s.pastOf(c); err != nil {
		return nil, of, nil, err
	}
	of, before, err = p.find(c.Request().Context(), param(c, "cycle"), c.QueryParam("told"))
	return p, of, before, err
}

func (s *Server) showCycle(c echo.Context, page string) error {
	p, of, before, err := s.cycleOf(c)
	if err != nil {
		return err
	}
	ctx := c.Request().Context()
	v := cycleView{
		Machine: machineName(p.lang(), p.machine), Room: p.snap.Name, Back: p.link(), Number: strconv.FormatUint(of.Cycle, 10),
		Day: fullDay(p.lang(), of.Start.In(p.zone)), Facts: append(p.facts(&of), p.price(&of, s.o.House.People())...), Page: p.cycleLink(&of),
		Made:  p.lang().Say("chart.at", "day", fullDay(p.lang(), p.now.In(p.zone)), "time", p.now.In(p.zone).Format("15:04")),
		Sheet: p.link() + "/c/" + strconv.FormatUint(of.Cycle, 10) + "/sheet?told=" + strconv.FormatInt(of.At.Unix(), 10),
	}
	if len(before) > 0 {
		v.Earlier = p.cycleLink(&before[0])
	}
	if v.Next, err = p.next(ctx, &of); err != nil {
		return err
	}
	if err := p.tellCycle(ctx, &v, of, before, page); err != nil {
		return err
	}
	if page == "cycle-sheet" {
		if err := p.witness(ctx, &v, &of, s.o.House.People()); err != nil {
			return err
		}
	}
	return s.render(c, http.StatusOK, page, v)
}

// find finds a cycle by its number, and some that came before it, newest first.
func (p *pastScene) find(ctx context.Context, number, told string) (of coordinator.Fact, before []coordinator.Fact, err error) {
	n, err := strconv.ParseUint(number, 10, 64)
	if err != nil || n == 0 {
		return of, nil, noCycle
	}
	end := p.now.Add(time.Minute)
	ok := false
	if sec, err := strconv.ParseInt(told, 10, 64); err == nil && sec > 0 && sec < end.Unix() {
		if of, ok, err = hindsight.Find(ctx, p.past, p.at, n, time.Unix(sec, 0).Add(foundWithin)); err != nil {
			return of, nil, err
		}
	}
	if !ok {
		if of, ok, err = hindsight.Find(ctx, p.past, p.at, n, end); err != nil || !ok {
			return of, nil, orError(err, noCycle)
		}
	}
	before, err = hindsight.Cycles(ctx, p.past, p.at, of.Start, cyclesBefore)
	return of, before, err
}

// orError is the first error that is one.
func orError(err, other error) error {
	if err != nil {
		return err
	}
	return other
}

// next is the address of the cycle after, where that began within a week.
func (p *pastScene) next(ctx context.Context, of *coordinator.Fact) (string, error) {
	all, err := hindsight.Between(ctx, p.past, p.at, of.End.Add(time.Second), of.End.AddDate(0, 0, 7))
	for i := range all {
		if all[i].Cycle > of.Cycle {
			return p.cycleLink(&all[i]), err
		}
	}
	return "", err
}

// facts are the cycle in words.
func (p *pastScene) facts(c *coordinator.Fact) []factView {
	l := p.lang()
	clock := func(t time.Time) string { return t.In(p.zone).Format("15:04:05") }
	all := []factView{
		{l.Say("past.start"), clock(c.Start)}, {l.Say("past.end"), clock(c.End)},
		{l.Say("past.told"), l.Say("past.told-after", "at", clock(c.At), "span", l.Span(c.At.Sub(c.End)))},
		{l.Say("past.length"), l.Span(c.End.Sub(c.Start))},
		{l.Say("past.used"), kwhOf(l, c.EnergyWh/1000) + " kWh"}, {l.Say("past.peak-power"), wattsOf(l, c.PeakW) + " W"},
	}
	if g := p.programme(c); g != "" {
		all = append(all, factView{l.Say("past.programme"), g})
	}
	return append(all, factView{l.Say("past.how"), endWord(l, c)})
}

// price is what a cycle cost at the machine on the day, where one pays there.
func (p *pastScene) price(c *coordinator.Fact, people *coordinator.People) []factView {
	v := people.Tariffs.On(coordinator.DateOf(c.Start, p.zone))
	if v == nil {
		return nil
	}
	micros, ok := v.Tariff.CyclePrice(p.at.Room, p.at.Machine)
	if !ok {
		return nil
	}
	digits := 2
	if micros%10_000 != 0 {
		digits = 6
	}
	l := p.lang()
	return []factView{{l.Say("past.price"), l.Fixed(float64(micros)/1e6, digits) + " " + v.Tariff.Currency}}
}

// again reads a cycle's readings, and tells it again with a fresh engine.
func (p *pastScene) again(ctx context.Context, of *coordinator.Fact, before []coordinator.Fact) (*curve, hindsight.Story, error) {
	k, err := p.curve(ctx, of.Start.Add(-margin), latest(of.End, of.At).Add(margin), of.Start, 10*time.Minute)
	if err != nil {
		return nil, hindsight.Story{}, err
	}
	oldest := slices.Clone(before)
	slices.Reverse(oldest)
	story, err := hindsight.Tell(ctx, p.past, p.at, p.past.Engine(p.machine.Power), oldest, *of)
	return k, story, err
}

// tellCycle draws the cycle.
func (p *pastScene) tellCycle(ctx context.Context, v *cycleView, of coordinator.Fact, before []coordinator.Fact, page string) error {
	k, story, err := p.again(ctx, &of, before)
	if err != nil {
		return err
	}
	v.Behind = story.Behind
	v.Figures = k.figures(p, "cycle", func(t *chart.Time) {
		t.Marks, t.Bands, t.Text = p.marks(&of), p.phases(story.Phases), v.Day
		if page == "cycle-sheet" {
			t.Height = sheetHeight
		}
	})
	v.Phases = p.phaseTable(story.Phases)
	v.Left = p.left(&of, story.Said)
	files := func(name string) []fileLink {
		return tableFiles(p.link()+"/c/"+v.Number, name, "told="+strconv.FormatInt(of.At.Unix(), 10))
	}
	for i := range v.Figures {
		v.Figures[i].Table.Files = files("curve")
	}
	v.Phases.Files = files("phases")
	if v.Left != nil {
		v.Left.Table.Files = files("remaining")
	}
	return nil
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// marks are the cycle's instants.
func (p *pastScene) marks(c *coordinator.Fact) []chart.Mark {
	l := p.lang()
	at := func(key string, t time.Time, dotted bool) chart.Mark {
		return chart.Mark{At: t, Text: l.Say("past.mark-"+key, "at", t.In(p.zone).Format("15:04")), Dotted: dotted}
	}
	return []chart.Mark{at("start", c.Start, false), at("end", c.End, false), at("told", c.At, true)}
}

// phasePatterns tell phases apart without colours.
var phasePatterns = map[cycle.Phase]chart.Pattern{
	cycle.Fill: chart.Dots, cycle.Heat: chart.Dark, cycle.Tumble: chart.Slant, cycle.Spin: chart.Upright,
	cycle.Pause: chart.Empty, cycle.CoolDown: chart.Level, cycle.After: chart.Fall,
}

func (p *pastScene) phases(all []hindsight.Phase) []chart.Band {
	var out []chart.Band
	for _, x := range all {
		out = append(out, chart.Band{From: x.From, To: x.To, Name: p.lang().Say("phase." + x.Phase.String()), Pattern: phasePatterns[x.Phase]})
	}
	return out
}

// phaseTable adds up how long the cycle was in each phase, in the order in which they came.
func (p *pastScene) phaseTable(all []hindsight.Phase) figuresTable {
	l := p.lang()
	t := figuresTable{Caption: l.Say("past.phases"), Head: []cellView{headCell(l.Say("past.phase")), numCell(l.Say("past.times")), headCell(l.Say("past.first")), numCell(l.Say("past.in-all"))}}
	for i, first := range all {
		is := func(x hindsight.Phase) bool { return x.Phase == first.Phase }
		if slices.ContainsFunc(all[:i], is) {
			continue
		}
		times, sum := 0, time.Duration(0)
		for _, x := range all[i:] {
			if is(x) {
				times, sum = times+1, sum+x.To.Sub(x.From)
			}
		}
		t.Rows = append(t.Rows, []cellView{headCell(l.Say("phase." + first.Phase.String())), numCell(strconv.Itoa(times)), textCell(first.From.In(p.zone).Format("15:04")), numCell(l.Span(sum))})
	}
	return t
}

// left draws what was said of the remaining time beside what it was.
func (p *pastScene) left(of *coordinator.Fact, said []hindsight.Said) *figureView {
	if len(said) == 0 {
		return nil
	}
	l := p.lang()
	was := chart.NewTrace(of.Start, of.End, curveColumns, 0, false)
	then := chart.NewTrace(of.Start, of.End, curveColumns, 0, true)
	ribbon := chart.Ribbon{Name: l.Say("past.left-range"), End: of.End}
	was.Add(of.Start, of.End.Sub(of.Start).Minutes())
	for _, x := range said {
		then.Add(x.At, x.Left.Median.Minutes())
		ribbon.Points = append(ribbon.Points, chart.Range{At: x.At, Low: x.Left.Low.Minutes(), High: x.Left.High.Minutes()})
	}
	was.Add(of.End, 0)
	then.Close(of.End)
	t := chart.Time{
		Frame: chart.Frame{ID: "left", Title: l.Say("past.left"), Unit: "min", Locale: locale(l), Left: sideRoom}, From: of.Start, To: of.End, Zone: p.zone,
		Curves:  []chart.Curve{{Name: l.Say("past.left-was"), Trace: was}, {Name: l.Say("past.left-said"), Trace: then, Dashed: true, Steps: true}},
		Ribbons: []chart.Ribbon{ribbon}, Least: 10, Height: 170,
	}
	f := figureView{ID: "left", Title: l.Say("past.left"), Drawings: drawn(&t), Table: p.leftTable(of, said)}
	return &f
}

// leftEvery is how far apart the rows of that table are.
const leftEvery = 10 * time.Minute

func (p *pastScene) leftTable(of *coordinator.Fact, said []hindsight.Said) figuresTable {
	l := p.lang()
	t := figuresTable{Caption: l.Say("past.left"), Head: []cellView{
		headCell(l.Say("past.at")), numCell(l.Say("past.left-said")), numCell(l.Say("past.left-range")), numCell(l.Say("past.left-was")), numCell(l.Say("past.off")),
	}}
	last := time.Time{}
	for _, x := range said {
		if x.At.Sub(last) < leftEvery {
			continue
		}
		last = x.At
		was := of.End.Sub(x.At)
		min := func(d time.Duration) string { return l.Number(d.Round(time.Minute).Minutes(), 0) }
		t.Rows = append(t.Rows, []cellView{
			headCell(x.At.In(p.zone).Format("15:04")), numCell(min(x.Left.Median)), numCell(fmt.Sprintf("%s–%s", min(x.Left.Low), min(x.Left.High))),
			numCell(min(was)), numCell(min(x.Left.Median - was)),
		})
	}
	return t
}

// witness adds what is on the sheet besides: what the end looked like, and what
// happened at the machine around it.
func (p *pastScene) witness(ctx context.Context, v *cycleView, of *coordinator.Fact, people *coordinator.People) error {
	l := p.lang()
	switch of.Note {
	case endStopped:
		v.What = append(v.What, l.Say("past.saw-early"))
	case endPresumed:
		v.What = append(v.What, l.Say("past.saw-presumed"))
	default:
		v.What = append(v.What, l.Say("past.saw-done"))
	}
	return p.past.Facts(ctx, p.at.Room, of.Start.Add(-margin), of.At.Add(2*time.Hour), func(f coordinator.Fact) bool {
		if f.Machine == p.at.Machine {
			v.Log = append(v.Log, lineOf(&f, p.scene, people))
		}
		return len(v.Log) < sheetLines
	})
}

const (
	// sheetLines is how many lines of the log fit on the sheet.
	sheetLines = 12
	// sheetHeight is that of the power on it, px.
	sheetHeight = 190
)
