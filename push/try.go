package push

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"drumturn/coordinator"
)

const (
	// tryEvery is how often a person may have a notice sent to try.
	tryEvery = 10 * time.Second
	// tryTTL is how long such a notice is kept for a device that is away.
	tryTTL = 2 * time.Minute
	// tryTimeout bounds how long a person waits for the answer.
	tryTimeout = 30 * time.Second
)

// tries remembers when each person last tried.
type tries struct {
	mu   sync.Mutex
	last map[coordinator.PersonID]time.Time
}

// may reports whether the person may try at now, and notes it.
func (t *tries) may(person coordinator.PersonID, now time.Time) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	for id, at := range t.last {
		if now.Sub(at) >= tryEvery {
			delete(t.last, id)
		}
	}
	if _, recent := t.last[person]; recent {
		return false
	}
	if t.last == nil {
		t.last = map[coordinator.PersonID]time.Time{}
	}
	t.last[person] = now
	return true
}

// Try sends a notice to each of a person's devices at once, past the outbox, and
// says in a sentence for each what came of it. It may be called from any
// goroutine, and takes as long as the slowest push service, or tryTimeout.
func (w *Worker) Try(ctx context.Context, person coordinator.PersonID) []string {
	people, now := w.People(), w.Clock.Now()
	who := people.Persons[person]
	devices := w.Ways.all(people, &who)
	if len(devices) == 0 {
		return []string{"Nothing of yours is told anything yet: switch notices on with the button on the device itself, or give an e-mail address."}
	}
	if !w.tries.may(person, now) {
		return []string{"One was sent a moment ago. Wait ten seconds before the next."}
	}
	slices.SortFunc(devices, func(a, b coordinator.Subscription) int {
		return cmp.Or(a.Made.Compare(b.Made), cmp.Compare(a.ID, b.ID))
	})
	text := Text{"This is only to try", "Notices reach this device."}
	payload := Payload{Title: text.Title, Body: text.Body, Tag: "try", URL: "/me/notices", Kind: "try", At: now}.Encode()
	out := make([]string, len(devices))
	var wg sync.WaitGroup
	for i, d := range devices {
		wg.Go(func() {
			ctx, cancel := context.WithTimeout(ctx, min(timeoutFor(d), tryTimeout))
			defer cancel()
			if byMail(d) {
				out[i] = "E-mail: " + triedLetter(w.tryLetter(ctx, d, &who, now))
				return
			}
			m := Message{To: d, Payload: payload, TTL: tryTTL, Urgency: UrgencyHigh, Topic: Topic(&coordinator.Notice{Kind: "try"}, person)}
			r := guarded(ctx, w.Sender, m)
			if judge(r) == gone {
				_ = w.Unsubscribe(ctx, d.ID) // what remains is found gone again by the next notice
			}
			out[i] = fmt.Sprintf("Device %d (%s): %s", i+1, d.Host(), tried(r))
		})
	}
	wg.Wait()
	return out
}

// tried says what an answer to a notice sent to try means.
func tried(r Result) string {
	switch judge(r) {
	case served:
		return "its push service has taken the notice. If nothing shows within a minute, look whether the device lets this page show notices, and whether it is set to be quiet."
	case gone:
		return "it no longer takes notices from here and was removed. Switch notices on again on it."
	case tooLarge:
		return "its push service finds the notice too large, which should not be. Tell the manager."
	case refused:
		return fmt.Sprintf("its push service does not accept us (answer %d). Tell the manager.", r.Status)
	case again:
		if r.Status == 0 {
			return "its push service did not answer. Notices are sent again until they get through or are of no more use."
		}
		return fmt.Sprintf("its push service is overloaded or out of order just now (answer %d). Notices are sent again until they get through or are of no more use.", r.Status)
	}
	return "nothing can be sent to it. Switch notices off and on again on it."
}

// tryLetter sends a letter to try.
func (w *Worker) tryLetter(ctx context.Context, to coordinator.Subscription, who *coordinator.Person, now time.Time) Result {
	return guarded(ctx, w.Sender, Message{To: to, Letter: Letter{
		Text: Text{"This is only to try", "E-mail reaches this address."}, Lang: who.Lang, URL: "/me/notices",
		Key: fmt.Sprintf("try/%s/%d", who.ID, now.UnixNano()), Off: who.Mail.Off, Manager: who.Manager,
	}})
}

// triedLetter says what came of it.
func triedLetter(r Result) string {
	switch judge(r) {
	case served:
		return "the house's mail server has taken an e-mail. If it does not come within some minutes, look among the unwanted ones."
	case hopeless:
		return "the mail server does not take e-mail to your address. Is it spelt right?"
	case again:
		return "the mail server does not take e-mail just now. It is sent again until it gets through or is of no more use."
	}
	return "no e-mail can be sent from here. Tell the manager."
}
