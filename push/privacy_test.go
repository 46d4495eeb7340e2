package push_test

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/push/pushtest"
	"drumturn/push/webpush"
	"drumturn/push/words"
	"drumturn/queue"
)

// tray is an outbox of rows that are due at once.
type tray struct {
	mu   sync.Mutex
	rows []coordinator.Delivery
	done chan struct{} // closed when the last row is over
}

func (y *tray) DueDeliveries(_ context.Context, _ time.Time, limit int, inHand func([]byte) bool) ([]coordinator.Delivery, error) {
	y.mu.Lock()
	defer y.mu.Unlock()
	var out []coordinator.Delivery
	for _, r := range y.rows {
		if len(out) < limit && !inHand([]byte(r.Key)) {
			out = append(out, r)
		}
	}
	return out, nil
}

func (*tray) NextDelivery(context.Context) (time.Time, error) { return time.Time{}, nil }

func (y *tray) RecordDeliveries(_ context.Context, rows ...coordinator.Delivery) error {
	y.mu.Lock()
	defer y.mu.Unlock()
	for i := range rows {
		if rows[i].State != coordinator.Pending {
			y.rows = slices.DeleteFunc(y.rows, func(r coordinator.Delivery) bool { return r.Key == rows[i].Key })
		}
	}
	if len(y.rows) == 0 {
		close(y.done)
	}
	return nil
}

// clock is the wall's.
type clock struct{}

func (clock) Now() time.Time { return time.Now() }

func (clock) At(t time.Time) (<-chan struct{}, func()) {
	reached := make(chan struct{})
	timer := time.AfterFunc(time.Until(t), func() { close(reached) })
	return reached, func() { timer.Stop() }
}

// boilerRoom is the one room, on a clock three hours ahead of UTC.
type boilerRoom struct{}

func (boilerRoom) Room(coordinator.RoomID) (string, *time.Location) {
	return "Boiler room", time.FixedZone("", 3*3600)
}

// household is a building in which all that is personal has a name of its own:
// each contains the mark, in another spelling for each kind of thing.
type household struct {
	mark   string
	people *coordinator.People
	phones map[string]*pushtest.Phone // by role
}

// roles are who is told: the one it is to, another of the home, who looks after
// the building, and one who does and lives there.
var roles = []string{"owner", "mate", "manager", "both"}

func newHousehold(t *testing.T, service *pushtest.Service, mark, lang string) *household {
	t.Helper()
	h := &household{mark: mark, phones: map[string]*pushtest.Phone{}, people: &coordinator.People{
		Persons: map[coordinator.PersonID]coordinator.Person{}, Subscriptions: map[string]coordinator.Subscription{},
		Homes:       map[coordinator.HomeID]coordinator.Home{coordinator.HomeID("home-" + mark): {Name: mark + " flat", Code: mark + "-CODE", Also: []string{mark + "s"}}},
		Invitations: map[coordinator.RoomID]coordinator.Invitation{"boiler": {Room: "boiler", Code: mark + "-wall"}},
		Sessions:    map[string]coordinator.Session{},
	}}
	for _, role := range roles {
		id := coordinator.PersonID(role + "-" + mark)
		h.people.Persons[id] = coordinator.Person{
			ID: id, Name: "Ms " + mark, Home: coordinator.HomeID("home-" + mark), Lang: lang, TellForHome: role == "mate",
			Manager: role == "manager" || role == "both", Mail: coordinator.Mail{Address: mark + "@example.org", Off: mark + "-off"},
		}
		h.people.Sessions[mark+role] = coordinator.Session{Hash: mark + role, Person: id, Device: mark + " phone", Where: mark}
		phone := service.Phone(mark + " " + role)
		h.phones[role] = phone
		sub, err := push.ValidateSubscription(phone.Endpoint, phone.P256dh(), phone.Auth(), []string{service.Host()})
		if err != nil {
			t.Fatal(err)
		}
		sub.Person = id
		h.people.Subscriptions[sub.ID] = sub
	}
	return h
}

// reasons are those that have words of their own, by kind.
var reasons = map[coordinator.NoticeKind][]string{
	coordinator.TurnCalled: {"wash-ends"}, coordinator.TurnReturned: {"wash-ends"}, coordinator.LoadLeft: {"table"}, coordinator.LoadFault: {"out"},
	coordinator.LoadReady: {string(coordinator.EndStopped), string(coordinator.EndPresumed)},
}

// every is a notice of each kind, to a resident and to the managers, with each
// reason that has words of its own, with none, and with one that somebody typed.
func (h *household) every(made time.Time) (out []coordinator.Notice) {
	typed := "coat of " + h.mark + " (" + h.mark + " flat) in the drum, code " + h.mark + "-CODE"
	for _, kind := range append(append(coordinator.ResidentKinds(), coordinator.ManagerKinds()...), "of-tomorrow") {
		for _, reason := range append([]string{"", typed}, reasons[kind]...) {
			for _, to := range []string{"owner", "both", "managers"} {
				number := uint64(len(out) + 1)
				n := coordinator.Notice{
					Kind: kind, Subject: coordinator.Subject{Room: "boiler", Turn: coordinator.TurnID(number)}, Made: made, UsefulUntil: made.Add(time.Hour),
					Machine: 3, MachineKind: queue.WasherDryer, Until: made.Add(30 * time.Minute), ReadyAt: made.Add(-2 * time.Minute),
					LoadInside: true, Reason: reason, MoreTime: 10 * time.Minute,
				}
				switch {
				case to == "managers":
					n.Role, n.Subject = coordinator.Managers, coordinator.Subject{Room: "boiler", Machine: coordinator.MachineID(fmt.Sprint("m", number))}
				case strings.HasPrefix(string(kind), "load"):
					n.Subject = coordinator.Subject{Room: "boiler", Load: coordinator.LoadID(number)}
				}
				if n.Role == "" {
					n.To = coordinator.PersonID(to + "-" + h.mark)
				}
				out = append(out, n)
			}
		}
	}
	return out
}

// tell sends everything through the real worker and sender, and then one to try to
// each; it gives what each role's phone decrypts, in order.
func (h *household) tell(t *testing.T, service *pushtest.Service, made time.Time) map[string][]string {
	t.Helper()
	box := &tray{done: make(chan struct{})}
	for _, n := range h.every(made) {
		box.rows = append(box.rows, coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: made})
	}
	keys, err := push.NewKeys()
	if err != nil {
		t.Fatal(err)
	}
	sender, err := webpush.New(push.NewClient(push.ClientOptions{AllowPrivate: true, RootCAs: service.Roots()}), keys, "laundry@example.org")
	if err != nil {
		t.Fatal(err)
	}
	worker := push.NewWorker(push.Config{
		Outbox: box, People: func() *coordinator.People { return h.people }, Directory: boilerRoom{}, Clock: clock{}, Sender: sender,
		Unsubscribe: func(context.Context, string) error { return nil }, Log: slog.New(slog.DiscardHandler),
		URL: func(n coordinator.Notice) string { return "/r/" + string(n.Subject.Room) },
		Post: func(n coordinator.Notice) string {
			return fmt.Sprintf("/r/%s/turns/%d", n.Subject.Room, n.Subject.Turn)
		},
	})
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	ended := make(chan error, 1)
	go func() { ended <- worker.Run(ctx) }()
	select {
	case <-box.done:
	case <-ctx.Done():
		t.Fatal("not all was sent")
	}
	for _, role := range roles {
		id := coordinator.PersonID(role + "-" + h.mark)
		worker.Try(ctx, id, h.people.Persons[id].Lang)
	}
	stop()
	if err := <-ended; err != nil {
		t.Fatal(err)
	}
	out := map[string][]string{}
	for _, role := range roles {
		for _, m := range h.phones[role].Messages() {
			out[role] = append(out[role], string(m.Plain))
		}
		slices.Sort(out[role])
	}
	return out
}

// fields are all that a payload may have.
var fields = []string{"at", "body", "buttons", "kind", "post", "tag", "title", "url"}

// personalIn is what a payload has of a person; empty when it has nothing.
func personalIn(t *testing.T, payload, mark string) (found []string) {
	t.Helper()
	var v map[string]any
	if err := json.Unmarshal([]byte(payload), &v); err != nil {
		t.Fatal(err)
	}
	for name := range v {
		if !slices.Contains(fields, name) {
			found = append(found, "a field "+name)
		}
	}
	if strings.Contains(strings.ToLower(payload), strings.ToLower(mark)) {
		found = append(found, "something of "+mark)
	}
	if strings.Contains(payload, "@") {
		found = append(found, "an address")
	}
	if len(payload) >= 1024 {
		found = append(found, fmt.Sprint(len(payload), " octets"))
	}
	return found
}

// TestNothingPersonalInThePayload: of whatever kind, in whatever language and to
// whomever, what a phone gets has no name, home, address, id, code or secret of
// anybody, nor what anybody typed; it is the same for two households of which
// nothing personal is the same. What it has are the machine's number, the room's
// name, the time on the room's clock, and the numbers of a turn or a load.
func TestNothingPersonalInThePayload(t *testing.T) {
	made := time.Now().Truncate(time.Second)
	service := pushtest.NewService(t)
	for _, l := range words.All() {
		one, other := newHousehold(t, service, "Quillfeather", l.Code()), newHousehold(t, service, "Óskarsdóttir", l.Code())
		got, same := one.tell(t, service, made), other.tell(t, service, made)
		for _, role := range roles {
			var mine, theirs []string
			for _, payload := range got[role] {
				if found := personalIn(t, payload, one.mark); len(found) > 0 {
					t.Errorf("%s, %s: %v in %s", l.Code(), role, found, payload)
				}
				mine = append(mine, withoutInstant(t, payload))
			}
			for _, payload := range same[role] {
				theirs = append(theirs, withoutInstant(t, payload))
			}
			slices.Sort(mine)
			slices.Sort(theirs)
			if !reflect.DeepEqual(mine, theirs) {
				t.Errorf("%s: what a %s reads depends on who it is", l.Code(), role)
			}
		}
		// 20 kinds with 2 reasons and 6 more to each addressee; whoever is both gets their
		// own and the managers', a mate the loads that are ready; and one to try.
		if len(got["owner"]) != 47 || len(got["mate"]) != 9 || len(got["manager"]) != 47 || len(got["both"]) != 93 {
			t.Errorf("%s: %d, %d, %d, %d messages", l.Code(), len(got["owner"]), len(got["mate"]), len(got["manager"]), len(got["both"]))
		}
	}
}

// withoutInstant is a payload without when it was made, which of those to try is when
// they were asked for.
func withoutInstant(t *testing.T, payload string) string {
	t.Helper()
	var p push.Payload
	if err := json.Unmarshal([]byte(payload), &p); err != nil {
		t.Fatal(err)
	}
	if p.Kind == "try" {
		p.At = time.Time{}
	}
	data, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestWhatIsPersonalIsFound: the test above finds what it looks for.
func TestWhatIsPersonalIsFound(t *testing.T) {
	for payload, want := range map[string]bool{
		`{"title":"Your load is ready","body":"3 (Boiler room) since 14:05."}`: false,
		`{"title":"Your load is ready, Quillfeather"}`:                         true,
		`{"title":"Ready","tag":"boiler/turn/3/owner-quillfeather"}`:           true,
		`{"title":"Ready","body":"x@example.org"}`:                             true,
		`{"title":"Ready","person":"p7"}`:                                      true,
		`{"title":"` + strings.Repeat("r", 1012) + `"}`:                        true,
	} {
		if found := personalIn(t, payload, "Quillfeather"); (len(found) > 0) != want {
			t.Errorf("%s: %v", payload, found)
		}
	}
}
