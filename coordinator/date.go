package coordinator

import (
	"cmp"
	"fmt"
	"time"
)

// Date is a day of the calendar, without a zone. The zero value is no day.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf is the local day of an instant.
func DateOf(t time.Time, zone *time.Location) Date {
	y, m, d := t.In(zone).Date()
	return Date{y, m, d}
}

// Add is the date so many days later.
func (d Date) Add(days int) Date {
	y, m, day := time.Date(d.Year, d.Month, d.Day+days, 12, 0, 0, 0, time.UTC).Date()
	return Date{y, m, day}
}

// Before reports whether d comes before other.
func (d Date) Before(other Date) bool {
	return d.ordinal() < other.ordinal()
}

func (d Date) ordinal() int { return (d.Year*16+int(d.Month))*32 + d.Day }

// Begin is the first instant of the local day: midnight, or where the change to
// summer time skips that, the instant of the change.
func (d Date) Begin(zone *time.Location) time.Time {
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, zone)
	if DateOf(t, zone).Before(d) {
		_, t = t.ZoneBounds()
	}
	return t
}

// End is the first instant of the next local day. A local day lasts 23 to 25 hours.
func (d Date) End(zone *time.Location) time.Time { return d.Add(1).Begin(zone) }

// String is the date as ISO 8601 has it: "2026-11-25".
func (d Date) String() string { return fmt.Sprintf("%04d-%02d-%02d", d.Year, int(d.Month), d.Day) }

// MarshalText writes what String gives.
func (d Date) MarshalText() ([]byte, error) { return []byte(d.String()), nil }

// UnmarshalText reads what String gives.
func (d *Date) UnmarshalText(text []byte) error {
	t, err := time.Parse(time.DateOnly, string(text))
	if err != nil {
		return fmt.Errorf("%q is no date: write it like 2026-11-25", text)
	}
	*d = DateOf(t, time.UTC)
	return nil
}

// IsZero reports whether d is no day.
func (d Date) IsZero() bool { return d == Date{} }

// Compare is -1, 0 or 1 as d comes before, is, or comes after other.
func (d Date) Compare(other Date) int { return cmp.Compare(d.ordinal(), other.ordinal()) }

// Weekday is the day of the week.
func (d Date) Weekday() time.Weekday {
	return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC).Weekday()
}
