package tracestory

import (
	"encoding/csv"
	"os"
	"path/filepath"
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
		dir = filepath.Join("..", "..", "..", "..", "shared", "traces")
	}
	if _, err := os.Stat(dir); err != nil {
		if must {
			t.Fatalf("no measured traces; DRUMTURN_TRACES says where they are: %v", err)
		}
		t.Skipf("no measured traces here (%v); set DRUMTURN_TRACES to their folder", err)
	}
	return dir
}

// label is a reference cycle.
type label struct{ start, end time.Time }

// labels reads the reference cycles of a machine that count.
func labels(t *testing.T, set, machine string) (all []label) {
	t.Helper()
	file, err := os.Open(filepath.Join(traces(t), set, "labels.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows {
		if row[0] == machine && row[6] != "doubtful" {
			all = append(all, label{when(t, row[3]), when(t, row[4])})
		}
	}
	return all
}

func when(t *testing.T, text any) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text.(string))
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// share is the intersection over union of two stretches.
func share(a, b label) float64 {
	from, to := a.start, a.end
	if b.start.After(from) {
		from = b.start
	}
	if b.end.Before(to) {
		to = b.end
	}
	both := max(0, to.Sub(from))
	return float64(both) / float64(a.end.Sub(a.start)+b.end.Sub(b.start)-both)
}

// The JSON of the fixed rule against the reference labels, reckoned from the lines
// alone. The machines are washers that go down to 1-3 W when they are done, for
// which the rule is good; and one that is recorded to its last minute only.
// Contains information from the tracebase data set, which is made available at
// http://www.tracebase.org under the Open Database License (ODbL).
// The last one is from LoadProfileGenerator, copyright 2021 FZJ-IEK3, MIT licence.
func TestJSONAgainstLabels(t *testing.T) {
	for _, c := range []struct {
		set, machine string
		want         int
		cutOff       bool
	}{
		{"tracebase", "washer-3", 5, false},
		{"tracebase", "washer-8", 6, false},
		{"tracebase", "washer-9", 23, false},
		{"loadprofilegenerator", "washer-4-run5", 1, true},
	} {
		all := labels(t, c.set, c.machine)
		path := filepath.Join(traces(t), c.set, c.machine+".csv.gz")
		lines := objects(t, told(t, Options{Trace: path, Kind: "washer", JSON: true}))
		ends := only(lines, "finished", "stopped_early")
		found := 0
		for _, l := range all {
			for _, o := range ends {
				if share(l, label{when(t, o["start"]), when(t, o["end"])}) >= 0.7 {
					found++
					if cut := o["at_end_of_file"] == true; cut != c.cutOff {
						t.Errorf("%s: cut off is %v", c.machine, cut)
					}
				}
			}
		}
		t.Logf("%s/%s: %d of %d labels found, %d cycles told", c.set, c.machine, found, len(all), len(ends))
		if len(all) != c.want || found != len(all) {
			t.Errorf("%s/%s: %d of %d labels found, want all of %d", c.set, c.machine, found, len(all), c.want)
		}
		if n := len(only(lines, "started")); n != len(ends) {
			t.Errorf("%s: %d starts and %d ends", c.machine, n, len(ends))
		}
	}
}
