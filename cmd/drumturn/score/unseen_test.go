package score

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// unseenBefore is how many cycles of other programmes the engine sees first.
const unseenBefore = 40

// TestUnseenProgramme lets each machine run a programme that it has never run: of all
// its cycles that the labels group with one, only that one is left. No end may be
// declared while it runs, and it must be found; how long it takes nobody can know
// before its course differs from the others', and the figures say how well it is told.
func TestUnseenProgramme(t *testing.T) {
	if testing.Short() {
		t.Skip("reads much of every trace several times: not in a short run, which is for the race detector")
	}
	dir := tracesDir(t)
	ms, err := load(dir)
	if err != nil {
		t.Fatal(err)
	}
	var all tally
	n := 0
	for _, m := range ms {
		of := programmesOf(t, filepath.Join(dir, m.set, labelsFile))
		for i, l := range m.labels {
			if i == 0 || l.Quality != Clean || of[l.ID] == "-1" || !firstTries(m.labels, of, i) {
				continue
			}
			one := only(m, of, i)
			if len(one.labels) < 2 {
				continue
			}
			one.run(learned(settingsFor(cycle.DefaultSettings(), l.Kind)))
			last := len(one.labels) - 1
			y := tallyMachine(lastOf(one.cycles, l), lastOf(one.takenBack, l), one.answers[len(one.answers)-len(instants(one.labels[last-1:])):], one.labels[last-1:])
			y.labels = 1
			t.Logf("%s/%s after %d cycles: found %d, false finishes %d, remaining off by %.1f min (last run %.1f)", m.set, l.ID, last, y.matched, y.falseFinishes, float64(y.remaining().mean()), float64(y.lastRun.mean()))
			all.join(y)
			n++
		}
	}
	f := all.figures()
	t.Logf("%d programmes never run: found %d, %d false finishes, declared %.0f/%.0f s, remaining off by %.1f min, ratio %.2f, in 80 %%: %.2f",
		n, all.matched, f.FalseFinishes, float64(f.DeclareMedianS), float64(f.DeclareP95S), float64(f.RemainingMAEMin), float64(f.RatioToLastRun), float64(f.Coverage80))
	if n < 20 || all.matched < n-1 || f.FalseFinishes > 1 || f.RatioToLastRun > 0.95 {
		t.Errorf("%d programmes, %d found, %d false finishes, ratio %.2f", n, all.matched, f.FalseFinishes, float64(f.RatioToLastRun))
	}
}

// firstTries picks at most three cycles of each programme: the first, one in the
// middle and the last that are clean.
func firstTries(ls []Label, of map[string]string, i int) bool {
	var same []int
	for k, l := range ls {
		if k > 0 && l.Quality == Clean && of[l.ID] == of[ls[i].ID] {
			same = append(same, k)
		}
	}
	return i == same[0] || i == same[len(same)/2] || i == same[len(same)-1]
}

// only is a machine's recording up to half an hour after its label i, without the
// other cycles of that programme and without what is long past.
func only(m measured, of map[string]string, i int) measured {
	var keep []Label
	for k, l := range m.labels[:i+1] {
		if k == i || of[l.ID] != of[m.labels[i].ID] {
			keep = append(keep, l)
		}
	}
	if len(keep) > unseenBefore {
		keep = keep[len(keep)-unseenBefore:]
	}
	out := measured{set: m.set, machine: m.machine, labels: keep}
	for _, r := range m.readings {
		k, _ := slices.BinarySearchFunc(m.labels, r.At, func(l Label, at time.Time) int { return l.Start.Add(-10 * time.Minute).Compare(at) })
		k = max(0, k-1) // the cycle that r belongs to, or comes after
		if k > i || r.At.After(m.labels[i].End.Add(30*time.Minute)) {
			break
		}
		if slices.Contains(keep, m.labels[k]) {
			out.readings = append(out.readings, r)
		}
	}
	return out
}

// lastOf are the cycles that overlap a label.
func lastOf(cs []Cycle, l Label) []Cycle {
	return slices.DeleteFunc(slices.Clone(cs), func(c Cycle) bool { return overlap(c.Start, c.End, l.Start, l.End) == 0 })
}

// programmesOf is the programme of each cycle by the labels' column of that name.
func programmesOf(t *testing.T, path string) map[string]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	id, programme := slices.Index(rows[0], "cycle_id"), slices.Index(rows[0], "programme")
	out := map[string]string{}
	for _, row := range rows[1:] {
		out[row[id]] = row[programme]
	}
	return out
}
