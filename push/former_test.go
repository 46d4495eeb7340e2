package push

import (
	"context"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// became makes one person one with another, as the building does: devices go along.
func (h *house) became(from, into coordinator.PersonID) {
	h.change(into, func(p *coordinator.Person) {
		p.Former = append(slices.Clone(p.Former), from)
		p.Former = append(p.Former, h.people.Persons[from].Former...)
	})
	h.mu.Lock()
	defer h.mu.Unlock()
	next := *h.people // its persons are the copy that change made
	delete(next.Persons, from)
	next.Subscriptions = map[string]coordinator.Subscription{}
	for id, s := range h.people.Subscriptions {
		if s.Person == from {
			s.Person = into
		}
		next.Subscriptions[id] = s
	}
	h.people = &next
}

// TestANoticeToAFormerID goes to the devices of the person now, by that person's
// choices; of who is gone it says so.
func TestANoticeToAFormerID(t *testing.T) {
	midnight := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // the bubble's clock
	devices := []coordinator.Subscription{device("old", "a", "push.example"), device("own", "c", "push.example")}
	for _, c := range []struct {
		name   string
		now    func(*coordinator.Person) // the choices of who a is now
		before func(*coordinator.Person) // those that a had
		want   string                    // devices
		who    coordinator.PersonID
		reason coordinator.Reason
	}{
		{name: "told on all their phones", want: "old own", who: "c", reason: coordinator.ReasonNow},
		{name: "does not want it", now: func(p *coordinator.Person) { p.Off = []coordinator.NoticeKind{coordinator.LoadNudge} }, who: "c", reason: coordinator.ReasonUnwanted},
		{name: "only who they were did not", before: func(p *coordinator.Person) { p.Off = []coordinator.NoticeKind{coordinator.LoadNudge} }, want: "old own", who: "c", reason: coordinator.ReasonNow},
		{name: "quiet hours", now: func(p *coordinator.Person) { p.Quiet = nights }, who: "c", reason: coordinator.ReasonLater},
		{name: "only who they were had some", before: func(p *coordinator.Person) { p.Quiet = nights }, want: "old own", who: "c", reason: coordinator.ReasonNow},
		{name: "muted", now: func(p *coordinator.Person) { p.MutedUntil = midnight.Add(time.Hour) }, who: "c", reason: coordinator.ReasonMuted},
	} {
		bubble(t, devices, func(t *testing.T, h *house) {
			for id, with := range map[coordinator.PersonID]func(*coordinator.Person){"c": c.now, "a": c.before} {
				if with != nil {
					h.change(id, with)
				}
			}
			h.became("a", "b2")
			h.became("b2", "c")
			n := nudge(7, 1, time.Now())
			h.box.put(n)
			defer h.start(t)()
			time.Sleep(time.Minute)
			if got := sentTo(h); got != c.want {
				t.Errorf("%s: sent to %q, want %q", c.name, got, c.want)
			}
			row := h.box.row(n)
			if len(row.Told) != 1 || row.Told[0].Person != c.who || row.Told[0].Reason != c.reason {
				t.Errorf("%s: %+v", c.name, row.Told)
			}
		})
	}
}

func sentTo(h *house) string {
	var to []string
	for _, s := range h.post.to("") {
		to = append(to, s.To.ID)
	}
	slices.Sort(to)
	return strings.Join(to, " ")
}

// TestMergedWhileItWaits: what was to be told later to one id is told once, to who it
// is then, and the row ends; nobody is told twice who has it.
func TestMergedWhileItWaits(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		h.change("a", func(p *coordinator.Person) { p.Quiet = nights })
		n := nudge(7, 1, time.Now())
		h.box.put(n)
		defer h.start(t)()
		time.Sleep(time.Hour)
		h.became("a", "c")
		h.change("c", func(p *coordinator.Person) { p.Quiet = nights })
		time.Sleep(8 * time.Hour)
		row := h.box.row(n)
		if got := sentTo(h); got != "d1" || row.State != coordinator.Done || len(row.Told) != 1 || row.Told[0].Person != "c" || row.Told[0].Reason != coordinator.ReasonNow {
			t.Errorf("sent to %q; %+v", got, row)
		}
	})
}

// TestLeftWhileItWaits: a row does not wait for who was to be told later, and is no
// more; it is not looked at again and again either.
func TestLeftWhileItWaits(t *testing.T) {
	for name, leave := range map[string]func(h *house){
		"moved out":          func(h *house) { h.change("b", func(p *coordinator.Person) { p.Home = "2" }) },
		"became the owner":   func(h *house) { h.became("b", "a") },
		"became one of home": func(h *house) { h.became("b", "b2") },
	} {
		bubble(t, append(one(), device("d2", "b", "push.example")), func(t *testing.T, h *house) {
			h.change("b", func(p *coordinator.Person) { p.Quiet = nights })
			n := nudge(7, 1, time.Now())
			n.Kind = coordinator.LoadReady
			h.box.put(n)
			defer h.start(t)()
			time.Sleep(time.Hour)
			leave(h)
			time.Sleep(6 * time.Hour)
			before := h.box.looks()
			time.Sleep(2 * time.Hour)
			row := h.box.row(n)
			if looks := h.box.looks() - before; row.State != coordinator.Done || looks > 10 || !strings.HasPrefix(sentTo(h), "d1") {
				t.Errorf("%s: %d looks, sent to %q; %+v", name, looks, sentTo(h), row)
			}
		})
	}
}

// TestALetterIsNotSentAgain: who had the letter under a former id has had it.
func TestALetterIsNotSentAgain(t *testing.T) {
	bubble(t, one(), func(t *testing.T, h *house) {
		withMail(h.people, "a", true)
		withMail(h.people, "c", true)
		h.Ways.Mail = true
		h.box.put(called(1, time.Now()))
		h.post.answer = func(_ context.Context, m Message, _ int) Result {
			if byMail(m.To) {
				return Result{Class: Taken, Status: 250}
			}
			return Result{Status: 503}
		}
		defer h.start(t)()
		synctest.Wait()
		h.became("a", "c")
		time.Sleep(8 * time.Minute)
		if got := h.post.to("mail:a"); len(got) != 1 || len(h.post.to("mail:c")) != 0 || len(h.post.to("d1")) < 2 {
			t.Errorf("sent to %q", sentTo(h))
		}
	})
}

// TestWhoAnIDIsNow: of what is queued to a former id, too, the person now decides.
func TestWhoAnIDIsNow(t *testing.T) {
	people := peopleWith()
	people.Persons["c"] = coordinator.Person{ID: "c", Former: []coordinator.PersonID{"x"}}
	for id, want := range map[coordinator.PersonID]coordinator.PersonID{"x": "c", "c": "c", "z": "", "caretaker:0": ""} {
		if got, known := (&Ways{}).person(people, id); known != (want != "") || known && got.ID != want {
			t.Errorf("%s is %s (%v), want %q", id, got.ID, known, want)
		}
	}
}
