package main

import (
	"context"
	"encoding/json"
	"log/slog"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
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

// pushOneRow is an outbox with a single row.
type pushOneRow struct {
	mu   sync.Mutex
	row  coordinator.Delivery
	done chan struct{}
}

func (o *pushOneRow) DueDeliveries(_ context.Context, now time.Time, _ int) ([]coordinator.Delivery, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.row.State != coordinator.Pending || o.row.NextAt.After(now) {
		return nil, nil
	}
	return []coordinator.Delivery{o.row}, nil
}

func (o *pushOneRow) NextDelivery(context.Context) (time.Time, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if o.row.State != coordinator.Pending {
		return time.Time{}, nil
	}
	return o.row.NextAt, nil
}

func (o *pushOneRow) RecordDeliveries(_ context.Context, rows ...coordinator.Delivery) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, r := range rows {
		o.row = r
		if r.State != coordinator.Pending {
			close(o.done)
		}
	}
	return nil
}

type pushCellar struct{}

func (pushCellar) Room(coordinator.RoomID) (string, *time.Location) { return "Cellar", time.UTC }

// A notice goes from the outbox to two phones, through validation of what the
// browsers post, over TLS, encrypted and signed; the phones show it.
func TestPushPeerReceivesANotice(t *testing.T) {
	service := newPushService(t)
	one, two := service.Phone("one"), service.Phone("two")
	one.Next(pushtest.Answer{Status: 413})
	people := &coordinator.People{
		Persons:       map[coordinator.PersonID]coordinator.Person{"a": {ID: "a", Home: "1"}},
		Subscriptions: map[string]coordinator.Subscription{},
	}
	for _, phone := range []*pushtest.Phone{one, two} {
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
	keys, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	now := time.Now()
	n := coordinator.Notice{
		Subject: coordinator.Subject{Room: "cellar", Load: 7}, Kind: coordinator.LoadReady, To: "a",
		Made: now, UsefulUntil: now.Add(time.Hour), ReadyAt: now, Machine: 2, MachineKind: queue.Dryer,
	}
	box := &pushOneRow{row: coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: now}, done: make(chan struct{})}
	worker := push.NewWorker(push.Config{
		Outbox: box, People: func() *coordinator.People { return people },
		Unsubscribe: func(context.Context, string) error { return nil },
		Directory:   pushCellar{}, Clock: loop.Wall{}, Sender: newPushSender(t, service, keys),
		URL: func(coordinator.Notice) string { return "/r/cellar" },
		Log: slog.New(slog.DiscardHandler),
	})
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	go func() { _ = worker.Run(ctx) }()
	select {
	case <-box.done:
	case <-ctx.Done():
		t.Fatal("the row was never settled")
	}
	short, full := pushPayloads(t, one.Messages()), pushPayloads(t, two.Messages())
	if len(short) != 1 || short[0].Title != "Your laundry is dry" || short[0].Body != "" {
		t.Errorf("after a 413: %+v", short)
	}
	if len(full) != 1 || full[0].Body == "" || full[0].Tag != "cellar/load/7" || full[0].URL != "/r/cellar" {
		t.Errorf("%+v", full)
	}
	m := two.Messages()[0]
	if m.Urgency != "high" || m.Topic != push.Topic(&n, "a") || m.TTL < 59*time.Minute || m.TTL > time.Hour {
		t.Errorf("%+v", m)
	}
}
