package push

import (
	"context"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator"
)

// Urgency is the word of RFC 8030 section 5.3.
type Urgency string

// The urgencies that notices use.
const (
	UrgencyNormal Urgency = "normal"
	UrgencyHigh   Urgency = "high"
)

// Message is one notice for one device, ready to be sent.
type Message struct {
	To coordinator.Subscription
	// Payload is JSON of less than 1 KB, see Payload. A Sender must not write to it.
	Payload []byte
	// TTL is how long the push service may keep it for a device that is away;
	// whole seconds, at least one.
	TTL     time.Duration
	Urgency Urgency
	// Topic is 32 base64url characters: a newer message of the same topic
	// replaces one that the service still keeps.
	Topic string
}

// Result is what the push service answered.
type Result struct {
	// Status is the HTTP status, 0 when there was no answer.
	Status int
	// RetryAfter is how long the service asks to wait; 0 when it does not say.
	RetryAfter time.Duration
	// Err is why there was no answer. It never names the endpoint's path, which is secret.
	Err error
}

// Sender hands one message to a push service. It must be safe for concurrent
// use and come back soon after ctx ends.
type Sender interface {
	Send(ctx context.Context, m Message) Result
}

// ErrUnsendable is wrapped by errors of a Sender that another try cannot cure:
// keys that do not work, a payload that cannot be encrypted.
var ErrUnsendable = errors.New("this message cannot be sent")

// RetryAfter reads the header of that name (RFC 9110 section 10.2.3): seconds,
// or a date. A date is measured against the answer's own Date, so that the two
// clocks need not agree, and against now where that is missing. It is 0 when
// the header is missing, malformed or past.
func RetryAfter(h http.Header, now time.Time) time.Duration {
	text := strings.TrimSpace(h.Get("Retry-After"))
	if seconds, err := strconv.ParseUint(text, 10, 31); err == nil {
		return time.Duration(seconds) * time.Second
	}
	at, err := http.ParseTime(text)
	if err != nil {
		return 0
	}
	if date, err := http.ParseTime(h.Get("Date")); err == nil {
		now = date
	}
	return max(at.Sub(now), 0)
}
