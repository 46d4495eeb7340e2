package meter_test

import (
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/meter"
)

// TestParseStamp: RFC 3339 (with its examples of section 5.8) and Unix time.
func TestParseStamp(t *testing.T) {
	for text, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":   time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"1996-12-19T16:39:57-08:00": time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
		"0":                         time.Unix(0, 0),
		"-1.5":                      time.Unix(-2, 500e6),
		"1767366245":                time.Unix(1767366245, 0),
		"1767366245.000001":         time.Unix(1767366245, 1000),
		"99999999999":               time.Unix(99999999999, 0),         // the last that counts as seconds
		"100000000000":              time.UnixMilli(100_000_000_000),   // the first in milliseconds
		"-100000000000":             time.UnixMilli(-100_000_000_000),  // also before 1970
		"1.767366245e12":            time.UnixMilli(1_767_366_245_000), // as some devices print it
	} {
		got, err := meter.ParseStamp(text)
		if err != nil || !got.Equal(want) || got.Location() != time.UTC {
			t.Errorf("%s is %v (%v), want %v", text, got, err, want.UTC())
		}
	}
	for _, text := range []string{"", "noon", "2026-01-02", "2026-01-02T15:04:05", "1e15", "-1e15", "1767366245000000", "NaN", "Inf", "0x10"} {
		if got, err := meter.ParseStamp(text); err == nil || !strings.Contains(err.Error(), "RFC 3339") {
			t.Errorf("%q is %v (%v)", text, got, err)
		}
	}
}
