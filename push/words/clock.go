package words

import (
	"strconv"
	"strings"
	"time"
)

// Clock says an instant as people do at now, both in the zone wanted: "14:32",
// with the day when it is not today. The zero time is nothing.
func (l *Language) Clock(t, now time.Time) string {
	if t.IsZero() {
		return ""
	}
	hour := t.Format("15:04")
	switch days := daysBetween(now, t); {
	case days == 0:
		return hour
	case days > -7 && days < 7:
		return l.Say("clock.weekday", "day", l.weekday("short", t), "time", hour)
	}
	return l.Say("clock.date", "d", t.Day(), "month", l.month("short", t), "time", hour)
}

// Day is the day in full: "Tuesday 17 March".
func (l *Language) Day(t time.Time) string {
	return l.Say("clock.full", "day", l.weekday("long", t), "d", t.Day(), "month", l.month("long", t))
}

// Date is Day with the year.
func (l *Language) Date(t time.Time) string {
	return l.Say("clock.dated", "day", l.weekday("long", t), "d", t.Day(), "month", l.month("long", t), "year", t.Year())
}

// Weekday is a day of the week.
func (l *Language) Weekday(d time.Weekday) string {
	return l.Say("day-long." + strings.ToLower(d.String()[:3]))
}

func (l *Language) weekday(length string, t time.Time) string {
	return l.Say("day-" + length + "." + strings.ToLower(t.Weekday().String()[:3]))
}

func (l *Language) month(length string, t time.Time) string {
	return l.Say("month-" + length + "." + strconv.Itoa(int(t.Month())))
}

// daysBetween counts calendar days from a to b, both in one zone.
func daysBetween(a, b time.Time) int {
	ya, ma, da := a.Date()
	yb, mb, db := b.Date()
	return int(time.Date(yb, mb, db, 0, 0, 0, 0, time.UTC).Sub(time.Date(ya, ma, da, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))
}

// Span says how long: "5 min", "1 h 20 min", "3 days".
func (l *Language) Span(d time.Duration) string {
	minutes := int(d.Round(time.Minute) / time.Minute)
	switch {
	case minutes < 1:
		return l.Say("span.under")
	case minutes < 60:
		return l.Say("span.minutes", "m", minutes)
	case minutes < 24*60 && minutes%60 == 0:
		return l.Say("span.hours", "h", minutes/60)
	case minutes < 24*60:
		return l.Say("span.both", "h", minutes/60, "m", minutes%60)
	}
	return l.Count("span.days", minutes/(24*60))
}
