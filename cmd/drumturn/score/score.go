// Package score measures a cycle engine against recordings whose cycles have
// been labelled with hindsight: how many it finds, how early and how rightly it
// declares their end, and how good its remaining time is.
package score

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"drumturn/coordinator/cycle"
)

// Options say what to score and how to show it.
type Options struct {
	// Dir is a folder with a labels.csv, or one of such folders.
	Dir string
	// New makes the engine that is scored; each machine gets a fresh one.
	New NewEngine
	// Settings go to each engine, with Washer and Dryer set by the label's kind.
	Settings cycle.Settings
	// JSON prints one object instead of tables.
	JSON bool
	// Baseline adds the fixed rule and the last-run rule beside the engine.
	Baseline bool
	// Disturbed adds the figures of disturbed copies of the recordings.
	Disturbed bool
	// Calibrate adds how well the engine keeps each of several doubts, on the
	// recordings and on disturbed copies.
	Calibrate bool
	// Plot is a folder for an SVG of each cycle that went wrong; empty for none.
	Plot string
}

// Report is every figure, by data set and by machine ("set/machine").
type Report struct {
	Total    Figures            `json:"total"`
	Datasets map[string]Figures `json:"datasets"`
	Machines map[string]Figures `json:"machines"`
	Baseline *Report            `json:"baseline,omitempty"`
	// Disturbed and Calibration are there when they were asked for.
	Disturbed   []Disturbed   `json:"disturbed,omitempty"`
	Calibration []Calibration `json:"calibration,omitempty"`
}

// Run scores the engine on Dir and prints the figures to out.
func Run(o Options, out io.Writer) error {
	rep, err := Measure(o)
	if err != nil {
		return err
	}
	if o.JSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		return enc.Encode(rep)
	}
	if err := writeTable(out, rep.rows()); err != nil {
		return err
	}
	if rep.Baseline != nil {
		fmt.Fprintln(out, "\nfixed rule (3 W for 3 minutes) and last-run rule")
		if err := writeTable(out, rep.Baseline.rows()); err != nil {
			return err
		}
	}
	return rep.writeDisturbed(out)
}

// Measure scores the engine on Dir. Errors name the file that is at fault.
func Measure(o Options) (*Report, error) {
	ms, err := load(o.Dir)
	if err != nil {
		return nil, err
	}
	own, base := newSums(), newSums()
	for _, m := range ms {
		m.run(o.New(settingsFor(o.Settings, m.labels[0].Kind)))
		own.add(m.set, m.machine, m.tally())
		if o.Baseline {
			base.add(m.set, m.machine, baselineTally(m.readings, m.labels))
		}
		if o.Plot != "" {
			if err := m.plot(o.Plot); err != nil {
				return nil, err
			}
		}
	}
	rep := own.report()
	if o.Baseline {
		rep.Baseline = base.report()
	}
	if o.Disturbed {
		if rep.Disturbed, err = measureDisturbed(o, ms); err != nil {
			return nil, err
		}
	}
	if o.Calibrate {
		rep.Calibration, err = calibrate(o, ms)
	}
	return rep, err
}

// load reads every machine of the folders to score.
func load(dir string) ([]measured, error) {
	sets, err := datasets(dir)
	if err != nil {
		return nil, err
	}
	var ms []measured
	for _, dir := range sets {
		labels, err := readLabels(filepath.Join(dir, labelsFile))
		if err != nil {
			return nil, err
		}
		for _, machine := range slices.Sorted(maps.Keys(labels)) {
			m := measured{set: filepath.Base(dir), machine: machine, labels: labels[machine]}
			if m.readings, err = readTrace(traceFile(dir, machine)); err != nil {
				return nil, err
			}
			ms = append(ms, m)
		}
	}
	return ms, nil
}

// measured is one machine's recording and what an engine made of it.
type measured struct {
	set, machine string
	labels       []Label
	readings     []cycle.Reading
	cycles       []Cycle
	// takenBack are ends that were declared, and then found wrong by the engine.
	takenBack []Cycle
	answers   []Answer
}

func (m *measured) run(e cycle.Engine) {
	w := watch(e, m.readings, instants(m.labels))
	m.cycles, m.takenBack, m.answers = w.cycles, w.takenBack, w.answers
}

func (m *measured) tally() tally { return tallyMachine(m.cycles, m.takenBack, m.answers, m.labels) }

// baselineTally reckons the fixed rule; its remaining time is the last-run rule
// with known starts, so it has no interval.
func baselineTally(rs []cycle.Reading, ls []Label) tally {
	return tallyMachine(fixedRule(rs), nil, nil, ls)
}

func settingsFor(s cycle.Settings, kind string) cycle.Settings {
	s.Washer, s.Dryer = kind != "dryer", kind != "washer"
	return s
}

const labelsFile = "labels.csv"

// datasets lists the folders to score: dir itself or those in it.
func datasets(dir string) ([]string, error) {
	if _, err := os.Stat(filepath.Join(dir, labelsFile)); err == nil {
		return []string{dir}, nil
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return nil, fmt.Errorf("score: %w", err)
	}
	var out []string
	for _, e := range entries {
		sub := filepath.Join(dir, e.Name())
		if _, err := os.Stat(filepath.Join(sub, labelsFile)); err == nil {
			out = append(out, sub)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("score: no %s in %s or in a folder of it; a scored folder holds MACHINE.csv[.gz] and %s", labelsFile, dir, labelsFile)
	}
	return out, nil
}

func traceFile(dir, machine string) string {
	plain := filepath.Join(dir, machine+".csv")
	if _, err := os.Stat(plain); errors.Is(err, fs.ErrNotExist) {
		return plain + ".gz"
	}
	return plain
}

// sums collects tallies by machine, data set and in all.
type sums struct {
	total    tally
	sets     map[string]*tally
	machines map[string]*tally
}

func newSums() *sums {
	return &sums{sets: map[string]*tally{}, machines: map[string]*tally{}}
}

func (s *sums) add(set, machine string, t tally) {
	if s.sets[set] == nil {
		s.sets[set] = &tally{}
	}
	s.total.join(t)
	s.sets[set].join(t)
	s.machines[set+"/"+machine] = &t
}

func (s *sums) report() *Report {
	r := &Report{Total: s.total.figures(), Datasets: map[string]Figures{}, Machines: map[string]Figures{}}
	for name, t := range s.sets {
		r.Datasets[name] = t.figures()
	}
	for name, t := range s.machines {
		r.Machines[name] = t.figures()
	}
	return r
}

// rows is the report in the order of the table: machines, data sets, total.
func (r *Report) rows() []row {
	var out []row
	for _, name := range slices.Sorted(maps.Keys(r.Machines)) {
		out = append(out, row{name, r.Machines[name]})
	}
	for _, name := range slices.Sorted(maps.Keys(r.Datasets)) {
		out = append(out, row{name, r.Datasets[name]})
	}
	return append(out, row{"total", r.Total})
}
