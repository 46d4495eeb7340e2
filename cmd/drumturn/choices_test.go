package main

import (
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/pushtest"
)

// phoned is a running building with a push service, and anna of home 1 with a phone.
func phoned(t *testing.T) (*wired, *pushtest.Service, *visitor, *pushtest.Phone) {
	t.Helper()
	service := pushtest.NewService(t)
	w := wiring(t, pushBuilding, nil)
	s := w.setup()
	s.file.Server.PushHosts = []string{service.Host()}
	s.client = push.ClientOptions{AllowPrivate: true, RootCAs: service.Roots()}
	w.startAs(s)
	phone := service.Phone("anna")
	anna := w.visitor()
	anna.join("1", "anna")
	anna.device(t, phone)
	return w, service, anna, phone
}

func (v *visitor) device(t *testing.T, phone *pushtest.Phone, more ...string) {
	t.Helper()
	fields := append([]string{"endpoint", phone.Endpoint, "p256dh", phone.P256dh(), "auth", phone.Auth()}, more...)
	if status, text := v.post("/me/devices", fields...); status >= 300 {
		t.Fatalf("%d %s", status, text)
	}
}

// TestChoicesDecide: what a resident switched off is not sent, and their page
// says so; what they did not is.
func TestChoicesDecide(t *testing.T) {
	w, _, anna, phone := phoned(t)
	all := []string{"from", "22:00", "to", "07:00", "home", "yes"}
	for _, kind := range coordinator.ResidentKinds() {
		if kind != coordinator.TurnCalled {
			all = append(all, string(kind), "yes")
		}
	}
	if status, text := anna.post("/me/notices", all...); status != http.StatusOK || !strings.Contains(text, `value="22:00"`) {
		t.Fatalf("%d %s", status, text)
	}
	got := w.person("anna")
	if len(got.Off) != 1 || got.Off[0] != coordinator.TurnCalled || got.Quiet != (coordinator.Quiet{From: 22 * 60, To: 7 * 60}) || !got.TellForHome {
		t.Errorf("stored as %+v", got)
	}
	anna.post("/r/cellar/turns", "need", "wash")
	w.until("the decision", func() bool {
		rows, err := w.app.store.DeliveriesTo(t.Context(), got.ID, 9)
		return err == nil && len(rows) == 1 && rows[0].State == coordinator.Dropped
	})
	anna.sees("/me/notices", "called to Washer", "You stood in the queue.", "you do not want to be told of this")
	if phone.Requests() != 0 {
		t.Error("it was sent all the same")
	}
	if status, text := anna.post("/me/notices", "from", "22:00", "to", ""); status != http.StatusUnprocessableEntity || !strings.Contains(text, "need a beginning and an end") {
		t.Errorf("half of quiet hours: %d %s", status, text)
	}
	if status, text := anna.post("/me/notices/mute", "hours", "2"); status != http.StatusOK || !strings.Contains(text, "You hear nothing until") {
		t.Errorf("muted: %d %s", status, text)
	}
	if until := w.person("anna").MutedUntil; until.IsZero() {
		t.Error("not muted")
	}
	anna.post("/me/notices/mute", "hours", "")
	if until := w.person("anna").MutedUntil; !until.IsZero() {
		t.Error("still muted")
	}
}

// TestSendMeOneNow: a notice to try reaches the phone, and the page says in words
// what came of it.
func TestSendMeOneNow(t *testing.T) {
	w, _, anna, phone := phoned(t)
	defer w.end()
	if status, text := anna.post("/me/notices/try"); status != http.StatusOK || !strings.Contains(text, "its push service has taken the notice") {
		t.Errorf("%d %s", status, text)
	}
	if got := pushPayloads(t, phone.Messages()); len(got) != 1 || got[0].Title != "This is only to try" {
		t.Errorf("the phone shows %+v", got)
	}
	if _, text := anna.post("/me/notices/try"); !strings.Contains(text, "sent a moment ago") || phone.Requests() != 1 {
		t.Errorf("at once again: %s", text)
	}
}

// TestAnotherEndpoint: the push service gave the phone another address
// (pushsubscriptionchange of the Push API); the one before is forgotten at once.
func TestAnotherEndpoint(t *testing.T) {
	w, service, anna, phone := phoned(t)
	defer w.end()
	next := service.Phone("anna, renewed")
	anna.device(t, next, "old", phone.Endpoint)
	subs := w.app.house.People().Subscriptions
	if _, there := subs[push.SubscriptionID(next.Endpoint)]; len(subs) != 1 || !there {
		t.Errorf("%+v", subs)
	}
}

// TestNoWayToTheManager: while no manager can be told, the wall and the
// manager's page say so; with a device they do not.
func TestNoWayToTheManager(t *testing.T) {
	w, service, anna, _ := phoned(t)
	defer w.end()
	if everybody, _ := w.app.noWayToManager("en"); everybody != "" {
		t.Errorf("before there is a manager: %s", everybody)
	}
	token := strings.TrimPrefix(w.app.firstLink, "/manager/first?token=")
	if status, text := anna.post("/manager/first", "token", token, "passphrase", "plover under the gutter", "again", "plover under the gutter"); status != http.StatusOK {
		t.Fatalf("%d %s", status, text)
	}
	anna.sees("/r/cellar/wall", "The building manager cannot be told of anything")
	anna.sees("/manager", "Nobody is told.", "No device of a manager takes notices")
	phone := service.Phone("manager")
	if status, text := anna.post("/manager/devices", "endpoint", phone.Endpoint, "p256dh", phone.P256dh(), "auth", phone.Auth()); status >= 300 {
		t.Fatalf("%d %s", status, text)
	}
	if _, text := anna.get("/r/cellar/wall"); strings.Contains(text, "cannot be told") {
		t.Error("with a device the wall still says so")
	}
	w.until("the way", func() bool { everybody, _ := w.app.noWayToManager("en"); return everybody == "" })
	if status, text := anna.post("/manager/notices/try"); status != http.StatusOK || !strings.Contains(text, "has taken the notice") {
		t.Errorf("%d %s", status, text)
	}
	if _, err := phone.Await(t.Context(), 1); err != nil {
		t.Error(err)
	}
}
