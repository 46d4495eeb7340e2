package hooks

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"hash/fnv"
	"io"
	"net/http"
	"net/url"
	"strconv"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
)

const (
	// firstRetry and longestRetry bound the wait after a failure; it doubles.
	firstRetry   = 10 * time.Second
	longestRetry = time.Hour
	// tripAfter is after how many failures in a row a host is left alone, for all
	// webhooks that lead to it.
	tripAfter = 3
	// hostRest is for how long.
	hostRest = time.Minute
	// longestAnswer is how much of an answer is read, so that the connection can be used again.
	longestAnswer = 64 << 10
)

// settle posts an event, and notes in st what came of it.
func (w *Worker) settle(ctx context.Context, hook *coordinator.Webhook, st *coordinator.HookState, ev *coordinator.PublicEvent, id coordinator.FactID) {
	now := w.Clock.Now()
	call := coordinator.HookCall{At: now, Room: ev.Room, Event: id, Kind: ev.Kind, Tries: st.Fails + 1}
	if now.Sub(ev.At) >= giveUpAfter {
		call.Outcome, call.Tries = coordinator.HookGivenUp, st.Fails
	} else {
		call.Status, call.Error = w.post(ctx, hook, ev.ID, ev, now)
		call.Outcome = outcomeOf(call.Status)
	}
	ended := w.Clock.Now() // it may have taken a while
	w.heard(hook, call.Outcome, ended)
	switch call.Outcome {
	case coordinator.HookAgain:
		st.Fails++
		st.NextAt = ended.Add(backOff(st.Fails, hook.ID))
	case coordinator.HookEnded:
		st.Ended = true
	default:
		st.After[ev.Room] = id
		st.Fails, st.NextAt = 0, time.Time{}
	}
	st.Calls = logged(st.Calls, call)
}

// logged puts a call before the others; tries at one event are one line.
func logged(calls []coordinator.HookCall, call coordinator.HookCall) []coordinator.HookCall {
	out := []coordinator.HookCall{call}
	for _, c := range calls {
		if c.Outcome != coordinator.HookAgain || c.Room != call.Room || c.Event != call.Event {
			out = append(out, c)
		}
	}
	return out
}

// outcomeOf is what an answer means; status 0 is none.
func outcomeOf(status int) coordinator.HookOutcome {
	switch {
	case status >= 200 && status < 300:
		return coordinator.HookTaken
	case status == http.StatusGone:
		return coordinator.HookEnded
	}
	return coordinator.HookAgain // a receiver that is set up wrongly may be mended
}

// post makes one try to post something under its id. why is empty where there was an answer.
func (w *Worker) post(ctx context.Context, hook *coordinator.Webhook, id string, what any, now time.Time) (status int, why string) {
	body, err := json.Marshal(what)
	if err != nil {
		return 0, "the event does not encode"
	}
	ctx, cancel := context.WithTimeout(ctx, sendWithin)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, hook.URL, bytes.NewReader(body))
	if err != nil {
		return 0, "the address cannot be used"
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "drumturn")
	r.Header.Set(HeaderEvent, id)
	r.Header.Set(HeaderTime, strconv.FormatInt(now.Unix(), 10))
	r.Header.Set(HeaderSignature, Sign(hook.Secret, now, body))
	answer, err := w.Client.Do(r)
	if err != nil {
		return 0, plain(err)
	}
	defer answer.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, longestAnswer))
	return answer.StatusCode, ""
}

// plain is why there was no answer, without the address: its path may be secret.
func plain(err error) string {
	if errors.Is(err, push.ErrAddress) {
		return push.ErrAddress.Error()
	}
	if u, ok := errors.AsType[*url.Error](err); ok {
		err = u.Err
	}
	text := err.Error()
	return text[:min(len(text), 160)]
}

// backOff is the wait after so many failures (from 1): it doubles, and is
// stretched by up to a quarter, the same for the same salt.
func backOff(fails int, salt string) time.Duration {
	wait := longestRetry
	if fails <= 9 {
		wait = min(firstRetry<<max(fails-1, 0), longestRetry)
	}
	h := fnv.New32a()
	_, _ = h.Write([]byte(salt))
	return wait + wait/4*time.Duration(h.Sum32()%1000)/1000
}

// rest is a host that is left alone.
type rest struct {
	fails int
	until time.Time
}

// heard notes how a host does.
func (w *Worker) heard(hook *coordinator.Webhook, outcome coordinator.HookOutcome, now time.Time) {
	host := hostOf(hook.URL)
	w.mu.Lock()
	defer w.mu.Unlock()
	switch outcome {
	case coordinator.HookGivenUp: // it was not asked
	case coordinator.HookAgain:
		r := w.resting[host]
		if r.fails++; r.fails >= tripAfter {
			r.until = now.Add(hostRest)
		}
		w.resting[host] = r
	default:
		delete(w.resting, host)
	}
}

// rest leaves a host alone until an instant.
func (w *Worker) rest(host string, until time.Time) {
	w.mu.Lock()
	defer w.mu.Unlock()
	r := w.resting[host]
	r.until = until
	w.resting[host] = r
}

func (w *Worker) restingUntil(host string) time.Time {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.resting[host].until
}
