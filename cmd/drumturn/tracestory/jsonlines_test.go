package tracestory

import (
	"bytes"
	"encoding/json"
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// objects reads JSON output with nothing but encoding/json.
func objects(t *testing.T, text string) (all []map[string]any) {
	t.Helper()
	for line := range strings.Lines(text) {
		var o map[string]any
		if err := json.Unmarshal([]byte(line), &o); err != nil {
			t.Fatalf("%q: %v", line, err)
		}
		all = append(all, o)
	}
	return all
}

func only(all []map[string]any, events ...string) (some []map[string]any) {
	for _, o := range all {
		for _, e := range events {
			if o["event"] == e {
				some = append(some, o)
			}
		}
	}
	return some
}

func TestStoryInJSON(t *testing.T) {
	r := newRecording().power(1, 5*time.Minute).wash()
	r.power(150, 10*time.Minute).hole(2*time.Hour).power(1, 5*time.Minute).power(2000, 10*time.Minute)
	got := objects(t, told(t, Options{Trace: r.file(t, "x.csv"), Kind: "washer", JSON: true}))
	want := objects(t, `{"event":"started","time":"2026-01-31T18:05:30Z","start":"2026-01-31T18:05:10Z"}
{"event":"phase","time":"2026-01-31T18:07:10Z","start":"2026-01-31T18:05:10Z","phase":"heat"}
{"event":"phase","time":"2026-01-31T18:17:10Z","start":"2026-01-31T18:05:10Z","phase":"tumble"}
{"event":"phase","time":"2026-01-31T18:37:10Z","start":"2026-01-31T18:05:10Z","phase":"pause"}
{"event":"finished","time":"2026-01-31T18:38:10Z","start":"2026-01-31T18:05:10Z","end":"2026-01-31T18:35:10Z","energy_wh":383.3,"peak_w":2000}
{"event":"started","time":"2026-01-31T18:45:30Z","start":"2026-01-31T18:45:10Z"}
{"event":"phase","time":"2026-01-31T18:47:10Z","start":"2026-01-31T18:45:10Z","phase":"tumble"}
{"event":"unknown","time":"2026-01-31T19:05:00Z","start":"2026-01-31T18:55:00Z"}
{"event":"phase","time":"2026-01-31T20:57:10Z","start":"2026-01-31T18:45:10Z","phase":"pause"}
{"event":"finished","time":"2026-01-31T20:58:10Z","start":"2026-01-31T18:45:10Z","end":"2026-01-31T18:55:00Z","energy_wh":24.6,"peak_w":150,"presumed":true}
{"event":"started","time":"2026-01-31T21:00:30Z","start":"2026-01-31T21:00:10Z"}
{"event":"phase","time":"2026-01-31T21:02:10Z","start":"2026-01-31T21:00:10Z","phase":"heat"}
{"event":"finished","time":"2026-01-31T21:10:00Z","start":"2026-01-31T21:00:10Z","end":"2026-01-31T21:10:00Z","energy_wh":327.8,"peak_w":2000,"at_end_of_file":true}
`)
	var told []map[string]any
	for _, o := range got {
		if o["event"] != "remaining" {
			told = append(told, o)
		}
	}
	if !reflect.DeepEqual(told, want) {
		t.Errorf("got\n%v\nwant\n%v", told, want)
	}
	checkRemainingLines(t, got)
}

// checkRemainingLines: when the start is told, then at each whole minute of the
// cycle until the end is told.
func checkRemainingLines(t *testing.T, all []map[string]any) {
	t.Helper()
	asked := only(all, "remaining")
	first := map[string]any{
		"event": "remaining", "time": "2026-01-31T18:05:30Z", "start": "2026-01-31T18:05:10Z", "about": true,
		"median_s": 4480.0, "low_s": 1780.0, "high_s": 8980.0,
	}
	if !reflect.DeepEqual(asked[0], first) {
		t.Errorf("first answer %v, want %v", asked[0], first)
	}
	for i := 1; i < 33; i++ {
		want := epoch.Add(5*time.Minute + 10*time.Second + time.Duration(i)*time.Minute).Format(time.RFC3339)
		if asked[i]["time"] != want {
			t.Fatalf("answer %d at %v, want %v", i, asked[i]["time"], want)
		}
	}
	if next := asked[33]["time"]; next != "2026-01-31T18:45:30Z" {
		t.Errorf("after the first cycle's last answer comes one at %v", next)
	}
	for _, o := range asked {
		if at := o["time"].(string); at > "2026-01-31T19:05:00Z" && at < "2026-01-31T20:55:00Z" {
			t.Errorf("an answer at %s, in the silence", at)
		}
	}
}

// Events that the format has no word for: a resumed cycle starts again, of one that
// was none nothing remains; the rest is left out.
func TestJSONOfOtherEvents(t *testing.T) {
	var out bytes.Buffer
	j := newJSONLines(&out)
	for _, k := range []cycle.Kind{cycle.Heard, cycle.Stalled, cycle.Resumed, cycle.Withdrawn} {
		j.said(cycle.Event{Kind: k, At: epoch, Start: epoch})
	}
	j.over(epoch, cycle.Status{})
	const want = `{"event":"started","time":"2026-01-31T18:00:00Z","start":"2026-01-31T18:00:00Z","resumed":true}
{"event":"remaining","time":"2026-01-31T18:00:00Z","start":"2026-01-31T18:00:00Z","median_s":0,"low_s":0,"high_s":0,"withdrawn":true}
`
	if got := out.String(); got != want {
		t.Errorf("got %s want %s", got, want)
	}
}

type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left") }

func TestRunSaysWhenItCannotWrite(t *testing.T) {
	path := newRecording().power(1, time.Minute).wash().file(t, "x.csv")
	for _, asJSON := range []bool{true, false} {
		err := Run(Options{Trace: path, Kind: "washer", JSON: asJSON, New: newFixed}, fullDisk{})
		if err == nil || !strings.Contains(err.Error(), "no space left") {
			t.Errorf("json %v: %v", asJSON, err)
		}
	}
	err := Run(Options{Trace: path, Kind: "washer", SVG: "/nowhere/at/all.svg", New: newFixed}, &bytes.Buffer{})
	if err == nil || !strings.Contains(err.Error(), "/nowhere/at/all.svg") {
		t.Errorf("drawing: %v", err)
	}
}
