package ui

import (
	"math"
	"time"

	"drumturn/push/words"
	"drumturn/ui/chart"
)

// figureView is a chart with the table behind it.
type figureView struct {
	ID, Title, Note string
	Drawings        []htmlText
	Table           figuresTable
}

// figuresTable is a table of figures. Where nothing is known a cell is empty.
type figuresTable struct {
	Caption string
	Head    []cellView
	Rows    [][]cellView
	// Wraps lets long cells go on in another line.
	Wraps bool
	// Files are the table as files.
	Files []fileLink
}

// cellView is one cell; Num puts it to the right, as numbers stand.
type cellView struct {
	Text, Link string
	Num, Head  bool
}

func textCell(text string) cellView { return cellView{Text: text} }
func headCell(text string) cellView { return cellView{Text: text, Head: true} }
func numCell(text string) cellView  { return cellView{Text: text, Num: true} }

// drawing is anything that package chart draws.
type drawing interface{ SVG(chart.Size) string }

// drawn draws at both sizes. What the drawing holds is escaped there.
func drawn(d drawing) []htmlText {
	return []htmlText{htmlText(d.SVG(chart.Wide)), htmlText(d.SVG(chart.Narrow))}
}

// locale writes numbers and times of charts in a language.
func locale(l *words.Language) chart.Locale {
	return chart.Locale{
		Number: func(v float64, decimals int) string { return l.Number(v, decimals) },
		Day:    func(t time.Time) string { return shortDay(l, t) },
		Month:  func(t time.Time) string { return monthOf(l, t) },
	}
}

// monthOf is "Mar 2026".
func monthOf(l *words.Language, t time.Time) string {
	return l.Say("chart.month", "month", l.Say("month-short."+plainInt(int(t.Month()))), "year", t.Year())
}

// shortDay is "17 Mar".
func shortDay(l *words.Language, t time.Time) string {
	return l.Say("chart.day", "d", t.Day(), "month", l.Say("month-short."+plainInt(int(t.Month()))))
}

// datedDay is "17 Mar 2026".
func datedDay(l *words.Language, t time.Time) string {
	return l.Say("chart.full", "day", shortDay(l, t), "year", t.Year())
}

// fullDay is "Tuesday 17 March 2026".
func fullDay(l *words.Language, t time.Time) string {
	return l.Say("chart.full", "day", l.Day(t), "year", t.Year())
}

// wattsOf, kwhOf write a value, and nothing for one that is not known.
func wattsOf(l *words.Language, w float64) string { return known(l, w, 0, w < 10) }

func kwhOf(l *words.Language, kwh float64) string { return known(l, kwh, 2, kwh < 0.1) }

func known(l *words.Language, v float64, digits int, finer bool) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return ""
	}
	if finer {
		digits++
	}
	return l.Fixed(v, digits)
}

// clockOn is the hour, with the day where it is another than the page's.
func (t teller) clockOn(x, day time.Time) string {
	return t.lang.Clock(x.In(t.zone), day.In(t.zone))
}
