package score

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"drumturn/coordinator/cycle"
)

// TestDisturbed holds what the engine makes of disturbed copies of the measured
// traces: figures that it must not fall below (they are this engine's own, not
// somebody else's). Each is a little worse than what was measured.
func TestDisturbed(t *testing.T) {
	if testing.Short() {
		t.Skip("reads every trace fourteen times: not in a short run, which is for the race detector")
	}
	rep, err := Measure(Options{Dir: tracesDir(t), New: learned, Settings: cycle.DefaultSettings(), Disturbed: true})
	if err != nil {
		t.Fatal(err)
	}
	floors := map[string]struct {
		f1    float64
		wrong int
		ratio float64
	}{
		asRecorded:                       {0.999, 0, 0.40},
		"a fifth of the readings lost":   {0.99, 2, 0.43},
		"glow of 5 W after the end":      {0.99, 2, 0.40},
		"glow of 9 W after the end":      {0.99, 1, 0.45},
		"glow of 12 W after the end":     {0.97, 18, 0.60},
		"a reading each 30 s":            {0.98, 2, 0.60},
		"a reading each 60 s":            {0.98, 4, 0.55},
		"a mean of each 30 s":            {0.99, 1, 0.50},
		"a mean of each 60 s":            {0.99, 1, 0.50},
		"reports of changes":             {0.99, 1, 0.41},
		"stopped for 5 min in the midst": {0.90, 28, 0.55},
		"1.5 times the power":            {0.99, 1, 0.41},
		"steps of 2 W":                   {0.99, 1, 0.41},
		"noise of 3 % and 0.4 W":         {0.99, 1, 0.41},
	}
	if len(rep.Disturbed) != len(floors) {
		t.Errorf("%d disturbances, %d known here", len(rep.Disturbed), len(floors))
	}
	for _, d := range rep.Disturbed {
		f, want := d.Total, floors[d.Name]
		t.Logf("%s: f1 %.3f, %d false finishes, ratio %.2f", d.Name, float64(f.F1), f.FalseFinishes, float64(f.RatioToLastRun))
		if !(float64(f.F1) >= want.f1) || f.FalseFinishes > want.wrong || !(float64(f.RatioToLastRun) <= want.ratio) {
			t.Errorf("%s: want f1 of %.3f or more, %d false finishes and a ratio of %.2f or less", d.Name, want.f1, want.wrong, want.ratio)
		}
	}
}

// TestCalibration measures what the doubt setting promises: of the cycles
// declared over, no greater share than that may have been running. The whole table
// is `drumturn score --calibrate`; here the traces as they were recorded.
func TestCalibration(t *testing.T) {
	if testing.Short() {
		t.Skip("reads every trace four times: not in a short run, which is for the race detector")
	}
	ms, err := load(tracesDir(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, doubt := range doubts {
		o := Options{New: learned, Settings: cycle.DefaultSettings()}
		o.Settings.Doubt = doubt
		all, err := measureOn(o, ms, nil)
		if err != nil {
			t.Fatal(err)
		}
		c := calibrated(doubt, all[0])
		t.Logf("doubt %4.0f %%: %d of %d declared wrongly (%.2f %%), declared %.0f s after the end (95 %%: %.0f s)",
			100*doubt, c.Wrong, c.Declared, 100*float64(c.Share), float64(c.MedianS), float64(c.P95S))
		if !(float64(c.Share) <= doubt) {
			t.Errorf("with a doubt of %.2f, %.3f were declared wrongly", doubt, float64(c.Share))
		}
	}
}

// TestRunPrintsDisturbed: the tables and the JSON of what was asked for.
func TestRunPrintsDisturbed(t *testing.T) {
	o := Options{
		Dir: folder(t, twoLabels, [2]int{60, 120}, [2]int{240, 330}), New: learned,
		Settings: cycle.DefaultSettings(), Disturbed: true, Calibrate: true,
	}
	var out bytes.Buffer
	if err := Run(o, &out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"glow of 9 W after the end", "stopped for 5 min", "20 %", "2 %", "all", asRecorded} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("no %q in\n%s", want, out.String())
		}
	}
	if strings.Contains(out.String(), "a reading each 30 s") {
		t.Error("a meter of 30 s is not disturbed by reading it each 30 s")
	}
	o.JSON = true
	out.Reset()
	if err := Run(o, &out); err != nil {
		t.Fatal(err)
	}
	var rep struct {
		Disturbed []struct {
			Name  string
			Total map[string]any
		}
		Calibration []struct {
			Doubt, Share float64
			On           string
			Declared     int
		}
	}
	if err := json.Unmarshal(out.Bytes(), &rep); err != nil {
		t.Fatal(err)
	}
	if len(rep.Disturbed) != 1+len(disturbances)-2 || rep.Disturbed[0].Total["f1"] != 1.0 {
		t.Errorf("%+v", rep.Disturbed)
	}
	if n := len(rep.Calibration); n != len(doubts)*len(rep.Disturbed) || rep.Calibration[0].Doubt != 0.2 || rep.Calibration[0].Declared != 2 {
		t.Errorf("%d: %+v", n, rep.Calibration)
	}
}

// TestTakenBackCountsAsDeclared: an end that the engine takes back is no cycle, but a
// false finish when the machine was running.
func TestTakenBackCountsAsDeclared(t *testing.T) {
	w := watcher{}
	end := func(k cycle.Kind, from, to, said float64) cycle.Event {
		return cycle.Event{Kind: k, Start: minute(from), End: minute(to), At: minute(said)}
	}
	w.take([]cycle.Event{end(cycle.Finished, 0, 40, 45)})
	w.take([]cycle.Event{{Kind: cycle.Resumed, Start: minute(0), At: minute(50)}})
	w.take([]cycle.Event{end(cycle.Finished, 0, 100, 103)})
	w.take([]cycle.Event{end(cycle.StoppedEarly, 200, 230, 233)})
	if len(w.cycles) != 2 || len(w.takenBack) != 1 || !w.cycles[0].End.Equal(minute(100)) {
		t.Fatalf("%v, taken back %v", w.cycles, w.takenBack)
	}
	y := tallyMachine(w.cycles, w.takenBack, nil, []Label{label(0, 100, Clean), label(200, 230, Clean)})
	if f := y.figures(); f.F1 != 1 || f.FalseFinishes != 1 || f.Declared != 3 || f.Split != 0 {
		t.Errorf("%+v", f)
	}
}
