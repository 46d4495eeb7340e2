package ui

import (
	"context"
	"encoding/json"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/loop"
	"drumturn/coordinator/store"
	"drumturn/queue"
	"drumturn/ui/passkey/passkeytest"
)

// lived is a building with real rooms, people and store, before its first manager.
type lived struct {
	*testing.T
	*Server
	house  *loop.House
	file   *store.File
	clock  *loop.Manual
	secret string // the manager's cookie
	device *passkeytest.Authenticator
}

func live(t *testing.T) *lived {
	file, err := store.Open(filepath.Join(t.TempDir(), "house"), store.Options{NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = file.Close() })
	plan := coordinator.Plan{ID: "cellar", Name: "Cellar", Zone: time.UTC, Seed: coordinator.DefaultRules()}
	for i, id := range []coordinator.MachineID{"w1", "w2", "w3"} {
		plan.Machines = append(plan.Machines, coordinator.Machine{
			Machine: queue.Machine{ID: id, Number: i + 1, Kind: queue.Washer}, Meter: string(id), Power: cycle.DefaultSettings(),
		})
	}
	l := &lived{T: t, file: file, clock: loop.NewManual(noon), device: passkeytest.New("http://localhost:8080", "localhost")}
	l.house, err = loop.Open(t.Context(), []coordinator.Plan{plan}, func(s cycle.Settings) cycle.Engine { return cycle.NewFixed(s) }, file, l.clock, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- l.house.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-ended })
	o := testOptions(l.house)
	o.CheckHook = func(string) error { return nil }
	o.Facts = func(ctx context.Context, room coordinator.RoomID, from, to time.Time, each func(coordinator.Fact) bool) error {
		return file.Facts(ctx, room, from, to, each)
	}
	if l.Server, err = New(o); err != nil {
		t.Fatal(err)
	}
	l.people(coordinator.SetFirstToken{Hash: hashSecret("first")}, coordinator.SetInvitation{Room: "cellar", Code: "TIDE-WATE"})
	l.wash()
	return l
}

func (l *lived) people(events ...coordinator.PeopleEvent) {
	l.Helper()
	for _, ev := range events {
		if err := l.house.DoPeople(l.Context(), ev); err != nil {
			l.Fatal(err)
		}
	}
}

// wash lets two washers run and finish; nobody takes the loads out.
func (l *lived) wash() {
	for end := noon.Add(36 * time.Minute); l.clock.Now().Before(end); {
		watts := 300.0
		if l.clock.Now().After(noon.Add(30 * time.Minute)) {
			watts = 0
		}
		l.clock.Set(l.clock.Now().Add(30 * time.Second))
		for _, id := range []string{"w1", "w2"} {
			if err := l.house.Deliver(l.Context(), id, cycle.Power(l.clock.Now(), watts)); err != nil {
				l.Fatal(err)
			}
		}
	}
}

// begin makes the first manager.
func (l *lived) begin() {
	l.Helper()
	secret, hash, err := l.newSecret()
	if err == nil && phrases["Ada"] == "" {
		phrases["Ada"], err = l.hashPassphrase(l.Context(), adasPhrase)
	}
	if err != nil {
		l.Fatal(err)
	}
	l.secret = secret
	l.people(coordinator.FirstManager{
		TokenHash: hashSecret("first"), Name: "Ada", Passphrase: phrases["Ada"], NewID: "ada", NewSession: coordinator.NewSession{SessionHash: hash, Expires: noon.AddDate(0, 1, 0)},
	})
}

// logged lists what managers did, as it is stored.
func (l *lived) logged() (out []coordinator.Fact) {
	l.Helper()
	people := l.house.People()
	for _, unit := range append([]coordinator.Unit{coordinator.Building}, l.house.Rooms()...) {
		err := l.file.Facts(l.Context(), unit, noon.AddDate(-1, 0, 0), noon.AddDate(1, 0, 0), func(f coordinator.Fact) bool {
			if people.Persons[f.Person].Manager {
				out = append(out, f)
			}
			return true
		})
		if err != nil {
			l.Fatal(err)
		}
	}
	return out
}

// send posts a form as the manager, and keeps the session that the answer gives.
func (l *lived) send(path string, pairs ...string) int {
	w := post(path, pairs...).as("", l.secret).of(l.Server)
	for _, c := range w.Result().Cookies() {
		if c.Name == managerCookie && c.Value != "" {
			l.secret = c.Value
		}
	}
	if w.Code >= 400 {
		l.Logf("%s %q: %s", path, pairs, said(w.Body.Bytes()))
	}
	return w.Code
}

// ceremony registers or signs in with the device, in the two steps of a page's script.
func (l *lived) ceremony(path string, make bool, pairs ...string) int {
	l.Helper()
	w := post(path+"/begin", pairs...).as("", l.secret).of(l.Server)
	var begun struct {
		Ticket  string
		Options json.RawMessage
	}
	if err := json.Unmarshal(w.Body.Bytes(), &begun); err != nil {
		l.Fatalf("%s: %d %s", path, w.Code, w.Body)
	}
	answer := l.device.SignIn
	if make {
		answer = l.device.Register
	}
	return l.send(path, append(pairs, "ticket", begun.Ticket, "answer", string(answer(begun.Options)))...)
}

// known finds an id that the building gave.
func (l *lived) known(kind string) string {
	p := l.house.People()
	switch kind {
	case "key":
		return p.WaysIn[l.boss()].Keys[0].ID
	case "manager":
		m, _ := p.ManagerNamed("Cleo")
		return string(m.ID)
	case "token":
		return p.TokensByAge()[0].ID
	case "hook":
		return p.WebhooksByAge()[0].ID
	}
	for id := range p.Guests {
		return id
	}
	return ""
}

func (l *lived) boss() coordinator.PersonID {
	p, _ := l.house.People().SessionPerson(hashSecret(l.secret), l.clock.Now())
	return p.ID
}

// invite puts a link for another manager into the house.
func (l *lived) invite() {
	l.people(coordinator.InviteManager{By: l.boss(), Hash: hashSecret("invite"), Name: "Cleo", Expires: noon.AddDate(0, 0, 1)})
}

// joined puts residents of two homes into the house.
func (l *lived) joined(ids ...coordinator.PersonID) {
	for _, id := range ids {
		l.people(coordinator.JoinBuilding{Room: "cellar", HomeName: string(id), Open: true, NewID: id, NewHomeCode: "H-" + string(id), Inside: true})
	}
}

func homeOf(name string) string { return string(coordinator.HomeIDFor(name)) }
