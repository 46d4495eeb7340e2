package ui

import (
	"math"
	"strconv"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/push/words"
	"drumturn/ui/chart"
)

// useDrawer draws a report in a language.
type useDrawer struct {
	l *words.Language
	q useQuery
	r *usage.Report
	// page and query are where the tables are as files; empty: on the page of the use.
	page, query string
}

// noon is an instant of a date, to write it by.
func noonOf(d coordinator.Date) time.Time {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC)
}

// span is the report's time in words.
func (u *useDrawer) span() string {
	return u.l.Say("use.span", "from", fullDay(u.l, noonOf(u.q.From)), "to", fullDay(u.l, noonOf(u.q.To)))
}

// period is what a row of periods is called below its bar.
func (u *useDrawer) period(row *usage.Row) string {
	if u.q.By == usage.ByMonth {
		return locale(u.l).Month(noonOf(row.From))
	}
	return shortDay(u.l, noonOf(row.From))
}

// facts are the sums in words.
func (u *useDrawer) facts() []factView {
	w, l := &u.r.Whole, u.l
	cycles, standby := w.Energy()
	all := []factView{
		{l.Say("use.cycles"), l.Number(float64(w.Cycles), 0)},
		{l.Say("use.running"), l.Say("use.h", "v", l.Fixed(w.Running.Hours(), 0))},
		{l.Say("use.utilisation"), l.Say("past.percent", "n", l.Fixed(100*w.Utilisation(), 0))},
		{l.Say("use.blocked"), l.Say("use.h", "v", l.Fixed(w.Blocked.Hours(), 0))},
	}
	if w.Out > 0 {
		all = append(all, factView{l.Say("use.out"), l.Say("use.h", "v", l.Fixed(w.Out.Hours(), 0))})
	}
	if w.Waits.Count() > 0 {
		all = append(all, factView{l.Say("use.waits"), l.Say("use.waits-are", "median", l.Span(w.Waits.Median()), "p95", l.Span(w.Waits.P95()), "n", w.Waits.Count())})
	}
	all = append(all,
		factView{l.Say("use.missed"), l.Number(float64(w.Missed), 0)},
		factView{l.Say("use.energy"), l.Say("use.energy-is", "cycles", l.Fixed(cycles.KWh(), 1), "standby", l.Fixed(standby.KWh(), 1))},
	)
	if cost := u.r.Currency.Text(w.Cost); cost != "" {
		all = append(all, factView{l.Say("use.energy-cost"), u.money(cost) + " " + u.r.Currency.Code})
	}
	return all
}

// money writes an exact amount as the language does.
func (u *useDrawer) money(text string) string {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return text
	}
	return u.l.Fixed(v, u.r.Currency.Digits)
}

// figures are the charts: by period, then the week.
func (u *useDrawer) figures() []figureView {
	l := u.l
	hours := func(d time.Duration) float64 { return d.Hours() }
	out := []figureView{
		u.bars("cycles", "",
			u.series("use.completed", chart.Plain, func(f *usage.Row) float64 { return float64(f.Cycles - f.StoppedEarly - f.Presumed) }),
			u.series("use.cut", chart.Slant, func(f *usage.Row) float64 { return float64(f.StoppedEarly + f.Presumed) })),
		u.bars("hours", "h",
			u.series("use.running", chart.Plain, func(f *usage.Row) float64 { return hours(f.Running) }),
			u.series("use.blocked", chart.Slant, func(f *usage.Row) float64 { return hours(f.Blocked) })),
		u.bars("utilisation", "%",
			u.series("use.utilisation", chart.Plain, func(f *usage.Row) float64 {
				if f.Open <= 0 {
					return math.NaN()
				}
				return 100 * f.Utilisation()
			})),
	}
	if u.r.Whole.Waits.Count() > 0 {
		out = append(out, u.waits())
	}
	out = append(out, u.bars("energy", "kWh",
		u.series("use.energy-cycles", chart.Plain, func(f *usage.Row) float64 { c, _ := f.Energy(); return c.KWh() }),
		u.series("use.energy-standby", chart.Dots, func(f *usage.Row) float64 { _, s := f.Energy(); return s.KWh() })))
	if table, ok := u.table("periods"); ok {
		for i := range out {
			out[i].Table = u.shown(table, u.periodHead(), columnsOf[out[i].ID]...)
		}
	}
	return append(out, u.week("running", func(h *usage.Hour) float64 { return h.MachinesRunning() }, l.Say("use.week-running-unit")),
		u.week("waiting", func(h *usage.Hour) float64 { return h.TurnsWaiting() }, l.Say("use.week-waiting-unit")))
}

// columnsOf are the columns of the table behind each chart.
var columnsOf = map[string][]string{
	"use-cycles":      {"cycles", "stopped_early", "presumed"},
	"use-hours":       {"running", "blocked", "open", "out_of_service"},
	"use-utilisation": {"utilisation", "running", "open", "out_of_service"},
	"use-waits":       {"calls", "wait_median", "wait_p95", "missed"},
	"use-energy":      {"energy_cycles", "energy_standby", "energy_per_cycle", "cost"},
}

// series are the values of the periods; those without figures are not known.
func (u *useDrawer) series(key string, p chart.Pattern, of func(*usage.Row) float64) chart.Series {
	s := chart.Series{Name: u.l.Say(key), Pattern: p}
	for i := range u.r.Periods {
		v := math.NaN()
		if row := &u.r.Periods[i]; row.Days > 0 {
			v = of(row)
		}
		s.Values = append(s.Values, v)
	}
	return s
}

// names are the periods' labels.
func (u *useDrawer) names() []string {
	var all []string
	for i := range u.r.Periods {
		all = append(all, u.period(&u.r.Periods[i]))
	}
	return all
}

func (u *useDrawer) frame(id, unit string) chart.Frame {
	return chart.Frame{ID: "use-" + id, Title: u.l.Say("use.chart-" + id), Text: u.span(), Unit: unit, Locale: locale(u.l), Left: sideRoom}
}

func (u *useDrawer) bars(id, unit string, series ...chart.Series) figureView {
	b := chart.Bars{Frame: u.frame(id, unit), Labels: u.names(), Series: series, Unheard: u.l.Say("use.unknown"), Height: 150}
	b.Tip = func(i int) string { return u.tip(b.Labels[i], unit, i, series) }
	return figureView{ID: b.ID, Title: b.Title, Drawings: drawn(&b)}
}

// tip is what a bar says: "17 Mar: running 12.5 h, blocked 3 h".
func (u *useDrawer) tip(label, unit string, i int, series []chart.Series) string {
	text := label + ":"
	for k, s := range series {
		if k > 0 {
			text += u.l.Say("list.comma")
		} else {
			text += " "
		}
		text += s.Name + " " + u.l.Number(s.Values[i], 1)
		if unit != "" {
			text += " " + unit
		}
	}
	return text
}

// waits draws the median and the 95th percentile of the waits.
func (u *useDrawer) waits() figureView {
	minutes := func(of func(*usage.Sketch) time.Duration) []float64 {
		return u.series("use.waits", chart.Plain, func(f *usage.Row) float64 {
			if f.Waits.Count() == 0 {
				return math.NaN()
			}
			return of(&f.Waits).Minutes()
		}).Values
	}
	c := chart.Control{Frame: u.frame("waits", "min"), Labels: u.names(), FromZero: true, Height: 150, Lines: []chart.ControlLine{
		{Name: u.l.Say("use.wait-median"), Values: minutes((*usage.Sketch).Median)},
		{Name: u.l.Say("use.wait-p95"), Values: minutes((*usage.Sketch).P95), Dashed: true},
	}}
	return figureView{ID: c.ID, Title: c.Title, Note: u.l.Say("use.waits-note"), Drawings: drawn(&c)}
}

// isoWeek is the order of the days, as ISO 8601 has it.
var isoWeek = [7]time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday, time.Saturday, time.Sunday}

// week draws the hours of the week.
func (u *useDrawer) week(id string, of func(*usage.Hour) float64, unit string) figureView {
	h := chart.Heat{Frame: u.frame("week-"+id, unit), Unheard: u.l.Say("use.unknown")}
	for hour := range 24 {
		h.Hours = append(h.Hours, strconv.Itoa(hour))
	}
	t := figuresTable{Caption: h.Title, Files: u.files("week"), Head: []cellView{headCell(u.l.Say("use.weekday"))}}
	for _, hour := range h.Hours {
		t.Head = append(t.Head, numCell(hour))
	}
	for _, d := range isoWeek {
		h.Days = append(h.Days, u.l.Say("day-short."+shortWeekday[d]))
		row, cells := make([]float64, 24), []cellView{headCell(u.l.Say("day-long." + shortWeekday[d]))}
		for i := range row {
			row[i] = math.NaN()
			if x := &u.r.Week[d][i]; x.Observed > 0 {
				row[i] = max(0, of(x))
			}
			cells = append(cells, numCell(known(u.l, row[i], 2, false)))
		}
		h.Values, t.Rows = append(h.Values, row), append(t.Rows, cells)
	}
	h.Cell = func(v float64) string { return u.l.Fixed(v, 1) }
	h.Tip = func(day, hour int) string {
		v := h.Values[day][hour]
		if math.IsNaN(v) {
			return u.l.Say("use.hour", "day", h.Days[day], "from", hour, "to", hour+1, "v", h.Unheard)
		}
		return u.l.Say("use.hour", "day", h.Days[day], "from", hour, "to", hour+1, "v", u.l.Fixed(v, 2))
	}
	return figureView{ID: h.ID, Title: h.Title, Note: u.l.Say("use.week-note"), Drawings: drawn(&h), Table: t}
}

// shortWeekday are the catalogue's names of the days.
var shortWeekday = map[time.Weekday]string{
	time.Monday: "mon", time.Tuesday: "tue", time.Wednesday: "wed", time.Thursday: "thu", time.Friday: "fri", time.Saturday: "sat", time.Sunday: "sun",
}
