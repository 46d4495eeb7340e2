package tracestory

import (
	"errors"
	"io"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestStoryInText(t *testing.T) {
	r := newRecording().power(1, 5*time.Minute).wash().wash()
	r.power(150, 10*time.Minute).hole(2*time.Hour).power(1, 5*time.Minute).power(2000, 10*time.Minute)
	got := told(t, Options{Trace: r.file(t, "cellar.csv"), Kind: "washer"})
	const want = `cellar.csv, a washer: 660 readings, Sat 31 Jan 2026 18:00:10 to 21:50:00 UTC

   1 Sat 31 Jan 2026 18:05:10 to 18:35:10: 30 min, 0.383 kWh, peak 2000 W
     finished; told at 18:38:10, 3 min 0 s after its end
     after 1/4: about 1 h 8 min to go (23 min to 2 h 23 min); it was 23 min
     after 1/2: about 1 h 0 min to go (15 min to 2 h 15 min); it was 15 min
     after 3/4: about 53 min to go (8 min to 2 h 8 min); it was 8 min

   2 Sat 31 Jan 2026 18:45:10 to 19:15:10: 30 min, 0.383 kWh, peak 2000 W
     finished; told at 19:18:10, 3 min 0 s after its end
     after 1/4: 23 min to go (18 min to 28 min); it was 23 min
     after 1/2: 15 min to go (10 min to 20 min); it was 15 min
     after 3/4: 8 min to go (3 min to 13 min); it was 8 min

   3 Sat 31 Jan 2026 19:25:10 to 19:35:00: 9 min 50 s, 0.025 kWh, peak 150 W
     presumed over, as the meter was silent; told at 21:38:10, 2 h 3 min after its end

     no word from the meter, Sat 31 Jan 2026 19:35:00 to 21:35:10: 2 h 0 min

   4 Sat 31 Jan 2026 21:40:10 to 21:50:00: 9 min 50 s, 0.328 kWh, peak 2000 W
     cut off by the end of the recording
     said last: 21 min to go (17 min to 25 min)

4 cycles: 2 finished; 1 presumed over, as the meter was silent; 1 cut off by the end of the recording
1.119 kWh in all
of those that finished, the median took 30 min and was told 3 min 0 s after its end
remaining time at the quarters: off by 22.5 min on average, within the interval in 6 of 6
1 silence, 2 h 0 min in all
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestRunUsage(t *testing.T) {
	good := newRecording().wash().file(t, "good.csv")
	for _, c := range []struct {
		o    Options
		want string
	}{
		{Options{Trace: good}, "--kind washer"},
		{Options{Trace: good, Kind: "mangle"}, `"mangle"`},
		{Options{Kind: "dryer"}, "drumturn replay TRACE.csv --kind dryer"},
		{Options{Trace: filepath.Join(t.TempDir(), "none.csv"), Kind: "dryer"}, "none.csv"},
		{Options{Trace: good, Kind: "washer", IdleFor: -time.Minute}, "--idle-for 3m"},
	} {
		c.o.New = newFixed
		err := Run(c.o, io.Discard)
		var usage UsageError
		if !errors.As(err, &usage) || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want a word on %s", c.o, err, c.want)
		}
	}
}

func TestRunSettings(t *testing.T) {
	r := newRecording().power(1, time.Minute).power(200, 20*time.Minute).power(8, 10*time.Minute).power(200, 20*time.Minute).power(8, 10*time.Minute)
	path := r.file(t, "glow.csv.gz")
	if got := told(t, Options{Trace: path, Kind: "dryer"}); !strings.Contains(got, "\n1 cycle: 1 cut off") {
		t.Errorf("with the common rule:\n%s", got)
	}
	o := Options{Trace: path, Kind: "washer-dryer", IdleBelowW: 10, IdleFor: 5 * time.Minute}
	if got := told(t, o); !strings.Contains(got, "\n2 cycles: 2 finished") || !strings.Contains(got, "told 5 min 0 s after") {
		t.Errorf("with a rule of its own:\n%s", got)
	}
}

func TestRunBadTraces(t *testing.T) {
	for _, c := range []struct{ what, text, want string }{
		{"half a header", "time,litres\n", "line 1"},
		{"goes back", "time,watts\n2026-01-31T18:00:00Z,1\n2026-01-31T17:00:00Z,1\n", "line 3"},
		{"no time", "time,watts\n2026-01-31T18:00:00Z,1\nyesterday,2\n", "yesterday"},
		{"no number", "time,watts\n2026-01-31T18:00:00Z,much\n", "much"},
	} {
		err := Run(Options{Trace: write(t, "bad.csv", c.text), Kind: "washer", New: newFixed}, io.Discard)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "bad.csv") {
			t.Errorf("%s: %v", c.what, err)
		}
	}
	for _, text := range []string{"", "time,watts\n"} {
		err := Run(Options{Trace: write(t, "none.csv", text), Kind: "washer", New: newFixed}, io.Discard)
		var misuse UsageError
		if !errors.As(err, &misuse) || !strings.Contains(err.Error(), "no readings") || !strings.Contains(err.Error(), "time,watts") {
			t.Errorf("no readings: %v", err)
		}
	}
}

// One bad row does not cost the others.
func TestRunLeavesBadRowsOut(t *testing.T) {
	r := newRecording().power(1, time.Minute)
	for range 20 {
		r.rows.WriteString("2026-01-31T18:01:00Z,much\n")
	}
	r.wash()
	var complaints strings.Builder
	got := told(t, Options{Trace: r.file(t, "x.csv"), Kind: "washer", Complaints: &complaints})
	if !strings.Contains(got, "246 readings") || !strings.Contains(got, "\n1 cycle: 1 finished") {
		t.Errorf("story:\n%s", got)
	}
	lines := strings.Split(strings.TrimSpace(complaints.String()), "\n")
	if len(lines) != mostComplaints+1 || !strings.Contains(lines[0], "line 8:") || !strings.Contains(lines[mostComplaints], "20 rows") {
		t.Errorf("complaints:\n%s", complaints.String())
	}
}
