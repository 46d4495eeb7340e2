package main

import (
	"net/http"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/httppush"
)

// wants checks what the room shows of machine 1.
func (w *wired) wants(id coordinator.MachineID, status coordinator.Status) *coordinator.MachineView {
	w.Helper()
	m := w.settle().Machine(id)
	if m.Status != status {
		w.Fatalf("machine %s is %s at %s, want %s", id, m.Status, w.clock.Now().Format("15:04"), status)
	}
	return m
}

// pass moves the clock on.
func (w *wired) pass(d time.Duration) { w.clock.Set(w.clock.Now().Add(d)) }

// says posts a form at a machine, which must be taken.
func (v *visitor) says(fields ...string) {
	v.Helper()
	if status, text := v.post("/r/cellar/m/1", fields...); status != http.StatusOK {
		v.Fatalf("%v: %d\n%s", fields, status, text)
	}
}

// TestTenMoreMinutes: through the pages, the room and the store. The button is
// there while it would be granted, works once, and puts off when the load is overdue.
func TestTenMoreMinutes(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	anna, ben := w.visitor(), w.visitor()
	anna.join("12", "anna")
	ben.join("14", "ben")
	anna.says("do", "start")
	if status, _ := anna.post("/r/cellar/m/1", "do", "more-time"); status != http.StatusConflict {
		t.Fatalf("more time for a load that is not ready: %d", status)
	}
	w.pass(30 * time.Minute)
	anna.says("do", "end")
	anna.sees("/r/cellar/m/1", "Give me 10 min more")
	anna.sees("/r/cellar", "Give me 10 min more")
	w.pass(5 * time.Minute)
	anna.says("do", "more-time")
	w.pass(9 * time.Minute)
	if m := w.wants("1", coordinator.Finished); m.Load.MoreUntil.Sub(evening) != 45*time.Minute {
		t.Errorf("more time until %s", m.Load.MoreUntil)
	}
	ben.sees("/r/cellar", "its owner asked for time until 18:45")
	if status, text := anna.post("/r/cellar/m/1", "do", "more-time"); status != http.StatusConflict && status != http.StatusTooManyRequests && status != http.StatusForbidden {
		t.Errorf("asked twice: %d\n%s", status, text)
	}
	w.pass(7 * time.Minute)
	w.wants("1", coordinator.Overdue)
	anna.says("do", "collected")
	w.wants("1", coordinator.Free)
}

// TestMoreTimeWhileSomebodyWaits: the house of the file decides; by default no.
func TestMoreTimeWhileSomebodyWaits(t *testing.T) {
	for rules, want := range map[string]int{
		"": http.StatusForbidden, "[rules]\nmore_time_waiting = \"5m\"\n": http.StatusOK, "[rules]\nmore_time = \"0s\"\n": http.StatusForbidden,
	} {
		w := wiring(t, handBuilding+rules, nil).start()
		anna, ben := w.visitor(), w.visitor()
		anna.join("12", "anna")
		ben.join("14", "ben")
		anna.says("do", "start")
		ben.post("/r/cellar/turns", "need", "wash")
		w.pass(30 * time.Minute)
		anna.says("do", "end")
		if status, text := anna.post("/r/cellar/m/1", "do", "more-time"); status != want {
			t.Errorf("%q: %d, want %d\n%s", rules, status, want, text)
		}
		w.end()
	}
}

// TestFaultFromTwoHomes: a report warns the board at once, one home's reports take
// nothing out, another's do; the manager puts the machine back.
func TestFaultFromTwoHomes(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	anna, flatmate, ben, stranger := w.visitor(), w.visitor(), w.visitor(), w.visitor()
	anna.join("12", "anna")
	flatmate.join("12", "flatmate")
	ben.join("14", "ben")
	stranger.says("do", "fault", "text", "It hums")
	anna.says("do", "fault", "text", "It leaks")
	flatmate.says("do", "fault", "text", "It leaks a lot")
	stranger.sees("/r/cellar", "3 faults were reported")
	w.wants("1", coordinator.Free)
	ben.says("do", "fault", "text", "A puddle under it")
	w.wants("1", coordinator.Out)
	stranger.sees("/r/cellar", "out of service")
	if status, _ := ben.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
		t.Fatalf("ben cannot take a turn: %d", status)
	}
	w.wants("1", coordinator.Out)
	if _, err := w.app.house.Do(t.Context(), "cellar", coordinator.PutBack{Machine: "1"}); err != nil {
		t.Fatal(err)
	}
	if m := w.wants("1", coordinator.Held); len(m.Faults) != 0 {
		t.Errorf("the reports are still there: %+v", m.Faults)
	}
}

// TestDoorContact: a meter that tells of the door empties the machine on the board.
func TestDoorContact(t *testing.T) {
	const token = "0123456789abcdef"
	w := wiring(t, metered("washer", "driver = \"httppush\"\ntoken = \""+token+"\"\nwatts = \"/p\"\ndoor = \"/open\"\n", ""), nil).start()
	post := func(body string) {
		t.Helper()
		if status, text := w.posted(httppush.Path+"one", token, body); status != http.StatusNoContent {
			t.Fatalf("%s: %d %s", body, status, text)
		}
	}
	w.until("the meters' driver runs", func() bool {
		status, _ := w.posted(httppush.Path+"one", token, `{"p":1}`)
		return status == http.StatusNoContent
	})
	w.pass(time.Minute)
	for minute := range 60 {
		watts := `{"p":1,"open":false}`
		if minute > 2 && minute < 45 {
			watts = `{"p":400}`
		}
		post(watts)
		w.pass(time.Minute)
	}
	if m := w.settle().Machine("1"); m.Load == nil || !m.Load.Ready() {
		t.Fatalf("no load is ready: %s %+v", m.Status, m.Load)
	}
	post(`{"open":"closed"}`)
	if m := w.settle().Machine("1"); m.Load == nil {
		t.Fatal("a door that stays shut emptied the machine")
	}
	post(`{"open":"open"}`)
	if m := w.wants("1", coordinator.Free); m.Watts != 1 {
		t.Errorf("a message of the door was taken for %g W", m.Watts)
	}
	if status, text := w.posted(httppush.Path+"one", token, `{"p":1,"open":"ajar"}`); status != http.StatusBadRequest {
		t.Errorf("nonsense is taken: %d %s", status, text)
	}
}
