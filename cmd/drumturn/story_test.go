package main

import (
	"slices"
	"strings"
	"testing"
	"time"
)

// TestStory runs the whole job on the real program with its real sockets, its
// clock following a recording: MQTT in, pages by HTTPS, Web Push out.
func TestStory(t *testing.T) {
	want := playStory(t, plainRun)
	for _, line := range []string{
		"anna: turn-called", "anna: load-begun", "anna: load-ready", "anna: load-nudge", "anna: load-moved",
		"ben: load-waiting", "ben: turn-called", "cleo: turn-called", "cleo: turn-missed",
		"dora: turn-called", "dora: load-begun", "dora: load-ready", "manager: load-left",
	} {
		if !slices.ContainsFunc(want, func(got string) bool { return strings.HasPrefix(got, line+" ") }) {
			t.Errorf("nobody was told %q; told were:\n%s", line, strings.Join(want, "\n"))
		}
	}
	if t.Failed() || testing.Short() {
		return // once is enough, or the whole of it is wrong
	}
	t.Run("reopened after every commit", func(t *testing.T) {
		if testing.Short() {
			t.Skip("opens the program more than fifty times")
		}
		same(t, want, playStory(t, reopenAfterCommits))
	})
	t.Run("killed between a send and its record", func(t *testing.T) {
		same(t, want, playStory(t, killBeforeRecord))
	})
}

// same checks that two runs told the same people the same, once each.
func same(t *testing.T, want, got []string) {
	t.Helper()
	slices.Sort(want)
	slices.Sort(got)
	for _, line := range want {
		if !slices.Contains(got, line) {
			t.Errorf("lost:     %s", line)
		}
	}
	for i, line := range got {
		if !slices.Contains(want, line) {
			t.Errorf("added:    %s", line)
		}
		if i > 0 && got[i-1] == line {
			t.Errorf("repeated: %s", line)
		}
	}
}

// playStory plays the story once and returns who was told what.
func playStory(t *testing.T, mode runMode) []string {
	s := newStory(t, mode)
	at := func(clock string) { s.until(s.day(clock)) }

	at("19:02")
	s.manager = s.browser("manager")
	s.manager.get(s.firstLink)
	s.manager.post("/manager/first", "token", strings.TrimPrefix(s.firstLink, "/manager/first?token="), "passphrase", "a horse that reads the meter", "again", "a horse that reads the meter")
	s.manager.subscribe("/manager/devices")
	s.manager.post("/manager/r/cellar/m/2", "do", "take-out", "text", "Door seal")

	at("19:10")
	anna, dora := s.resident("anna", "1"), s.resident("dora", "4")
	anna.post("/r/cellar/turns", "need", "wash")
	dora.post("/r/cellar/turns", "need", "dry")
	anna.told(1, "turn-called")
	dora.told(1, "turn-called")
	ben, cleo := s.resident("ben", "2"), s.resident("cleo", "3")
	ben.post("/r/cellar/turns", "need", "wash")
	cleo.post("/r/cellar/turns", "need", "wash")
	ben.sees("/r/cellar", "held")

	at("19:30") // both machines were started by those they are held for
	anna.told(2, "load-begun")
	dora.told(2, "load-begun")
	ben.sees("/r/cellar", "running")

	at("20:33") // the dryer is done, and emptied before anybody is nudged
	dora.told(3, "load-ready")
	dora.post("/r/cellar/m/3", "do", "collected")

	at("21:08") // the wash is done; nobody comes
	anna.told(3, "load-ready")
	at("21:34")
	anna.told(4, "load-nudge")
	ben.told(1, "load-waiting")
	s.manager.told(1, "load-left")
	ben.sees("/r/cellar", "overdue")

	at("21:36") // a neighbour without an account stands at the machine
	s.browser("neighbour").post("/r/cellar/m/1", "do", "on-table", "code", s.printedOn("1"))
	anna.told(5, "load-moved")
	ben.told(2, "turn-called")
	ben.post("/r/cellar/turns/"+ben.turn(), "do", "let-next")
	cleo.told(1, "turn-called")

	at("21:47") // cleo did not come
	cleo.told(2, "turn-missed")
	ben.told(3, "turn-called")
	at("21:50")
	return s.end()
}

// TestStoryTimes: what was told, when, against the labelled end of the wash
// (tracebase washer-9, cycle 01: 19:15:21 to 20:58:53).
func TestStoryTimes(t *testing.T) {
	s := newStory(t, plainRun)
	if !s.shared {
		t.Skip("the shared traces are not here")
	}
	s.until(s.day("19:10"))
	anna := s.resident("anna", "1")
	anna.post("/r/cellar/turns", "need", "wash")
	s.until(s.day("21:08"))
	anna.told(3, "load-ready")
	load := s.app.house.Snapshot("cellar").Machines[0].Load
	if load == nil {
		t.Fatal("no load is in machine 1")
	}
	if off := load.StartedAt.Sub(s.day("19:15").Add(21 * time.Second)).Abs(); off > time.Minute {
		t.Errorf("the start is %s off the label", off)
	}
	if off := load.ReadyAt.Sub(s.day("20:58").Add(53 * time.Second)).Abs(); off > time.Minute {
		t.Errorf("the end is %s off the label", off)
	}
}
