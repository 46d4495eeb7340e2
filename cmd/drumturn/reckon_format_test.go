package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// lineFields are the events of replay --json with the fields that each has, and
// those that it may have beside them.
var lineFields = map[string]struct{ must, may string }{
	"started":       {"event time start", "resumed"},
	"finished":      {"event time start end energy_wh peak_w", "presumed at_end_of_file"},
	"stopped_early": {"event time start end energy_wh peak_w", ""},
	"phase":         {"event time start phase", ""},
	"unknown":       {"event time start", ""},
	"remaining":     {"event time start median_s low_s high_s", "about withdrawn"},
}

// checkFields: the line has the fields of its event, and no others.
func checkFields(line map[string]any) error {
	event, _ := line["event"].(string)
	f, ok := lineFields[event]
	if !ok {
		return fmt.Errorf("%q is no event of the format", event)
	}
	for _, name := range strings.Fields(f.must) {
		if line[name] == nil {
			return fmt.Errorf("%s is missing", name)
		}
	}
	for name, v := range line {
		if !slices.Contains(strings.Fields(f.must+" "+f.may), name) {
			return fmt.Errorf("a field %s has no place in it", name)
		}
		if name == "time" || name == "start" || name == "end" {
			if _, err := time.Parse(time.RFC3339, v.(string)); err != nil {
				return err
			}
		}
	}
	return nil
}

// TestLinesAreOfTheFormat: what replay --json prints of measured traces is made of
// the six events with their fields; the remaining time is told within two minutes
// of whatever was said last, as long as a cycle runs and the meter speaks; and only
// the last cycle of a file is cut off by its end.
func TestLinesAreOfTheFormat(t *testing.T) {
	dir := reckonTraces(t)
	cut := 0
	for _, c := range []struct{ file, kind string }{
		{"tracebase/washer-9", "washer"}, {"tracebase/dryer-3", "dryer"}, {"tracebase/washerdryer-1", "washer-dryer"},
		{"loadprofilegenerator/washer-4-run5", "washer"}, {"loadprofilegenerator/washer-2", "washer"},
	} {
		out, errOut, code := command(t, "replay", "--json", "--kind", c.kind, filepath.Join(dir, c.file+".csv.gz"))
		if code != 0 {
			t.Fatalf("%s: exit %d: %s", c.file, code, errOut)
		}
		seen := map[string]int{}
		var told time.Time // the newest answer to the running cycle
		for text := range strings.Lines(out) {
			var line map[string]any
			if err := json.Unmarshal([]byte(text), &line); err != nil {
				t.Fatalf("%s: %q: %v", c.file, text, err)
			}
			if err := checkFields(line); err != nil {
				t.Fatalf("%s: %q: %v", c.file, text, err)
			}
			at := reckonTime(t, line["time"].(string))
			event := line["event"].(string)
			seen[event]++
			if !told.IsZero() && at.Sub(told) > 2*time.Minute {
				t.Fatalf("%s: %q comes %v after the last answer", c.file, text, at.Sub(told))
			}
			switch {
			case event == "started", event == "remaining" && line["withdrawn"] == nil:
				told = at
			case event != "phase":
				told = time.Time{}
			}
			if line["at_end_of_file"] == true {
				if cut++; !strings.HasSuffix(out, text) {
					t.Errorf("%s: more lines follow the end of the file", c.file)
				}
			}
		}
		ends := seen["finished"] + seen["stopped_early"]
		if seen["started"] < ends || ends == 0 || seen["remaining"] < 20*ends || seen["phase"] < 2*ends {
			t.Errorf("%s: %v", c.file, seen)
		}
	}
	if cut == 0 {
		t.Error("no cycle was cut off, though a file ends with its cycle")
	}
}

// TestFieldsCanBeWrong shows that the check finds what it is there to find.
func TestFieldsCanBeWrong(t *testing.T) {
	good := map[string]any{
		"event": "finished", "time": "2026-01-31T18:00:00Z", "start": "2026-01-31T17:00:00Z",
		"end": "2026-01-31T17:59:00Z", "energy_wh": 1.0, "peak_w": 2.0, "at_end_of_file": true,
	}
	if err := checkFields(good); err != nil {
		t.Fatal(err)
	}
	for name, v := range map[string]any{"event": "heard", "end": nil, "phase": "spin", "time": "18:00"} {
		bad := maps.Clone(good)
		bad[name] = v
		if checkFields(bad) == nil {
			t.Errorf("%s %v was taken", name, v)
		}
	}
}
