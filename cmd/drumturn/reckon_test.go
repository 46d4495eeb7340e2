package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// reckonTraces is the folder of measured traces with reference labels.
func reckonTraces(t *testing.T) string {
	t.Helper()
	dir, told := os.LookupEnv("DRUMTURN_TRACES")
	if !told {
		dir = filepath.Join("..", "..", "..", "shared", "traces")
	}
	if _, err := os.Stat(dir); err != nil {
		if told || os.Getenv("CI") == "true" {
			t.Fatalf("no measured traces: %v", err)
		}
		t.Skipf("no measured traces here (%v); set DRUMTURN_TRACES to their folder", err)
	}
	return dir
}

// TestScoreIsWhatTheLinesSay reckons every figure of `drumturn score` a second
// time, from what `drumturn replay --json` prints and labels.csv alone, as
// somebody would who has neither seen the code nor trusts it. The two know
// nothing of each other: where they differ, one of them is wrong.
//
// The traces: tracebase contains information from the tracebase data set, which
// is made available at http://www.tracebase.org under the Open Database License
// (ODbL); LoadProfileGenerator, copyright 2021 FZJ-IEK3, MIT licence; REFIT,
// D. Murray, L. Stankovic, V. Stankovic, CC BY 4.0.
func TestScoreIsWhatTheLinesSay(t *testing.T) {
	dir := reckonTraces(t)
	if testing.Short() {
		dir = reckonFew(t, dir)
	}
	out, errOut, code := command(t, "score", dir, "--json")
	if code != 0 {
		t.Fatalf("score: exit %d: %s", code, errOut)
	}
	var said struct {
		Total    map[string]*float64            `json:"total"`
		Datasets map[string]map[string]*float64 `json:"datasets"`
		Machines map[string]map[string]*float64 `json:"machines"`
	}
	if err := json.Unmarshal([]byte(out), &said); err != nil {
		t.Fatal(err)
	}
	all := map[string][]reckonedMachine{}
	for _, path := range reckonFolders(t, dir) {
		set := filepath.Base(path)
		all[set] = reckonFolder(t, path)
		for _, m := range all[set] {
			reckonCompare(t, set+"/"+m.name, reckonFigures([]reckonedMachine{m}), said.Machines[set+"/"+m.name])
		}
		reckonCompare(t, set, reckonFigures(all[set]), said.Datasets[set])
	}
	var pool []reckonedMachine
	for _, ms := range all {
		pool = append(pool, ms...)
	}
	if len(all) != len(said.Datasets) || len(pool) != len(said.Machines) || len(pool) < 10 {
		t.Errorf("%d folders and %d machines reckoned, %d and %d said", len(all), len(pool), len(said.Datasets), len(said.Machines))
	}
	reckonCompare(t, "total", reckonFigures(pool), said.Total)
}

// reckonFew is a folder with all data sets but the largest.
func reckonFew(t *testing.T, dir string) string {
	t.Helper()
	few := t.TempDir()
	for _, path := range reckonFolders(t, dir) {
		if filepath.Base(path) == "refit" {
			continue
		}
		if err := os.CopyFS(filepath.Join(few, filepath.Base(path)), os.DirFS(path)); err != nil {
			t.Fatal(err)
		}
	}
	return few
}

func reckonFolders(t *testing.T, dir string) (folders []string) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(dir, "*", "labels.csv"))
	if err != nil || len(found) == 0 {
		t.Fatalf("no labels below %s: %v", dir, err)
	}
	for _, f := range found {
		folders = append(folders, filepath.Dir(f))
	}
	return folders
}

// reckonCompare: the same names, each with the same value. The lines round
// seconds to tenths, which is 0.002 minutes and, where an interval's edge is that
// close to the truth, one instant.
func reckonCompare(t *testing.T, where string, want map[string]float64, said map[string]*float64) {
	t.Helper()
	if len(said) != len(want) {
		t.Errorf("%s: %d figures are said, %d defined", where, len(said), len(want))
	}
	for name, w := range want {
		s, ok := said[name]
		off := 0.0
		switch {
		case name == "coverage_80":
			off = 0.0035 // one instant of 300
		case strings.HasPrefix(name, "remaining_"):
			off = 0.002
		case strings.HasSuffix(name, "_min"):
			off = 0.004
		case !strings.HasSuffix(name, "labels"):
			off = 0.00006 // printed to four decimals
		}
		switch {
		case !ok:
			t.Errorf("%s: %s is missing", where, name)
		case math.IsNaN(w) != (s == nil):
			t.Errorf("%s: %s: reckoned %v, said %v", where, name, w, s)
		case s != nil && math.Abs(*s-w) > off:
			t.Errorf("%s: %s: reckoned %.5f, said %.5f", where, name, w, *s)
		}
	}
}
