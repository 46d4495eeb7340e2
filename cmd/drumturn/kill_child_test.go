package main

import (
	"context"
	"crypto/x509"
	"encoding/json"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/store"
	"drumturn/push"
	"drumturn/push/webpush"
)

// mortalEnv names the folder of a process that sends until it is killed, and
// mortalLife how many there were before it.
const (
	mortalEnv  = "DRUMTURN_TEST_MORTAL"
	mortalLife = "DRUMTURN_TEST_LIFE"
)

// mortalSpeed is how much faster the worker's clock runs, so that back-offs and
// rests are short.
const mortalSpeed = 50

func TestMain(m *testing.M) {
	if dir := os.Getenv(mortalEnv); dir != "" {
		if err := sendAsMortal(dir, os.Getenv(mortalLife)); err != nil {
			fmt.Fprintln(os.Stderr, "error:", err)
			os.Exit(1)
		}
		return
	}
	os.Exit(m.Run())
}

// mortal is what each process of one test is told.
type mortal struct {
	Keys         push.Keys
	Certificates [][]byte
	// Start is when the clock said so at Since, an instant of the wall.
	Start, Since time.Time
	Devices      []coordinator.Subscription
}

// endedFile lists the devices that were forgotten.
func endedFile(dir string) string { return filepath.Join(dir, "ended") }

// sendAsMortal works off the outbox in dir, as the program does, and comes back
// when nothing is pending. It names its life in what it signs.
func sendAsMortal(dir, life string) error {
	var told mortal
	data, err := os.ReadFile(filepath.Join(dir, "mortal.json"))
	if err == nil {
		err = json.Unmarshal(data, &told)
	}
	if err != nil {
		return err
	}
	file, err := store.Open(filepath.Join(dir, "building.db"), store.Options{})
	if err != nil {
		return err
	}
	defer file.Close()
	sender, err := webpush.New(told.client(), told.Keys, "life"+life+"@example.org")
	if err != nil {
		return err
	}
	var people atomic.Pointer[coordinator.People]
	people.Store(told.people(dir))
	worker := push.NewWorker(push.Config{
		Outbox: file, People: people.Load, Directory: pushCellar{}, Sender: sender, Log: slog.New(slog.DiscardHandler),
		Clock:       loop.Fast{Start: told.Start, Since: told.Since, Speed: mortalSpeed},
		Unsubscribe: func(_ context.Context, device string) error { return forgetDevice(dir, device, &told, &people) },
		URL:         func(coordinator.Notice) string { return "/r/cellar" },
	})
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	go func() {
		for next := time.Unix(1, 0); err == nil && !next.IsZero(); time.Sleep(10 * time.Millisecond) {
			next, err = file.NextDelivery(ctx)
		}
		stop()
	}()
	return worker.Run(ctx)
}

// forgetDevice notes a device that has ended, as the building would.
func forgetDevice(dir, device string, told *mortal, people *atomic.Pointer[coordinator.People]) error {
	f, err := os.OpenFile(endedFile(dir), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintln(f, device); err != nil {
		return err
	}
	people.Store(told.people(dir))
	return f.Close()
}

// client is the program's client, which gives up sooner.
func (m *mortal) client() webpush.Doer {
	roots := x509.NewCertPool()
	for _, der := range m.Certificates {
		if c, err := x509.ParseCertificate(der); err == nil {
			roots.AddCert(c)
		}
	}
	client := push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: roots})
	client.Timeout = 2500 * time.Millisecond
	return client
}

// people are the owners of the devices that have not ended.
func (m *mortal) people(dir string) *coordinator.People {
	ended, _ := os.ReadFile(endedFile(dir)) // before the first there is none
	out := &coordinator.People{Persons: map[coordinator.PersonID]coordinator.Person{}, Subscriptions: map[string]coordinator.Subscription{}}
	for _, d := range m.Devices {
		out.Persons[d.Person] = coordinator.Person{ID: d.Person, Home: "1"}
		if !strings.Contains("\n"+string(ended), "\n"+d.ID+"\n") {
			out.Subscriptions[d.ID] = d
		}
	}
	return out
}
