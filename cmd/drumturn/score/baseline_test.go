package score

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// tracesDir is the folder of measured traces with reference labels. Tests that
// read it are skipped where it is missing, unless DRUMTURN_TRACES says where.
func tracesDir(t testing.TB) string {
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

func learned(s cycle.Settings) cycle.Engine { return cycle.New(s) }

func near(t *testing.T, what string, got Number, want, off float64) {
	t.Helper()
	if math.IsNaN(float64(got)) || math.Abs(float64(got)-want) > off {
		t.Errorf("%s: %.4f, want %.4f (within %g)", what, float64(got), want, off)
	}
}

// TestTraces reckons the fixed rule and the learned engine on the measured
// traces. The fixed rule's figures are those that came with the traces, reckoned
// by others; the engine's are what it must not fall below.
func TestTraces(t *testing.T) {
	rep, err := Measure(Options{Dir: tracesDir(t), New: learned, Settings: cycle.DefaultSettings(), Baseline: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Run("fixed rule", func(t *testing.T) { checkBaseline(t, rep.Baseline) })
	t.Run("learned", func(t *testing.T) { checkLearned(t, rep) })
}

func checkBaseline(t *testing.T, rep *Report) {
	total, refit, tb := rep.Total, rep.Datasets["refit"], rep.Datasets["tracebase"]
	near(t, "f1 in all", total.F1, 0.833, 0.0005)
	near(t, "f1 loadprofilegenerator", rep.Datasets["loadprofilegenerator"].F1, 0.900, 0.0005)
	near(t, "f1 refit", refit.F1, 0.878, 0.0005)
	near(t, "f1 tracebase", tb.F1, 0.586, 0.0005)
	if total.FalseFinishes != 2 || total.Merged != 9 || total.Split != 1 {
		t.Errorf("false finishes %d, merged %d, split %d; want 2, 9, 1", total.FalseFinishes, total.Merged, total.Split)
	}
	near(t, "declared", total.DeclareMedianS, 330, 0.5)
	near(t, "declared, 95 %", total.DeclareP95S, 420, 0.5)
	near(t, "declared tracebase", tb.DeclareMedianS, 187, 0.5)
	near(t, "declared tracebase, 95 %", tb.DeclareP95S, 1355, 0.5)
	near(t, "end error", total.EndErrorMedianS, 150, 0.5)
	near(t, "end error, 90 %", total.EndErrorP90S, 210, 0.5)
	near(t, "end error tracebase", tb.EndErrorMedianS, 5, 0.5)
	near(t, "end error tracebase, 90 %", tb.EndErrorP90S, 241, 0.5)
	near(t, "last run", total.RemainingLastRunMAEMin, 18.7, 0.05)
	near(t, "last run refit", refit.RemainingLastRunMAEMin, 19.6, 0.05)
	near(t, "last run tracebase", tb.RemainingLastRunMAEMin, 9.6, 0.05)
}

func checkLearned(t *testing.T, rep *Report) {
	atMost := func(what string, got Number, most float64) {
		t.Helper()
		if !(float64(got) <= most) {
			t.Errorf("%s: %.3f, at most %.3f wanted", what, float64(got), most)
		}
	}
	total, refit, tb := rep.Total, rep.Datasets["refit"], rep.Datasets["tracebase"]
	if total.F1 < 0.995 {
		t.Errorf("f1 %.3f", float64(total.F1))
	}
	if total.FalseFinishes > 0 || total.DeclaredEarlyWorstS > 60 {
		t.Errorf("false finishes %d, declared early by %v s", total.FalseFinishes, total.DeclaredEarlyWorstS)
	}
	atMost("declared tracebase", tb.DeclareMedianS, 60)
	atMost("declared tracebase, 95 %", tb.DeclareP95S, 190)
	atMost("declared refit", refit.DeclareMedianS, 130)
	atMost("declared refit, 95 %", refit.DeclareP95S, 270)
	atMost("end error tracebase", tb.EndErrorMedianS, 20)
	atMost("ratio to last run", total.RatioToLastRun, 0.39)
	atMost("ratio, median machine", total.RatioMachineMedian, 0.41)
	near(t, "coverage", total.Coverage80, 0.80, 0.05)
}

func TestFixedRule(t *testing.T) {
	at := func(s int) time.Time { return time.Date(2025, 1, 1, 0, 0, s, 0, time.UTC) }
	var rs []cycle.Reading
	power := func(from, to int, w float64) {
		for s := from; s < to; s += 10 {
			rs = append(rs, cycle.Power(at(s), w))
		}
	}
	power(0, 100, 1)
	power(100, 1000, 50)
	power(1000, 1300, 2)
	power(1300, 1500, 60)
	power(2200, 2300, 60)
	got := fixedRule(rs)
	want := []Cycle{
		{Start: at(100), End: at(1000), Declared: at(1180)},
		{Start: at(1300), End: at(1490), Declared: at(2200)},
		{Start: at(2200), End: at(2290), AtEndOfFile: true},
	}
	if len(got) != len(want) {
		t.Fatalf("%d cycles, want %d: %v", len(got), len(want), got)
	}
	for i, w := range want {
		g := got[i]
		if !g.Start.Equal(w.Start) || !g.End.Equal(w.End) || !g.Declared.Equal(w.Declared) || g.AtEndOfFile != w.AtEndOfFile {
			t.Errorf("cycle %d: %+v, want %+v", i, g, w)
		}
	}
}
