package hooks

import (
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"strconv"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/loop"
	"drumturn/push"
)

// TestTry: a trial goes out at once, signed by the webhook's own secret (HMAC with
// SHA-256, RFC 2104), says what it is, and leaves alone what waits to be posted.
func TestTry(t *testing.T) {
	w := newWorld(t)
	var got *http.Request
	var body []byte
	answer := http.StatusNoContent
	s, roots := receiver(t, func(to http.ResponseWriter, r *http.Request) {
		got = r
		body, _ = io.ReadAll(r.Body)
		to.WriteHeader(answer)
	})
	w.hook("screen", s.URL+"/laundry")
	before := w.state("screen")
	worker := func(o push.ClientOptions) *Worker {
		return New(Config{House: w, FactsAfter: w.factsAfter, Client: push.NewClient(o), Clock: loop.Wall{}, Log: slog.New(slog.DiscardHandler)})
	}
	open := worker(push.ClientOptions{AllowPrivate: true, RootCAs: roots})
	status, why, err := open.Try(t.Context(), "screen")
	if err != nil || status != answer || why != "" {
		t.Fatalf("%d %q %v", status, why, err)
	}
	var trial Trial
	if err := json.Unmarshal(body, &trial); err != nil || trial.ID != "trial" || trial.Kind != "trial" || trial.At.IsZero() {
		t.Errorf("posted %s: %v", body, err)
	}
	seconds, _ := strconv.ParseInt(got.Header.Get(HeaderTime), 10, 64)
	secret := w.People().Webhooks["screen"].Secret
	if got.Header.Get(HeaderSignature) != Sign(secret, time.Unix(seconds, 0), body) || got.Header.Get(HeaderEvent) != "trial" {
		t.Errorf("signed %v", got.Header)
	}
	for _, answer = range []int{410, 500} {
		if status, why, err = open.Try(t.Context(), "screen"); status != answer || why != "" || err != nil {
			t.Errorf("%d %q %v", status, why, err)
		}
	}
	if after := w.state("screen"); after.Fails != before.Fails || after.Ended || len(after.Calls) != len(before.Calls) {
		t.Errorf("the trials are noted: %+v", after)
	}
	got = nil
	status, why, err = worker(push.ClientOptions{RootCAs: roots}).Try(t.Context(), "screen")
	if status != 0 || why != push.ErrAddress.Error() || err != nil || got != nil || strings.Contains(why, "laundry") {
		t.Errorf("inside the house: %d %q %v", status, why, err)
	}
	_, _, err = open.Try(t.Context(), "gone")
	if refused, ok := errors.AsType[*coordinator.Error](err); !ok || refused.Code != coordinator.NotFound {
		t.Errorf("one that is not there: %v", err)
	}
}
