package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
	"time"
)

// reckonLabel is a row of labels.csv.
type reckonLabel struct {
	start, end time.Time
	quality    string
}

func (l reckonLabel) length() time.Duration { return l.end.Sub(l.start) }
func (l reckonLabel) middle() time.Time     { return l.start.Add(l.length() / 2) }

// reckonLine is one object that replay --json prints.
type reckonLine struct {
	Event       string    `json:"event"`
	Time        time.Time `json:"time"`
	Start       time.Time `json:"start"`
	End         time.Time `json:"end"`
	MedianS     float64   `json:"median_s"`
	LowS        float64   `json:"low_s"`
	HighS       float64   `json:"high_s"`
	AtEndOfFile bool      `json:"at_end_of_file"`
}

func (l reckonLine) ends() bool { return l.Event == "finished" || l.Event == "stopped_early" }

// reckonedMachine is one trace: its labels, and what was said of it.
type reckonedMachine struct {
	name   string
	labels []reckonLabel
	lines  []reckonLine
}

// cycles are the cycles that were told in the end: of one that was taken up
// again, with the same start, the last word.
func (m reckonedMachine) cycles() (all []reckonLine) {
	for _, l := range m.lines {
		if !l.ends() {
			continue
		}
		if n := len(all); n > 0 && all[n-1].Start.Equal(l.Start) {
			all = all[:n-1]
		}
		all = append(all, l)
	}
	return all
}

// answer is what was known at an instant of the remaining time: the newest answer
// of the last two minutes, aged; nothing is left of a cycle that does not run.
func (m reckonedMachine) answer(at time.Time) (median, low, high float64) {
	n := sort.Search(len(m.lines), func(i int) bool { return m.lines[i].Time.After(at) })
	for _, l := range slices.Backward(m.lines[:n]) {
		age := at.Sub(l.Time).Seconds()
		if age > 120 || l.ends() && !l.AtEndOfFile {
			return 0, 0, 0
		}
		if l.Event == "remaining" {
			return max(0, l.MedianS-age), max(0, l.LowS-age), max(0, l.HighS-age)
		}
	}
	return 0, 0, 0
}

var reckonKinds = map[string]string{"washer": "washer", "dryer": "dryer", "combo": "washer-dryer"}

// reckonFolder replays every machine that a folder's labels.csv names.
func reckonFolder(t *testing.T, dir string) (all []reckonedMachine) {
	t.Helper()
	file, err := os.Open(filepath.Join(dir, "labels.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil || strings.Join(rows[0][:7], " ") != "machine cycle_id kind start end after_until quality" {
		t.Fatalf("%s: %v %v", dir, rows[0], err)
	}
	for _, row := range rows[1:] {
		name := row[0]
		if n := len(all); n == 0 || all[n-1].name != name {
			all = append(all, reckonedMachine{name: name, lines: reckonReplay(t, dir, name, row[2])})
		}
		m := &all[len(all)-1]
		m.labels = append(m.labels, reckonLabel{reckonTime(t, row[3]), reckonTime(t, row[4]), row[6]})
	}
	return all
}

func reckonReplay(t *testing.T, dir, name, kind string) (lines []reckonLine) {
	t.Helper()
	out, errOut, code := command(t, "replay", "--json", "--kind", reckonKinds[kind], filepath.Join(dir, name+".csv.gz"))
	if code != 0 {
		t.Fatalf("replay %s: exit %d: %s", name, code, errOut)
	}
	for text := range strings.Lines(out) {
		var l reckonLine
		if err := json.Unmarshal([]byte(text), &l); err != nil {
			t.Fatalf("%s: %q: %v", name, text, err)
		}
		if n := len(lines); n > 0 && l.Time.Before(lines[n-1].Time) {
			t.Fatalf("%s: %q was said before the line above it", name, text)
		}
		lines = append(lines, l)
	}
	return lines
}

func reckonTime(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}
