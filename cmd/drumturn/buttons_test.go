package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
	"drumturn/queue"
)

// reads compares what a handset shows with what it should.
func (h *handset) reads(got, want string) {
	h.Helper()
	if got != want {
		h.Errorf("the phone shows\n%s\nwant\n%s", got, want)
	}
}

// TestButtonsOnAPhone: an evening with a real browser. What the outbox sends is
// shown by the service worker, its buttons do in the room what they say, and a
// touch on the notice opens the right page.
func TestButtonsOnAPhone(t *testing.T) {
	w, _, anna, phone := phoned(t)
	h := anna.handset(t)

	anna.says("do", "start")
	w.pass(30 * time.Minute)
	anna.says("do", "end")
	h.reads(h.gets(phone, 1), "Your wash is ready | It has been waiting in 1 (Cellar) since 18:30. | [Collected] | [10 more minutes]")
	if opened := h.presses("more-time"); opened != "" {
		t.Errorf("a button opened %s", opened)
	}
	if m := w.wants("1", coordinator.Finished); m.Load.MoreUntil.Sub(evening) != 40*time.Minute {
		t.Errorf("more time until %s", m.Load.MoreUntil)
	}
	h.reads(h.shows(), "Noted | You have until 18:40 to collect your load. | [Collected]")
	if opened := h.presses(""); opened != h.address+"/r/cellar" || h.shows() != "" {
		t.Errorf("a touch opens %q, and leaves %q", opened, h.shows())
	}
	h.opens("/r/cellar")
	if page := h.says(h.page, "document.body.innerText"); !strings.Contains(page, "Cellar") || !strings.Contains(page, "18:40") {
		t.Errorf("that page says\n%s", page)
	}

	w.pass(21 * time.Minute) // the time is over, and the house asks again
	h.reads(h.gets(phone, 2), "Your laundry is still waiting | Please collect it from 1 (Cellar); it has been there since 18:30. | [Collected]")
	h.presses("collected")
	w.wants("1", coordinator.Free)
	h.reads(h.shows(), "Noted | The machine is empty. Thank you.")
}

// TestThePhoneTellsItsNewAddress: when the push service gives a phone another
// address, the service worker tells the building, which forgets the one before.
func TestThePhoneTellsItsNewAddress(t *testing.T) {
	w, service, anna, phone := phoned(t)
	defer w.end()
	h, next := anna.handset(t), service.Phone("anna, renewed")
	h.says(h.worker, fmt.Sprintf(`(async () => {
		const work = [], event = new Event('pushsubscriptionchange');
		const newSubscription = { toJSON: () => ({ endpoint: %q, keys: { p256dh: %q, auth: %q } }) };
		Object.assign(event, { newSubscription, oldSubscription: { endpoint: %q }, waitUntil: (promise) => work.push(promise) });
		dispatchEvent(event);
		await Promise.all(work);
		return String(work.length);
	})()`, next.Endpoint, next.P256dh(), next.Auth(), phone.Endpoint))
	subs := w.app.house.People().Subscriptions
	if _, there := subs[push.SubscriptionID(next.Endpoint)]; len(subs) != 1 || !there {
		t.Errorf("%+v", subs)
	}
}

// TestLateButtons: a button that comes too late says so and changes nothing, one
// of somebody who is signed out opens the page, and one without a connection
// keeps the notice.
func TestLateButtons(t *testing.T) {
	w, _, anna, phone := phoned(t)
	h := anna.handset(t)
	anna.says("do", "start")
	w.pass(30 * time.Minute)
	anna.says("do", "end")
	ready := h.gets(phone, 1)

	h.says(h.worker, `(self.reach = self.fetch, self.fetch = async () => { throw new TypeError('no connection'); }, '')`)
	if opened := h.presses("collected"); opened != h.address+"/r/cellar" || h.shows() != ready {
		t.Errorf("without a connection: opened %q, shown %q", opened, h.shows())
	}
	w.wants("1", coordinator.Finished)
	h.says(h.worker, `(self.fetch = self.reach, '')`)

	anna.says("do", "collected")
	ben := w.visitor()
	ben.join("14", "ben")
	ben.says("do", "start")
	w.pass(30 * time.Minute)
	ben.says("do", "end")
	if opened := h.presses("collected"); opened != "" {
		t.Errorf("a late button opened %q", opened)
	}
	if m := w.wants("1", coordinator.Finished); m.Load == nil || m.Load.Home != w.person("ben").Home {
		t.Fatalf("ben's load was taken for anna's: %+v", m.Load)
	}
	if got := h.shows(); !strings.HasPrefix(got, "Nothing was changed | That load is no longer in the machine.") {
		t.Errorf("a late button shows %q", got)
	}
	h.presses("") // takes it off the screen

	anna.post("/r/cellar/turns", "need", "dry")
	h.gets(phone, 2)
	if status, _ := anna.post("/me/sign-out"); status >= 400 {
		t.Fatalf("signing out: %d", status)
	}
	if opened := h.presses("let-next"); opened != h.address+"/r/cellar" {
		t.Errorf("signed out, a button opened %q", opened)
	}
}

// TestLetTheNextGoFirst from a phone: the machine is kept for who waits next.
func TestLetTheNextGoFirst(t *testing.T) {
	w, _, anna, phone := phoned(t)
	h := anna.handset(t)
	anna.post("/r/cellar/turns", "need", "wash")
	ben := w.visitor()
	ben.join("14", "ben")
	ben.post("/r/cellar/turns", "need", "wash")
	h.reads(h.gets(phone, 1), "It's your turn | Washer 1 (Cellar) is kept for you until 18:10. | [I am on my way] | [Let the next go first]")
	h.presses("on-my-way")
	h.reads(h.shows(), "Noted | The others see that somebody is on the way. | [Let the next go first]")
	if m := w.wants("1", coordinator.Held); !m.Hold.OnWay {
		t.Errorf("nobody sees that they are on the way: %+v", m.Hold)
	}
	h.presses("let-next")
	h.reads(h.shows(), "Noted | The next one goes first. You keep your place behind them.")
	called := coordinator.PersonID("")
	for _, turn := range w.settle().Turns {
		if turn.State == queue.Called {
			called = turn.Person
		}
	}
	if called != w.person("ben").ID {
		t.Errorf("the machine is kept for %q", called)
	}
}
