package config

import (
	"fmt"
	"math"
	"math/big"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

func TestDurationTexts(t *testing.T) {
	const minute, hour, day = time.Minute, time.Hour, 24 * time.Hour
	for text, want := range map[string]time.Duration{
		"90s": 90 * time.Second, "10m": 10 * minute, "1h30m": 90 * minute, "1h 30m": 90 * minute,
		"10 min": 10 * minute, "2 hours": 2 * hour, "1 day": day, "7d": 7 * day, "0s": 0, " 5 sec ": 5 * time.Second,
		"1d 2h 3m 4s": day + 2*hour + 3*minute + 4*time.Second, "3660d": 3660 * day, "1 second": time.Second,
	} {
		var d Duration
		if err := d.UnmarshalText([]byte(text)); err != nil || time.Duration(d) != want {
			t.Errorf("%q is %v, %v; want %v", text, time.Duration(d), err, want)
		}
	}
	for _, text := range []string{
		"", " ", "10", "m", "-5m", "1.5h", "5 parsecs", "10m!", "1h-30m", "3661d", "3660d 1s", "999999999d",
		"99999999999999999999s", "10ms", "½h", "1h30", "5\n",
	} {
		d := Duration(7)
		if err := d.UnmarshalText([]byte(text)); err == nil || d != 7 {
			t.Errorf("%q is taken as %v", text, time.Duration(d))
		}
	}
}

// Where both know a text, it means the same as in the standard library.
func TestDurationAgreesWithTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := fmt.Sprintf("%dh%dm%ds", rapid.IntRange(0, 80000).Draw(t, "h"), rapid.IntRange(0, 5000).Draw(t, "m"), rapid.IntRange(0, 5000).Draw(t, "s"))
		want, err := time.ParseDuration(text)
		if err != nil {
			t.Fatal(err)
		}
		var d Duration
		if err := d.UnmarshalText([]byte(text)); err != nil || time.Duration(d) != want {
			t.Errorf("%q is %v, %v; want %v", text, time.Duration(d), err, want)
		}
	})
}

// What is written is read back.
func TestDurationRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := Duration(rapid.Int64Range(0, 3660*24*3600).Draw(t, "seconds")) * Duration(time.Second)
		text, err := want.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		var got Duration
		if err := got.UnmarshalText(text); err != nil || got != want {
			t.Errorf("%d s is written %q and read %d, %v", want/1e9, text, got/1e9, err)
		}
	})
	if got := Duration(-90 * time.Second).String(); got != "-1m30s" {
		t.Errorf("-90 s is written %q", got)
	}
}

func TestParseClock(t *testing.T) {
	for text, want := range map[string]queue.Clock{
		"00:00": 0, "0:00": 0, "7:05": 425, "07:05": 425, "21:30": 1290, "23:59": 1439, "": queue.NoClock,
	} {
		if got, err := queue.ParseClock(text); err != nil || got != want {
			t.Errorf("%q is %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"24:00", "12:60", "12", "12:5", "1230", "-1:00", "12:00:00", " 12:00", "9pm", "١٢:٠٠"} {
		if got, err := queue.ParseClock(text); err == nil {
			t.Errorf("%q is taken as %d", text, got)
		}
	}
}

// Every minute of the day is read as what time.Format writes.
func TestParseClockAgreesWithTime(t *testing.T) {
	midnight := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	for m := range 24 * 60 {
		text := midnight.Add(time.Duration(m) * time.Minute).Format("15:04")
		if got, err := queue.ParseClock(text); err != nil || int(got) != m || got.String() != text {
			t.Fatalf("%q is %d (%s), %v; want %d", text, got, got, err, m)
		}
	}
}

func TestParseShare(t *testing.T) {
	for text, want := range map[string]float64{"2 %": 0.02, "2%": 0.02, "0.02": 0.02, " 5 % ": 0.05, "0.5%": 0.005, "1": 1} {
		if got, err := parseShare(text); err != nil || math.Abs(got-want) > 1e-12 {
			t.Errorf("%q is %v, %v; want %v", text, got, err, want)
		}
	}
	for _, text := range []string{"", "%", "two", "2 percent", "NaN", "inf", "2 % %"} {
		if got, err := parseShare(text); err == nil {
			t.Errorf("%q is taken as %v", text, got)
		}
	}
}

// Prices are exact: the same as rational arithmetic of the standard library.
func TestParseMicrosAgreesWithBig(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[0-9]{1,9}(\.[0-9]{1,6})?`).Draw(t, "price")
		rat, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatal(text)
		}
		want := new(big.Rat).Mul(rat, big.NewRat(1_000_000, 1))
		got, err := parseMicros(text)
		if err != nil || want.Cmp(new(big.Rat).SetInt64(got)) != 0 {
			t.Errorf("%q is %d, %v; want %s", text, got, err, want)
		}
	})
	for _, text := range []string{"", ".5", "5.", "-1", "+1", "1e3", "0,32", "0.1234567", "1234567890", "0.32 EUR", "0x10", " 1"} {
		if got, err := parseMicros(text); err == nil {
			t.Errorf("%q is taken as %d", text, got)
		}
	}
}
