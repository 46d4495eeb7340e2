package push

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// withMail gives a person of the building an address.
func withMail(people *coordinator.People, id coordinator.PersonID, also bool) {
	p := people.Persons[id]
	p.Mail = coordinator.Mail{Address: string(id) + "@example.org", Also: also, Off: "off-" + string(id)}
	people.Persons[id] = p
}

func TestMailReason(t *testing.T) {
	also := Recipient{Person: coordinator.Person{Mail: coordinator.Mail{Also: true}}}
	for _, c := range []struct {
		name         string
		who          Recipient
		phones, lost int
		mail         bool
		want         coordinator.MailReason
	}{
		{"no address", also, 1, 1, false, ""},
		{"no phone", Recipient{}, 0, 0, true, coordinator.MailOnly},
		{"no phone, asked for both", also, 0, 0, true, coordinator.MailOnly},
		{"a phone, asked for both", also, 1, 0, true, coordinator.MailAlso},
		{"a phone", Recipient{}, 1, 0, true, coordinator.MailSpare},
		{"one phone of two lost", Recipient{}, 2, 1, true, coordinator.MailSpare},
		{"both lost", Recipient{}, 2, 2, true, coordinator.MailInstead},
	} {
		if got := mailReason(&Case{Who: c.who, Phones: c.phones, Lost: c.lost, Mail: c.mail}); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

func TestLost(t *testing.T) {
	later := noon.Add(time.Minute)
	phones := one()
	for _, c := range []struct {
		name string
		r    coordinator.DeviceResult
		want int
	}{
		{"of another device", coordinator.DeviceResult{Device: "d2"}, 0},
		{"served", coordinator.DeviceResult{Device: "d1", Sent: true}, 0},
		{"tried twice, goes on", coordinator.DeviceResult{Device: "d1", Tries: 2, Next: later}, 0},
		{"tried three times, goes on", coordinator.DeviceResult{Device: "d1", Tries: 3, Next: later}, 1},
		{"given up", coordinator.DeviceResult{Device: "d1", Tries: 1}, 1},
		{"its service is left alone", coordinator.DeviceResult{Device: "d1", Next: later}, 1},
	} {
		if got := lost([]coordinator.DeviceResult{c.r}, phones); got != c.want {
			t.Errorf("%s: %d", c.name, got)
		}
	}
}

// TestByMail: who is told by e-mail, as sent by the worker, and what the row says.
func TestByMail(t *testing.T) {
	gone := Result{Status: 410}
	for _, c := range []struct {
		name    string
		devices []coordinator.Subscription
		also    bool
		phone   Result
		want    string // what is sent to
		why     string
		reason  coordinator.MailReason
	}{
		{"no phone", nil, false, Result{}, "mail:a", "sent 0 1", coordinator.MailOnly},
		{"a phone is enough", one(), false, Result{Status: 201}, "d1", "sent 1 0", coordinator.MailSpare},
		{"asked for both", one(), true, Result{Status: 201}, "d1 mail:a", "sent 1 1", coordinator.MailAlso},
		{"the phone is gone", one(), false, gone, "d1 mail:a", "sent 0 1 gone", coordinator.MailOnly},
		{"the phone is refused", one(), false, Result{Status: 403}, "d1 mail:a", "sent 0 1 answered", coordinator.MailInstead},
		{"the phone's service is dead", one(), false, Result{Err: errors.New("no route")}, "d1 mail:a", "sent 0 1 silent", coordinator.MailInstead},
	} {
		bubble(t, c.devices, func(t *testing.T, h *house) {
			withMail(h.people, "a", c.also)
			h.Ways.Mail = true
			n := called(1, time.Now())
			h.box.put(n)
			h.post.answer = func(_ context.Context, m Message, _ int) Result {
				if byMail(m.To) {
					return Result{Class: Taken, Status: 250}
				}
				return c.phone
			}
			defer h.start(t)()
			time.Sleep(20 * time.Second)
			var to []string
			for _, s := range h.post.to("") {
				to = append(to, s.To.ID)
			}
			slices.Sort(to)
			to = slices.Compact(to)
			row := h.box.row(n)
			if strings.Join(to, " ") != c.want {
				t.Errorf("%s: sent to %v", c.name, to)
			}
			if row.Told[0].Mail != c.reason || row.State == coordinator.Done && whyOf(row) != c.why {
				t.Errorf("%s: by mail %q; %s, %q", c.name, row.Told[0].Mail, row.State, row.Why)
			}
			time.Sleep(time.Hour)
			if row := h.box.row(n); row.State != coordinator.Done || whyOf(row) != c.why {
				t.Errorf("%s: in the end %s, %q", c.name, row.State, whyOf(row))
			}
		})
	}
}

// TestLetter: what the mail's sender is given; the same letter for every try.
func TestLetter(t *testing.T) {
	bubble(t, nil, func(t *testing.T, h *house) {
		withMail(h.people, "a", false)
		h.Ways.Mail = true
		h.box.put(called(1, time.Now()))
		h.post.answer = answers(Result{Class: Again, Status: 451, OnlyThis: true})
		defer h.start(t)()
		time.Sleep(time.Minute)
		sent := h.post.to("mail:a")
		if len(sent) != 2 || sent[0].Letter != sent[1].Letter || !reflect.DeepEqual(sent[0].Payload, Payload{}) {
			t.Fatalf("%+v", sent)
		}
		l := sent[0].Letter
		if l.Title != "It's your turn" || l.URL != "/r/cellar" || l.Off != "off-a" || !strings.HasSuffix(l.Key, "\na") || sent[0].To.Endpoint != "mailto:a@example.org" {
			t.Errorf("%+v", l)
		}
	})
}

// TestMailEndedMeanwhile: an address that was ended or changed while its letter waited gets none.
func TestMailEndedMeanwhile(t *testing.T) {
	bubble(t, nil, func(t *testing.T, h *house) {
		withMail(h.people, "a", false)
		h.Ways.Mail = true
		n := called(1, time.Now())
		h.box.put(n)
		h.post.answer = answers(Result{Class: Again, Err: errors.New("no route")})
		defer h.start(t)()
		synctest.Wait()
		p := *h.snapshot()
		p.Persons = map[coordinator.PersonID]coordinator.Person{"a": {ID: "a"}}
		h.mu.Lock()
		h.people = &p
		h.mu.Unlock()
		time.Sleep(time.Hour)
		if row := h.box.row(n); len(h.post.to("")) != 1 || row.State != coordinator.Dropped {
			t.Errorf("%d letters; %s %q", len(h.post.to("")), row.State, row.Why)
		}
	})
}

// TestRefusedMail: a server that refuses the login is left alone for a while, is
// an alarm, and managers are tried again.
func TestRefusedMail(t *testing.T) {
	bubble(t, nil, func(t *testing.T, h *house) {
		h.Ways = Ways{NoPhones: true, Mail: true, Caretakers: []string{"care@example.org"}}
		n := called(1, time.Now())
		n.Kind, n.To, n.Role, n.UsefulUntil = coordinator.FaultTold, "", coordinator.Managers, time.Now().Add(time.Hour)
		h.box.put(n)
		h.post.answer = answers(Result{Class: Refused, Status: 535, Err: errors.New("wrong password")})
		defer h.start(t)()
		synctest.Wait()
		alarms := h.Health().Alarms
		if len(alarms) != 1 || !strings.Contains(alarms[0].Text(words.English()), "No e-mail can be sent: wrong password") {
			t.Fatalf("%+v", alarms)
		}
		if r := ReachManagers(h.people, h.Health(), h.Ways, words.English()); r.OK || !strings.Contains(r.Manager, "e-mail") || r.Everybody == "" {
			t.Errorf("%+v", r)
		}
		time.Sleep(11 * time.Minute)
		if row := h.box.row(n); row.State != coordinator.Done || whyOf(row) != "sent 0 1" {
			t.Errorf("%s %q", row.State, row.Why)
		}
		if r := ReachManagers(h.people, h.Health(), h.Ways, words.English()); !r.OK || len(h.Health().Alarms) != 0 {
			t.Errorf("%+v", r)
		}
	})
}

func TestMailCircuit(t *testing.T) {
	for _, c := range []struct {
		name string
		r    Result
		rest bool
	}{
		{"taken", Result{Class: Taken, Status: 250}, false},
		{"one full mailbox", Result{Class: Again, Status: 452, OnlyThis: true}, false},
		{"no such mailbox", Result{Class: Never, Status: 550}, false},
		{"no answer", Result{Class: Again, Err: errors.New("timeout")}, true},
		{"closing", Result{Class: Again, Status: 421}, true},
		{"wrong password", Result{Class: Refused, Status: 535}, true},
	} {
		var k circuit
		rest := false
		for range tripAfter {
			rest = k.heard(c.r, "e-mail", noon)
		}
		if rest != c.rest || k.proven == c.rest {
			t.Errorf("%s: left alone %v, proven %v", c.name, rest, k.proven)
		}
	}
}

func TestReachManagers(t *testing.T) {
	phone := peopleWith(device("d1", "m", "push.example"))
	address := peopleWith()
	withMail(address, "n", false)
	for _, c := range []struct {
		name   string
		people *coordinator.People
		h      Health
		ways   Ways
		want   string // part of what the manager's page says; empty: all is well
	}{
		{"a phone", phone, Health{}, Ways{}, ""},
		{"nothing is sent", phone, Health{}, Ways{NoPhones: true}, "sends no notices"},
		{"no phone", peopleWith(), Health{}, Ways{}, "No device of a manager"},
		{"no phone, nor address", peopleWith(), Health{}, Ways{Mail: true}, "give an e-mail address"},
		{"an address, but no mail", address, Health{}, Ways{}, "No device of a manager"},
		{"an address", address, Health{}, Ways{Mail: true}, ""},
		{"an address in the file", peopleWith(), Health{}, Ways{NoPhones: true, Mail: true, Caretakers: []string{"c@example.org"}}, ""},
		{"no manager yet, an address in the file", &coordinator.People{}, Health{}, Ways{Mail: true, Caretakers: []string{"c@example.org"}}, ""},
		{"mail fails", address, Health{Silent: []string{coordinator.MailHost}}, Ways{Mail: true}, "All ways to the managers fail"},
		{"mail is refused", address, Health{Alarms: []Alarm{{Host: coordinator.MailHost}}}, Ways{Mail: true}, "All ways"},
		{"push fails, mail works", phone, Health{Silent: []string{"push.example"}}, Ways{Mail: true, Caretakers: []string{"c@example.org"}}, ""},
		{"the outbox fails", address, Health{Trouble: "No disk."}, Ways{Mail: true}, "No disk."},
	} {
		r := ReachManagers(c.people, c.h, c.ways, words.English())
		if r.OK != (c.want == "") || !strings.Contains(r.Manager, c.want) || (r.Everybody == "") != r.OK {
			t.Errorf("%s: %+v", c.name, r)
		}
	}
}

// TestCaretakers: the addresses of the file are told as managers are, once.
func TestCaretakers(t *testing.T) {
	people := peopleWith()
	withMail(people, "m", false)
	withMail(people, "a", false)
	w := Ways{Mail: true, Caretakers: []string{"M@example.org", "a@example.org"}, CaretakersLang: "de"}
	var got []string
	for _, r := range w.Recipients(&coordinator.Notice{Role: coordinator.Managers}, people) {
		got = append(got, string(r.Person.ID)+" "+r.Person.Lang+r.Person.Mail.Address)
	}
	if want := "caretaker:1 dea@example.org, m m@example.org, n "; strings.Join(got, ", ") != want {
		t.Errorf("%q", got)
	}
}

func TestTryByMail(t *testing.T) {
	bubble(t, nil, func(t *testing.T, h *house) {
		withMail(h.people, "a", false)
		if got := h.Try(t.Context(), "a", "en"); !strings.Contains(got[0], "Nothing of yours") {
			t.Errorf("%q", got)
		}
		h.Ways.Mail = true
		for class, want := range map[Class]string{Taken: "has taken an e-mail", Never: "spelt right", Again: "just now", Refused: "Tell the manager"} {
			h.post.answer = func(context.Context, Message, int) Result { return Result{Class: class, Status: 250} }
			if got := h.Try(t.Context(), "a", "en"); len(got) != 1 || !strings.HasPrefix(got[0], "E-mail: ") || !strings.Contains(got[0], want) {
				t.Errorf("%v: %q", class, got)
			}
			time.Sleep(tryEvery)
		}
	})
}

// TestTryInTheReadersLanguage: what shows on the phone, and what the page says of
// it, for each kind of answer.
func TestTryInTheReadersLanguage(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		de := words.For("de")
		for _, c := range []struct {
			key    string
			answer Result
		}{
			{"taken", Result{Status: 201}}, {"too-large", Result{Status: 413}}, {"refused", Result{Status: 403}},
			{"silent", Result{Err: errors.New("no route")}}, {"again", Result{Status: 503}}, {"never", Result{Status: 307}}, {"gone", Result{Status: 410}},
		} {
			key, answer := c.key, c.answer
			h.post.answer = func(context.Context, Message, int) Result { return answer }
			want := de.Say("try.device", "number", 1, "host", one()[0].Host(), "said", de.Say("try."+key, "status", answer.Status))
			if got := h.Try(t.Context(), "a", "de-AT"); len(got) != 1 || got[0] != want {
				t.Errorf("%s: %q, want %q", key, got, want)
			}
			if got := h.Try(t.Context(), "a", "fr"); key != "gone" && (len(got) != 1 || got[0] != words.For("fr").Say("try.wait")) {
				t.Errorf("at once again: %q", got)
			}
			time.Sleep(tryEvery)
		}
		for _, m := range h.post.to("d1") {
			if m.Payload.Title != de.Say("try.title") || m.Payload.Body != de.Say("try.body") || m.Topic == "" || m.TTL != tryTTL {
				t.Errorf("the phone shows %+v", m)
			}
		}
	})
}
