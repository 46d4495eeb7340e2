package ui

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// TestTheMachinesCodeIsNowhereElse: what is on a machine is printed on it, and
// told to nobody who has not been there.
func TestTheMachinesCodeIsNowhereElse(t *testing.T) {
	h := crawlRooms()
	s := newTestServer(t, h, nil)
	for _, path := range append(crawlStart, "/r/cellar/events?last=no") {
		if strings.Contains(path, "code=printed") || strings.Contains(path, "sheets") || strings.HasSuffix(path, "last=no") {
			continue
		}
		for _, who := range []string{"", "bob"} {
			page := get(path).as("secret-of-"+who, "").of(s).Body.String()
			if strings.Contains(page, "printed-") {
				t.Errorf("%s as %q tells a machine's code", path, who)
			}
		}
	}
	sc := s.scenes.get("cellar", words.English())
	if strings.Contains(string(sc.public)+string(sc.wall()), "printed-") {
		t.Error("the board or the wall tells a machine's code")
	}
	for _, who := range []string{"", "bob"} {
		for _, path := range []string{"/manager/r/cellar/sheets", "/manager/r/cellar/m/w4/code.svg"} {
			w := get(path).as("secret-of-"+who, "").of(s)
			if w.Code == http.StatusOK || strings.Contains(w.Body.String(), "printed-") {
				t.Errorf("%s as %q: %d", path, who, w.Code)
			}
		}
	}
}

// TestAVisitorStaysAtTheMachine: after one tap the next needs no new scan, and
// a refusal keeps the code too.
func TestAVisitorStaysAtTheMachine(t *testing.T) {
	h := newFakeHouse(fullRoom())
	s := newTestServer(t, h, nil)
	w := post("/r/cellar/m/w4", "do", "empty", "code", "printed-w4").of(s)
	if to := w.Header().Get("Location"); w.Code != http.StatusSeeOther || !strings.HasSuffix(to, "/r/cellar/m/w4?done=collected&code=printed-w4") {
		t.Errorf("%d to %s", w.Code, to)
	}
	h.refuse = coordinator.Refuse(coordinator.Conflict, "collect.running", "This machine is still at work.")
	page := post("/r/cellar/m/w4", "do", "empty", "code", "printed-w4").of(s).Body.String()
	if !strings.Contains(page, "still at work") || !strings.Contains(page, `name="code" value="printed-w4"`) {
		t.Error("the refusal or the code is missing")
	}
}

// TestANewCodeEndsTheOld one, on paper and in an open page.
func TestANewCodeEndsTheOld(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, nil)
	if w := post("/manager/r/cellar/m/w4/code").as("", "secret-of-boss").of(s); w.Code != http.StatusSeeOther {
		t.Fatal(w.Code)
	}
	if w := post("/r/cellar/m/w4", "do", "empty", "code", "printed-w4").of(s); w.Code != http.StatusForbidden {
		t.Errorf("the old code: %d", w.Code)
	}
	code := h.People().MachineCodes[coordinator.Place{Room: "cellar", Machine: "w4"}].Code
	if w := post("/r/cellar/m/w4", "do", "empty", "code", code).of(s); w.Code != http.StatusSeeOther {
		t.Errorf("the new code %q: %d", code, w.Code)
	}
	sheets := get("/manager/r/cellar/sheets").as("", "secret-of-boss").of(s).Body.String()
	if !strings.Contains(sheets, code) || strings.Contains(sheets, "printed-w4") || !strings.Contains(sheets, "printed-w2") {
		t.Error("the sheets do not show the codes that hold")
	}
}

func TestGuessingAMachinesCodeIsLimited(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	last := 0
	for range 70 {
		last = get("/r/cellar/m/w4?code=guess").of(s).Code
	}
	if last != http.StatusTooManyRequests {
		t.Errorf("the 70th guess gives %d", last)
	}
}
