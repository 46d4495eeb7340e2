package score

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

var day = time.Date(2025, 2, 3, 0, 0, 0, 0, time.UTC)

func minute(m float64) time.Time { return day.Add(time.Duration(m * float64(time.Minute))) }

func label(from, to float64, q Quality) Label {
	return Label{Machine: "washer-1", ID: fmt.Sprintf("w-%.0f", from), Kind: "washer", Start: minute(from), End: minute(to), Quality: q}
}

func found(from, to, declared float64) Cycle {
	return Cycle{Start: minute(from), End: minute(to), Declared: minute(declared), Kind: cycle.Finished}
}

func TestIntersectionOverUnion(t *testing.T) {
	for _, c := range []struct {
		cycle Cycle
		want  float64
	}{
		{found(0, 100, 103), 1},
		{found(50, 150, 153), 50.0 / 150},
		{found(10, 100, 103), 0.9},
		{found(100, 200, 203), 0},
		{found(-50, 150, 153), 0.5},
	} {
		if got := iou(c.cycle, label(0, 100, Clean)); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("%v: %v, want %v", c.cycle, got, c.want)
		}
	}
}

func TestMatchIsOneToOneMostOverlapFirst(t *testing.T) {
	ls := []Label{label(0, 100, Clean), label(120, 200, Doubtful), label(300, 400, Gap)}
	cs := []Cycle{found(0, 80, 83), found(0, 98, 101), found(120, 200, 203), found(300, 360, 363)}
	got := match(cs, ls)
	if want := []int{1, -1, -1}; fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("match %v, want %v", got, want)
	}
}

func TestWhatCounts(t *testing.T) {
	ls := []Label{label(0, 100, Clean), label(120, 200, Doubtful)}
	for _, c := range []struct {
		cycle          Cycle
		counts, wrongs bool
	}{
		{found(0, 100, 103), true, false},
		{found(120, 150, 153), false, false}, // doubtful: neither way
		{found(50, 150, 153), true, false},   // overlaps a clean one, too
		{found(500, 510, 513), true, false},  // nothing there: a false alarm
		{found(0, 50, 53), true, true},       // declared while it ran
		{found(0, 99, 99.5), true, false},    // half a minute to go is forgiven
		{found(-90, -10, 50), true, false},   // running, but not the one declared
		{Cycle{Start: minute(0), End: minute(50), AtEndOfFile: true}, true, false},
	} {
		if got := counts(c.cycle, ls); got != c.counts {
			t.Errorf("%v counts: %v", c.cycle, got)
		}
		if got := falseFinish(c.cycle, ls); got != c.wrongs {
			t.Errorf("%v false finish: %v", c.cycle, got)
		}
	}
}

func TestTallyMergedAndSplit(t *testing.T) {
	ls := []Label{label(0, 100, Clean), label(104, 200, Clean), label(300, 400, Clean)}
	cs := []Cycle{found(0, 200, 203), found(300, 345, 348), found(350, 400, 403)}
	f := func() Figures { y := tallyMachine(cs, nil, nil, ls); return y.figures() }()
	if f.Merged != 1 || f.Split != 1 || f.Labels != 3 || f.Detected != 3 || f.Matched != 0 {
		t.Errorf("%+v", f)
	}
}

// TestRemaining reckons by hand: a first label that is not asked about, and one
// of ten minutes whose estimates are two minutes too high.
func TestRemaining(t *testing.T) {
	ls := []Label{label(0, 14, Clean), label(100, 110, Clean)}
	ask := instants(ls)
	if len(ask) != 9 || !ask[0].Equal(minute(101)) || !ask[8].Equal(minute(109)) {
		t.Fatalf("asked at %v", ask)
	}
	var as []Answer
	for k, at := range ask {
		truth := float64(9 - k)
		as = append(as, Answer{At: at, Median: truth + 2, Low: truth - 1, High: truth + 3})
	}
	as[8] = Answer{At: ask[8]} // "not running" when a minute is left
	y := tallyMachine([]Cycle{found(0, 14, 15), found(100, 110, 112)}, nil, as, ls)
	f := y.figures()
	near(t, "mean error", f.RemainingMAEMin, (8*2+1)/9.0, 1e-9)
	// Last run took 14 minutes, so "start + 14" is 4 minutes too late throughout.
	near(t, "last run", f.RemainingLastRunMAEMin, 4, 1e-9)
	near(t, "coverage", f.Coverage80, 8.0/9, 1e-9)
	near(t, "width", f.Width80Min, 8*4/9.0, 1e-9)
	near(t, "declared", f.DeclareMedianS, 90, 1e-9)
	if !math.IsNaN(float64(f.RatioMachineMedian)) {
		t.Error("one scored cycle is too few for a machine's ratio")
	}
}

func TestDeclaredEarly(t *testing.T) {
	y := tallyMachine([]Cycle{found(0, 99, 99.5)}, nil, nil, []Label{label(0, 100, Clean)})
	if f := y.figures(); f.DeclaredEarly != 1 || f.DeclaredEarlyWorstS != 30 || f.EndErrorMedianS != 60 {
		t.Errorf("%+v", f)
	}
}

func TestPercentileInterpolates(t *testing.T) {
	vs := []float64{40, 10, 20, 30}
	for p, want := range map[float64]float64{0: 10, 0.5: 25, 0.95: 38.5, 1: 40} {
		near(t, fmt.Sprint("percentile ", p), percentile(vs, p), want, 1e-9)
	}
	if !math.IsNaN(float64(percentile(nil, 0.5))) {
		t.Error("a percentile of nothing")
	}
}

// folder writes a data set of one machine: cycles of 400 W for the given minutes.
func folder(t *testing.T, labels string, work ...[2]int) string {
	t.Helper()
	dir := t.TempDir()
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	fmt.Fprintln(z, "time,watts")
	for s := 0; s < 600*60; s += 30 {
		w := 1.0
		for _, k := range work {
			if s >= k[0]*60 && s < k[1]*60 {
				w = 400
			}
		}
		fmt.Fprintf(z, "%s,%g\n", day.Add(time.Duration(s)*time.Second).Format(time.RFC3339), w)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "washer-1.csv.gz"), b.String())
	write(t, filepath.Join(dir, labelsFile), labels)
	return dir
}

func write(t *testing.T, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

const twoLabels = `machine,cycle_id,kind,start,end,after_until,quality
washer-1,a,washer,2025-02-03T01:00:00Z,2025-02-03T02:00:00Z,,clean
washer-1,b,washer,2025-02-03T04:00:00Z,2025-02-03T05:30:00Z,,clean
`

func TestRunPrintsTablesAndJSON(t *testing.T) {
	dir := folder(t, twoLabels, [2]int{60, 120}, [2]int{240, 330})
	o := Options{Dir: dir, New: learned, Settings: cycle.DefaultSettings(), Baseline: true, JSON: true}
	var out bytes.Buffer
	if err := Run(o, &out); err != nil {
		t.Fatal(err)
	}
	var rep map[string]any
	if err := json.Unmarshal(out.Bytes(), &rep); err != nil {
		t.Fatalf("not JSON: %v\n%s", err, out.String())
	}
	total := rep["total"].(map[string]any)
	if total["f1"] != 1.0 || total["remaining_ratio_machine_median"] != nil {
		t.Errorf("total %v", total)
	}
	name := filepath.Base(dir)
	if rep["datasets"].(map[string]any)[name] == nil || rep["machines"].(map[string]any)[name+"/washer-1"] == nil {
		t.Errorf("names in %v", rep)
	}
	o.JSON = false
	out.Reset()
	if err := Run(o, &out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"washer-1", "total", "fixed rule", "declared s"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
}

func TestPlotDrawsWhatWentWrong(t *testing.T) {
	// The second label is not in the recording, and the recording has a cycle more.
	dir := folder(t, twoLabels, [2]int{60, 120}, [2]int{400, 460})
	plots := filepath.Join(t.TempDir(), "plots")
	o := Options{Dir: dir, New: learned, Settings: cycle.DefaultSettings(), Plot: plots}
	if err := Run(o, &bytes.Buffer{}); err != nil {
		t.Fatal(err)
	}
	files, err := filepath.Glob(filepath.Join(plots, "*.svg"))
	if all := strings.Join(files, " "); err != nil || !strings.Contains(all, "-b.svg") || !strings.Contains(all, "T064000.svg") {
		t.Fatalf("plots (%v): %v", err, files)
	}
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		if s := string(text); !strings.HasPrefix(s, "<svg") || !strings.HasSuffix(s, "</svg>\n") || strings.Contains(s, "NaN") {
			t.Errorf("%s is no drawing", f)
		}
	}
}

func TestErrorsSayWhere(t *testing.T) {
	for name, c := range map[string]struct{ labels, want string }{
		"column":  {"machine,cycle_id,kind,start,end\n", `no column "quality"`},
		"time":    {strings.Replace(twoLabels, "2025-02-03T01:00:00Z", "yesterday", 1), "line 2: start"},
		"quality": {strings.Replace(twoLabels, "clean", "good", 1), `quality "good"`},
		"kind":    {strings.Replace(twoLabels, "a,washer", "a,oven", 1), `kind "oven"`},
		"order":   {strings.Replace(twoLabels, "2025-02-03T02:00:00Z", "2025-02-03T00:00:00Z", 1), "is not after start"},
		"trace":   {strings.ReplaceAll(twoLabels, "washer-1", "washer-2"), "washer-2.csv.gz"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Measure(Options{Dir: folder(t, c.labels), New: learned})
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %q", err, c.want)
			}
		})
	}
	if _, err := Measure(Options{Dir: t.TempDir(), New: learned}); err == nil || !strings.Contains(err.Error(), "labels.csv") {
		t.Errorf("an empty folder: %v", err)
	}
}

func TestTraceMustBeInOrder(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.csv")
	write(t, path, "time,watts\n2025-02-03T01:00:00Z,5\n2025-02-03T00:59:00Z,5\n")
	if _, err := readTrace(path); err == nil || !strings.Contains(err.Error(), "line 3") {
		t.Errorf("error %v", err)
	}
	write(t, path, "time,watts\n2025-02-03T01:00:00Z,five\n")
	if _, err := readTrace(path); err == nil || !strings.Contains(err.Error(), "line 2") {
		t.Errorf("error %v", err)
	}
	write(t, path, "time,watts\n")
	if _, err := readTrace(path); err == nil {
		t.Error("an empty recording is none")
	}
}
