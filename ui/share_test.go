package ui

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// TestAnOfferThatComesTooLate: the load was collected between the page and the
// tap. The refusal stands on the page as the room is now.
func TestAnOfferThatComesTooLate(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.resident("bob", "h3")
	s := newTestServer(t, h, nil)
	if page := get("/r/cellar/m/w4").as("secret-of-bob", "").of(s).Body.String(); !strings.Contains(page, "overdue") {
		t.Fatal("the test looks at something else")
	}
	h.refuse = coordinator.Refuse(coordinator.Conflict, "share.none", "No load of yours is in this machine.")
	h.meanwhile = func(snap *coordinator.Snapshot) {
		m := snap.Machine("w4")
		m.Status, m.Load, m.Since = coordinator.Free, nil, noon
	}
	for _, path := range []string{"/r/cellar/m/w4/share", "/r/cellar/m/w4"} {
		w := post(path, "do", "collected").as("secret-of-bob", "").of(s)
		if strings.HasSuffix(path, "share") {
			w = post(path).as("secret-of-bob", "").of(s)
		}
		page := w.Body.String()
		if w.Code != http.StatusConflict || !strings.Contains(page, "Not done.") || strings.Contains(page, "overdue") || strings.Contains(page, "Share it with") {
			t.Errorf("%s: %d: %s", path, w.Code, said(w.Body.Bytes()))
		}
		h.change("cellar", func(snap *coordinator.Snapshot) { *snap.Machine("w4") = *fullRoom().Machine("w4") })
	}
}
