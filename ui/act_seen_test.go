package ui

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

// TestSeen: what only had to be seen leaves the manager's list when it was.
func TestSeen(t *testing.T) {
	room := fullRoom()
	room.Rules.WalkUps = coordinator.Reported
	room.Machines[1].Load.Past = 9
	var at time.Time
	o := openOffice(t, func(opt *Options) {
		opt.Deliveries = func(context.Context, int) ([]coordinator.Delivery, error) {
			return []coordinator.Delivery{{Notice: coordinator.Notice{Kind: coordinator.LoadReady, Made: at, Subject: coordinator.Subject{Room: "cellar"}}, State: coordinator.Dropped}}, nil
		}
	})
	o.change("cellar", func(s *coordinator.Snapshot) { *s = *room })
	at = o.Now().Add(-time.Minute)
	door := func(a ask) *httptest.ResponseRecorder { return a.as("", "secret-of-ada").of(o.Server) }
	body := door(get("/manager")).Body.String()
	if !strings.Contains(body, `name="do" value="seen"`) || !strings.Contains(body, "/manager/notices/seen") {
		t.Fatal("today has nothing that is only to be seen")
	}
	if w := door(post("/manager"+machinePath(room.Room, room.Machines[1].ID), "do", "seen")); w.Code != http.StatusSeeOther {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if _, ok := o.fakeHouse.events()[len(o.fakeHouse.events())-1].(coordinator.NoteWalkUp); !ok {
		t.Errorf("the room was told %T", o.fakeHouse.events())
	}
	if w := door(post("/manager/notices/seen")); w.Code != http.StatusSeeOther {
		t.Errorf("%d %s", w.Code, w.Body)
	}
	if strings.Contains(door(get("/manager")).Body.String(), "/manager/notices/seen") {
		t.Error("what was seen is on the list")
	}
	if w := post("/manager/notices/seen").of(o.Server); w.Code != http.StatusForbidden {
		t.Errorf("a stranger: %d", w.Code)
	}
}
