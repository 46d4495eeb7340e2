package main

import (
	"context"
	"encoding/json"
	"errors"
	"log/slog"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/store"
	"drumturn/push"
	"drumturn/push/pushtest"
	"drumturn/push/webpush"
	"drumturn/queue"
)

// The receiving side is package pushtest: an implementation of its own, from
// RFC 8030, 8188, 8291 and 8292, which its tests check against the vectors of
// those documents.

// newPushService starts a push service on TLS that ends with the test and
// fails it when a client broke a rule.
//
//	phone := service.Phone("anna")       // a browser with a subscription
//	phone.Subscription()                 // the JSON that a browser posts
//	phone.Messages(), phone.Await(ctx, 2)
//	phone.Next(pushtest.Answer{Status: 503, RetryAfter: "5"})
//	service.Host()                       // for the list of allowed push services
func newPushService(t testing.TB) *pushtest.Service { return pushtest.NewService(t) }

// newPushSender is the program's sender with the service's certificate trusted
// and addresses of this machine allowed; all else is as in production.
func newPushSender(t testing.TB, s *pushtest.Service, keys push.Keys) *webpush.Sender {
	t.Helper()
	client := push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: s.Roots()})
	sender, err := webpush.New(client, keys, "laundry@example.org")
	if err != nil {
		t.Fatal(err)
	}
	return sender
}

// pushPayloads decodes what a phone has shown.
func pushPayloads(t testing.TB, messages []pushtest.Received) []push.Payload {
	t.Helper()
	var out []push.Payload
	for _, m := range messages {
		var p push.Payload
		if err := json.Unmarshal(m.Plain, &p); err != nil {
			t.Fatalf("a message that is no JSON: %v: %s", err, m.Plain)
		}
		out = append(out, p)
	}
	return out
}

// pushHouse is a store with one notice about a dryer load for person a, who has
// the phones given, and what a worker needs around it.
type pushHouse struct {
	push.Config
	notice coordinator.Notice
	store  *store.File
}

func newPushHouse(t *testing.T, service *pushtest.Service, phones ...*pushtest.Phone) *pushHouse {
	t.Helper()
	file, err := store.Open(filepath.Join(t.TempDir(), "building.db"), store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = file.Close() })
	people := subscribedPeople(t, service, phones)
	keys, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	h := &pushHouse{store: file, notice: coordinator.Notice{
		Subject: coordinator.Subject{Room: "cellar", Load: 7}, Kind: coordinator.LoadReady, To: "a",
		Made: now, UsefulUntil: now.Add(time.Hour), ReadyAt: now, Machine: 2, MachineKind: queue.Dryer,
	}}
	set := coordinator.ChangeSet{Unit: "cellar", At: now, Notices: []coordinator.Notice{h.notice}}
	if err := file.Commit(t.Context(), set); err != nil {
		t.Fatal(err)
	}
	h.Config = push.Config{
		Outbox: file, People: func() *coordinator.People { return people },
		Unsubscribe: func(context.Context, string) error { return nil },
		Directory:   pushCellar{}, Clock: loop.Wall{}, Sender: newPushSender(t, service, keys),
		URL: func(coordinator.Notice) string { return "/r/cellar" },
		Log: slog.New(slog.DiscardHandler),
	}
	return h
}

type pushCellar struct{}

func (pushCellar) Room(coordinator.RoomID) (string, *time.Location) { return "Cellar", time.UTC }

// subscribedPeople validates what the phones' browsers post, as the page does.
func subscribedPeople(t *testing.T, service *pushtest.Service, phones []*pushtest.Phone) *coordinator.People {
	t.Helper()
	people := &coordinator.People{
		Persons:       map[coordinator.PersonID]coordinator.Person{"a": {ID: "a", Home: "1"}},
		Subscriptions: map[string]coordinator.Subscription{},
	}
	for _, phone := range phones {
		var posted struct {
			Endpoint string
			Keys     struct{ P256dh, Auth string }
		}
		if err := json.Unmarshal(phone.Subscription(), &posted); err != nil {
			t.Fatal(err)
		}
		s, err := push.ValidateSubscription(posted.Endpoint, posted.Keys.P256dh, posted.Keys.Auth, []string{service.Host()})
		if err != nil {
			t.Fatal(err)
		}
		s.Person = "a"
		people.Subscriptions[s.ID] = s
	}
	return people
}

// sendUntil runs a worker until each phone has so many messages, then stops it.
func (h *pushHouse) sendUntil(t *testing.T, n int, phones ...*pushtest.Phone) error {
	t.Helper()
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	done := make(chan error, 1)
	go func() { done <- push.NewWorker(h.Config).Run(ctx) }()
	for _, phone := range phones {
		if _, err := phone.Await(ctx, n); err != nil {
			t.Fatal(err)
		}
	}
	stop()
	return <-done
}

// row is the notice's row as it is stored.
func (h *pushHouse) row(t *testing.T) coordinator.Delivery {
	t.Helper()
	rows, err := h.store.Deliveries(t.Context(), 10)
	if err != nil || len(rows) != 1 {
		t.Fatalf("%d rows, %v", len(rows), err)
	}
	return rows[0]
}

// A notice goes from the stored outbox to two phones over TLS, encrypted and
// signed; one of them gets the short form after a 413.
func TestPushPeerReceivesANotice(t *testing.T) {
	service := newPushService(t)
	one, two := service.Phone("one"), service.Phone("two")
	one.Next(pushtest.Answer{Status: 413})
	h := newPushHouse(t, service, one, two)
	if err := h.sendUntil(t, 1, one, two); err != nil {
		t.Fatal(err)
	}
	short, full := pushPayloads(t, one.Messages()), pushPayloads(t, two.Messages())
	if len(short) != 1 || short[0].Title != "Your laundry is dry" || short[0].Body != "" {
		t.Errorf("after a 413: %+v", short)
	}
	if len(full) != 1 || full[0].Body == "" || full[0].Tag != "cellar/load/7" || full[0].URL != "/r/cellar" {
		t.Errorf("%+v", full)
	}
	m := two.Messages()[0]
	if m.Urgency != "high" || m.Topic != push.Topic(&h.notice, "a") || m.TTL < 58*time.Minute || m.TTL > time.Hour {
		t.Errorf("%+v", m)
	}
	row := h.row(t)
	if phones, _ := row.Served(); row.State != coordinator.Done || row.Why != coordinator.WhySent || phones != 2 {
		t.Errorf("%+v", row)
	}
}

// pushUnrecorded is an outbox whose program dies before any record.
type pushUnrecorded struct{ push.Outbox }

func (pushUnrecorded) RecordDeliveries(context.Context, ...coordinator.Delivery) error {
	return errors.New("killed")
}

// Killed between the send and its record, the program sends once more after the
// restart: under the same topic, tag and time, so that the phone shows it once.
func TestPushPeerAfterAKill(t *testing.T) {
	service := newPushService(t)
	phone := service.Phone("one")
	h := newPushHouse(t, service, phone)
	h.Outbox = pushUnrecorded{h.store}
	if err := h.sendUntil(t, 1, phone); err == nil {
		t.Fatal("the worker does not say that nothing was recorded")
	}
	h.Outbox = h.store
	if err := h.sendUntil(t, 2, phone); err != nil {
		t.Fatal(err)
	}
	got, shown := phone.Messages(), pushPayloads(t, phone.Messages())
	if len(got) != 2 || got[0].Topic != got[1].Topic || !reflect.DeepEqual(shown[0], shown[1]) || len(phone.Kept()) != 1 {
		t.Errorf("%+v", shown)
	}
	if row := h.row(t); row.State != coordinator.Done || row.Key != h.notice.Key() {
		t.Errorf("%+v", row)
	}
}
