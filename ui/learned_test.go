package ui

import (
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/push/words"
)

func TestLearnedLines(t *testing.T) {
	now := time.Date(2026, 3, 17, 13, 47, 0, 0, time.UTC)
	sc := &scene{now: now}
	sc.axis.tell = teller{now: now, zone: time.UTC, lang: words.English()}
	if got := learnedLines(nil, sc); got != nil {
		t.Errorf("of an engine that does not learn: %q", got)
	}
	if got := learnedLines(&cycle.Knowledge{}, sc); len(got) != 1 || !strings.Contains(got[0], "No whole cycle") {
		t.Errorf("before the first cycle: %q", got)
	}
	k := &cycle.Knowledge{
		Cycles: 1, WorkW: 4.26, HeatW: 1400.4, GlowW: 1.25, Changed: now.Add(-time.Hour),
		Programmes: []cycle.Programme{{Runs: 3, Length: 74*time.Minute + 40*time.Second, Wh: 812}, {Runs: 1, Length: 30 * time.Minute, Wh: 95}},
	}
	want := []string{
		"1 whole cycle seen.",
		"It works from 4.3 W, heats from 1,400 W, and draws 1.2 W when it is done.",
		"A programme of 1 h 15 min and 0.81 kWh, run 3 times.",
		"A programme of 30 min and 0.10 kWh, run 1 time.",
		"What it draws changed for good, noticed 12:47.",
	}
	if got := learnedLines(k, sc); !slices.Equal(got, want) {
		t.Errorf("got  %q\nwant %q", got, want)
	}
	sc.axis.tell.lang = words.Exactly("de")
	if got := learnedLines(k, sc)[1]; got != "Sie arbeitet ab 4,3 W, heizt ab 1.400 W und zieht 1,2 W, wenn sie fertig ist." {
		t.Errorf("in German: %q", got)
	}
	sc.axis.tell.lang = words.English()
	k.Programmes = make([]cycle.Programme, 9)
	if got := learnedLines(k, sc); !slices.Contains(got, "And 3 rarer programmes.") {
		t.Errorf("of nine programmes: %q", got)
	}
}

// TestManagerForgetsWhatWasLearned: the button is there, and does what it says.
func TestManagerForgetsWhatWasLearned(t *testing.T) {
	room := fullRoom()
	room.Machines[0].Learned = &cycle.Knowledge{Cycles: 12, WorkW: 5}
	h := newFakeHouse(room)
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	page := get("/manager").as("", "secret-of-boss").of(s).Body.String()
	if !strings.Contains(page, "12 whole cycles seen") || !strings.Contains(page, "forget-learned") {
		t.Error("the manager is not shown what was learned")
	}
	id := room.Machines[0].ID
	if w := post("/manager/r/cellar/m/"+string(id), "do", "forget-learned").as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther {
		t.Fatalf("%d: %s", w.Code, w.Body)
	}
	if ev, ok := h.told[len(h.told)-1].(coordinator.ForgetLearned); !ok || ev.Machine != id || ev.Person != "boss" {
		t.Errorf("told %+v", h.told)
	}
}
