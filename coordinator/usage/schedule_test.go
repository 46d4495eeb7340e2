package usage

import (
	"errors"
	"strings"
	"testing"
	"time"
)

func TestCheckSchedule(t *testing.T) {
	for _, c := range []struct{ spec, wrong string }{
		{NightlySchedule, ""},
		{"@daily", ""},
		{"0 6 * * MON", ""},
		{"0 5 29 2 *", ""},
		{"", "is empty"},
		{"   ", "is empty"},
		{"TZ=0", "names a time zone"},
		{"CRON_TZ=Europe/Berlin", "names a time zone"},
		{"CRON_TZ=Europe/Berlin 0 5 * * *", "names a time zone"},
		{"  tz=UTC 0 5 * * *", "names a time zone"},
		{"@every 24h", "counts from the start"},
		{"0 0 30 2 *", "never comes"},
		{"0 0 31 4,6,9,11 *", "never comes"},
		{"15 4", "does not parse"},
		{"61 4 * * *", "does not parse"},
		{"0 15 4 * * *", "does not parse"},
		{"nightly", "does not parse"},
		{"*/0 4 * * *", "does not parse"},
	} {
		err := CheckSchedule(c.spec)
		if c.wrong == "" {
			if err != nil {
				t.Errorf("%q was refused: %v", c.spec, err)
			}
			continue
		}
		var told *ScheduleError
		if !errors.As(err, &told) || !strings.Contains(told.Wrong, c.wrong) || told.Spec != c.spec {
			t.Errorf("%q: %v", c.spec, err)
			continue
		}
		if !strings.Contains(told.Right, "15 4 * * *") {
			t.Errorf("%q: what would be right is not said: %s", c.spec, told.Right)
		}
	}
}

func TestWarnSchedule(t *testing.T) {
	for spec, want := range map[string]bool{
		NightlySchedule: false, "0 0 * * *": false, "59 0 * * *": false, "0 4 * * *": false, "0 * * * *": false, "bad": false,
		"0 1 * * *": true, "30 2 * * *": true, "59 3 * * *": true, "0 2,14 * * *": true, "0 0-6 * * *": true,
	} {
		if got := WarnSchedule(spec) != ""; got != want {
			t.Errorf("%q: warned %v, want %v", spec, got, want)
		}
	}
}

// FuzzCheckSchedule: no text ends the program, and what is accepted comes.
func FuzzCheckSchedule(f *testing.F) {
	for _, s := range []string{NightlySchedule, "TZ=0", "CRON_TZ=", "@every 1s", "0 0 30 2 *", "1-5/2 */3 ? JAN-DEC sun"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, spec string) {
		_ = WarnSchedule(spec)
		s, err := parseSchedule(spec)
		if err != nil {
			return
		}
		if s.Next(time.Date(2026, 6, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
			t.Errorf("%q was accepted and never comes", spec)
		}
	})
}
