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
	// What a letter says, and its key, which is the same for every try: for
	// addresses, which get no payload.
	Letter
}

// Letter is a notice as an e-mail puts it.
type Letter struct {
	Text
	// Lang is the person's language, URL the path of the page that it is about.
	Lang, URL string
	// Key names the letter for ever, so that a repeated one is known as the same.
	Key string
	// Off is the secret of the link that ends letters; empty where the house's file says who gets them.
	Off string
	// Manager: it is to whoever looks after the building.
	Manager bool
}

// Class is what the answer of another service than a push service means.
type Class uint8

// The classes. Zero: Status is HTTP's, and says it.
const (
	Taken   Class = iota + 1 // the service has the message
	Again                    // try later
	Never                    // this message cannot be sent to this address
	Refused                  // a wrong set-up: a person must mend it
)

// Result is what the push service answered.
type Result struct {
	// Status is the HTTP status, 0 when there was no answer.
	Status int
	// RetryAfter is how long the service asks to wait; 0 when it does not say.
	RetryAfter time.Duration
	// Err is why there was no answer. It never names the endpoint's path, which is secret.
	Err error
	// Class is what the answer means where Status is not HTTP's.
	Class Class
	// OnlyThis: the trouble is with this one message, not with the service.
	OnlyThis bool
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
	if text == "" {
		return 0
	}
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
