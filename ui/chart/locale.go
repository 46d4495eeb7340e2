package chart

import (
	"strconv"
	"time"
)

// Locale writes numbers and times as the page's language does. What is nil is
// written plainly.
type Locale struct {
	// Number writes a value with at most so many digits behind the decimal mark.
	Number func(v float64, decimals int) string
	// Clock, Day and Month write an instant, which is in its own zone, as the hour
	// ("14:30"), the day ("17 Mar") and the month ("Mar 2026").
	Clock, Day, Month func(time.Time) string
}

func (l Locale) number(v float64, decimals int) string {
	if l.Number == nil {
		return strconv.FormatFloat(v, 'f', decimals, 64)
	}
	return l.Number(v, decimals)
}

func (l Locale) clock(t time.Time) string { return say(l.Clock, t, "15:04") }
func (l Locale) day(t time.Time) string   { return say(l.Day, t, "2 Jan") }
func (l Locale) month(t time.Time) string { return say(l.Month, t, "Jan 2006") }

func say(write func(time.Time) string, t time.Time, layout string) string {
	if write == nil {
		return t.Format(layout)
	}
	return write(t)
}
