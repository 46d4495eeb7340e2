package cycle

import (
	"compress/gzip"
	"encoding/csv"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"
)

// traces is the folder of measured traces with reference labels. Tests that read
// it are skipped where it is missing, unless DRUMTURN_TRACES says where it is.
func traces(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("DRUMTURN_TRACES")
	must := dir != "" || os.Getenv("CI") == "true"
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "traces")
	}
	if _, err := os.Stat(dir); err != nil {
		if must {
			t.Fatalf("no measured traces; DRUMTURN_TRACES says where they are: %v", err)
		}
		t.Skipf("no measured traces here (%v); set DRUMTURN_TRACES to their folder", err)
	}
	return dir
}

// csvRows reads a CSV file, gzipped or not, without its header.
func csvRows(t testing.TB, path string) [][]string {
	t.Helper()
	file, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	var in io.Reader = file
	if filepath.Ext(path) == ".gz" {
		if in, err = gzip.NewReader(file); err != nil {
			t.Fatal(err)
		}
	}
	rows, err := csv.NewReader(in).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows[1:]
}

func instant(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// trace reads the readings of a measured machine, such as "tracebase/washer-9".
func trace(t testing.TB, machine string) []Reading {
	t.Helper()
	rows := csvRows(t, filepath.Join(traces(t), filepath.FromSlash(machine)+".csv.gz"))
	readings := make([]Reading, len(rows))
	for i, row := range rows {
		readings[i] = Power(instant(t, row[0]), number(t, row[1]))
	}
	return readings
}

// label is a reference cycle.
type label struct {
	start, end       time.Time
	quality          string
	energyWh, peakW  float64
	longestPauseSecs float64
}

// labels reads the reference cycles of a measured machine.
func labels(t testing.TB, machine string) []label {
	t.Helper()
	dir, name := filepath.Split(filepath.FromSlash(machine))
	var found []label
	for _, row := range csvRows(t, filepath.Join(traces(t), dir, "labels.csv")) {
		if row[0] == name {
			found = append(found, label{
				start: instant(t, row[3]), end: instant(t, row[4]), quality: row[6],
				longestPauseSecs: number(t, row[7]), energyWh: number(t, row[8]), peakW: number(t, row[9]),
			})
		}
	}
	return found
}

// watch feeds readings and ticks to an engine as a loop does, and collects the ends.
func watch(e Engine, readings []Reading) (ends []Event) {
	keep := func(events []Event) {
		for _, v := range events {
			if v.Kind.Ends() {
				ends = append(ends, v)
			}
		}
	}
	for _, r := range readings {
		for next := e.Next(); !next.IsZero() && next.Before(r.At); next = e.Next() {
			keep(e.Tick(next))
		}
		keep(e.Read(r.At, r))
	}
	return ends
}

// overlap is the intersection over union of two stretches of time.
func overlap(a, b, c, d time.Time) float64 {
	both := minTime(b, d).Sub(maxTime(a, c))
	if both <= 0 {
		return 0
	}
	return float64(both) / float64(maxTime(b, d).Sub(minTime(a, c)))
}

func minTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func maxTime(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
