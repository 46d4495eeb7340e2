package usage

import (
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// NightlySchedule is 04:15 local time: late enough that no change of the clocks
// skips or repeats it, early enough that nobody washes.
const NightlySchedule = "15 4 * * *"

const scheduleRight = `write five fields, minute hour day-of-month month day-of-week, such as "15 4 * * *" for 04:15 every night`

// ScheduleError says what is wrong with a schedule and what would be right.
type ScheduleError struct{ Spec, Wrong, Right string }

// Error is both in one sentence.
func (e *ScheduleError) Error() string {
	return fmt.Sprintf("schedule %q %s: %s", e.Spec, e.Wrong, e.Right)
}

// CheckSchedule refuses a schedule that cannot be kept: one that does not parse,
// carries a time zone, counts from the program's start, or never comes. The
// error is a *ScheduleError.
func CheckSchedule(spec string) error {
	_, err := parseSchedule(spec)
	return err
}

// parseSchedule reads a schedule of five fields or a word such as "@daily".
func parseSchedule(spec string) (cron.Schedule, error) {
	trimmed := strings.TrimSpace(spec)
	wrong := func(what, right string) error { return &ScheduleError{Spec: spec, Wrong: what, Right: right} }
	switch upper := strings.ToUpper(trimmed); {
	case trimmed == "":
		return nil, wrong("is empty", scheduleRight)
	case strings.HasPrefix(upper, "TZ=") || strings.HasPrefix(upper, "CRON_TZ="):
		return nil, wrong("names a time zone", "leave it out, the building's zone is used; "+scheduleRight)
	case strings.HasPrefix(upper, "@EVERY"):
		return nil, wrong("counts from the start of the program, so a restart moves it", scheduleRight)
	}
	s, err := parseSafely(trimmed)
	if err != nil {
		return nil, wrong("does not parse ("+err.Error()+")", scheduleRight)
	}
	// Any instant will do: the library looks five years ahead.
	if s.Next(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, wrong("never comes, as its day is not in any of its months", "choose a day that exists, such as 28 for February; "+scheduleRight)
	}
	return s, nil
}

// parseSafely holds off the panics that the library has for some texts.
func parseSafely(spec string) (s cron.Schedule, err error) {
	defer func() {
		if p := recover(); p != nil {
			s, err = nil, fmt.Errorf("the fields make no sense: %v", p)
		}
	}()
	return cron.ParseStandard(spec)
}

// WarnSchedule is a sentence about a schedule that can be kept but is unwise, and
// empty for others: between 01:00 and 03:59 the change to summer time may skip
// it, and the change back may make it come twice.
func WarnSchedule(spec string) string {
	s, err := parseSchedule(spec)
	if err != nil {
		return ""
	}
	fields, ok := s.(*cron.SpecSchedule)
	const night, all = 0b1110, 1<<24 - 1
	if !ok || fields.Hour&night == 0 || fields.Hour&all == all {
		return ""
	}
	return fmt.Sprintf("schedule %q comes between 01:00 and 03:59, hours that the change of the clocks skips or repeats once a year: choose another hour, such as %q", spec, NightlySchedule)
}

// Parts are what is wrong and what would be right, for whoever lays an error out
// by itself.
func (e *ScheduleError) Parts() (wrong, right string) { return e.Wrong, e.Right }
