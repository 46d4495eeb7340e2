package score

import (
	"path/filepath"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// TestKnownProgrammeBound reckons how well somebody could tell the remaining time who
// knows from the first minute which programme runs (by the labels' groups), and how
// long all other cycles of it took, also those still to come, but does not see the
// course: the median of those that took longer than has passed. Where cycles of a
// programme differ for reasons that no meter shows before (how wet the load is, how
// often foam is rinsed), nobody can do much better. The engine, which is told nothing,
// must come near it.
func TestKnownProgrammeBound(t *testing.T) {
	dir := tracesDir(t)
	ms, err := load(dir)
	if err != nil {
		t.Fatal(err)
	}
	rep, err := Measure(Options{Dir: dir, New: learned, Settings: cycle.DefaultSettings()})
	if err != nil {
		t.Fatal(err)
	}
	bound := newSums()
	for _, m := range ms {
		of := programmesOf(t, filepath.Join(dir, m.set, labelsFile))
		var as []Answer
		for i, l := range m.labels {
			if i > 0 && l.Quality == Clean {
				as = append(as, knownProgramme(l, othersOf(m.labels, of, i))...)
			}
		}
		// As if every cycle were found.
		var cs []Cycle
		for _, l := range m.labels {
			cs = append(cs, Cycle{Start: l.Start, End: l.End, Declared: l.End})
		}
		bound.add(m.set, m.machine, tallyMachine(cs, nil, as, m.labels))
	}
	b := bound.report()
	for _, r := range b.rows() {
		if r.f.RemainingLastRunMAEMin > 0 {
			t.Logf("%s: ratio to last run %.2f, off by %.1f min, by machine %.2f",
				r.name, float64(r.f.RatioToLastRun), float64(r.f.RemainingMAEMin), float64(r.f.RatioMachineMedian))
		}
	}
	if got, best := rep.Total.RatioToLastRun, b.Total.RatioToLastRun; got > best+0.08 {
		t.Errorf("the engine's ratio is %.2f, that of somebody who knows the programme %.2f", float64(got), float64(best))
	}
	if got, best := rep.Total.RatioMachineMedian, b.Total.RatioMachineMedian; got > best {
		t.Errorf("by machine %.2f, and %.2f", float64(got), float64(best))
	}
}

// othersOf are the lengths of the other clean cycles of a label's programme; of the
// machine where there are none.
func othersOf(ls []Label, of map[string]string, i int) []float64 {
	var same, all []float64
	for k, l := range ls {
		if k == i || l.Quality != Clean {
			continue
		}
		all = append(all, l.length().Minutes())
		if of[l.ID] == of[ls[i].ID] {
			same = append(same, l.length().Minutes())
		}
	}
	if len(same) > 0 {
		return same
	}
	return all
}

func knownProgramme(l Label, others []float64) (as []Answer) {
	for at := l.Start.Add(time.Minute); at.Before(l.End); at = at.Add(time.Minute) {
		passed := at.Sub(l.Start).Minutes()
		longer := slices.DeleteFunc(slices.Clone(others), func(v float64) bool { return v <= passed })
		left := 0.0
		if len(longer) > 0 {
			left = float64(percentile(longer, 0.5)) - passed
		}
		as = append(as, Answer{At: at, Median: left, Low: left, High: left})
	}
	return as
}
