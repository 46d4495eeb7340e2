package push

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
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
// says in a sentence for each, in the language with the tag lang, what came of
// it. It may be called from any goroutine, and takes as long as the slowest push
// service, or tryTimeout.
func (w *Worker) Try(ctx context.Context, person coordinator.PersonID, lang string) []string {
	people, now, say := w.People(), w.Clock.Now(), words.For(lang)
	who := people.Persons[person]
	devices := w.Ways.all(people, &who)
	if len(devices) == 0 {
		return []string{say.Say("try.none")}
	}
	if !w.tries.may(person, now) {
		return []string{say.Say("try.wait")}
	}
	slices.SortFunc(devices, func(a, b coordinator.Subscription) int {
		return cmp.Or(a.Made.Compare(b.Made), cmp.Compare(a.ID, b.ID))
	})
	out := make([]string, len(devices))
	var wg sync.WaitGroup
	for i, d := range devices {
		wg.Go(func() {
			ctx, cancel := context.WithTimeout(ctx, min(timeoutFor(d), tryTimeout))
			defer cancel()
			if byMail(d) {
				out[i] = say.Say("try.letter", "said", triedLetter(say, guarded(ctx, w.Sender, tryLetter(say, d, &who, now))))
				return
			}
			r := guarded(ctx, w.Sender, tryMessage(say, d, now))
			if judge(r) == gone {
				_ = w.Unsubscribe(ctx, d.ID) // what remains is found gone again by the next notice
			}
			out[i] = say.Say("try.device", "number", i+1, "host", d.Host(), "said", tried(say, r))
		})
	}
	wg.Wait()
	return out
}

// tryMessage is a notice to try for a phone.
func tryMessage(say *words.Language, to coordinator.Subscription, now time.Time) Message {
	payload := Payload{Title: say.Say("try.title"), Body: say.Say("try.body"), Tag: "try", URL: "/me/notices", Kind: "try", At: now}
	return Message{To: to, Payload: payload.Encode(), TTL: tryTTL, Urgency: UrgencyHigh, Topic: Topic(&coordinator.Notice{Kind: "try"}, to.Person)}
}

// tryLetter is one for an address.
func tryLetter(say *words.Language, to coordinator.Subscription, who *coordinator.Person, now time.Time) Message {
	return Message{To: to, Letter: Letter{
		Text: Text{say.Say("try.title"), say.Say("try.body-letter")}, Lang: say.Code(), URL: "/me/notices",
		Key: fmt.Sprintf("try/%s/%d", who.ID, now.UnixNano()), Off: who.Mail.Off, Manager: who.Manager,
	}}
}

// tried says what an answer to a notice sent to try means.
func tried(say *words.Language, r Result) string {
	key := "never"
	switch judge(r) {
	case served:
		key = "taken"
	case gone:
		key = "gone"
	case tooLarge:
		key = "too-large"
	case refused:
		key = "refused"
	case again:
		key = "again"
		if r.Status == 0 {
			key = "silent"
		}
	}
	return say.Say("try."+key, "status", r.Status)
}

// triedLetter says what came of a letter.
func triedLetter(say *words.Language, r Result) string {
	key := "refused"
	switch judge(r) {
	case served:
		key = "taken"
	case hopeless:
		key = "never"
	case again:
		key = "again"
	}
	return say.Say("try.letter-" + key)
}
