// Package webpush sends messages to push services (RFC 8030, 8291, 8292). It is
// the one package that imports webpush-go, and guards what that library leaves
// to its caller.
package webpush

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	library "github.com/SherClockHolmes/webpush-go"

	"drumturn/push"
)

const (
	// recordSize is what every body is padded to, so that its length tells
	// nothing. Some phones refuse the library's default of 4,096.
	recordSize = 2048
	// longestAnswer is how much of an answer's body is read before the connection is reused.
	longestAnswer = 64 << 10
	// longestTopic is that of RFC 8030 section 5.4.
	longestTopic = 32
)

// Doer is the HTTP client that a Sender uses: push.NewClient.
type Doer interface {
	Do(*http.Request) (*http.Response, error)
}

// Sender implements push.Sender. It is safe for concurrent use.
type Sender struct {
	client  Doer
	keys    push.Keys
	subject string
}

var _ push.Sender = (*Sender)(nil)

// New returns a Sender that signs with keys and names subject as the contact.
// It refuses a pair that does not belong together and a subject that push
// services would refuse.
func New(client Doer, keys push.Keys, subject string) (*Sender, error) {
	if client == nil {
		return nil, errors.New("webpush: a client is needed: the library's own one has no time-out")
	}
	if err := keys.Check(); err != nil {
		return nil, fmt.Errorf("the push keys: %w", err)
	}
	if err := push.ValidateSubject(subject); err != nil {
		return nil, err
	}
	return &Sender{client: client, keys: keys, subject: subject}, nil
}

// Send encrypts and posts one message. ctx bounds the whole exchange.
func (s *Sender) Send(ctx context.Context, m push.Message) push.Result {
	if err := check(m); err != nil {
		return push.Result{Err: fmt.Errorf("%w: %w", push.ErrUnsendable, err)}
	}
	attempt := &attempt{client: s.client}
	// The library pads into spare capacity of the slice it is given: not into the message's.
	padded := append(make([]byte, 0, recordSize), m.Payload...)
	resp, err := library.SendNotificationWithContext(ctx, padded, &library.Subscription{
		Endpoint: m.To.Endpoint,
		Keys:     library.Keys{Auth: m.To.Auth, P256dh: m.To.P256dh},
	}, &library.Options{
		HTTPClient:      attempt,
		RecordSize:      recordSize,
		Subscriber:      s.subject,
		Topic:           m.Topic,
		TTL:             int(m.TTL / time.Second),
		Urgency:         library.Urgency(m.Urgency),
		VAPIDPublicKey:  s.keys.Public,
		VAPIDPrivateKey: s.keys.Private,
	})
	switch {
	case err != nil && !attempt.made:
		return push.Result{Err: fmt.Errorf("%w: %w", push.ErrUnsendable, withoutURL(err))}
	case err != nil:
		return push.Result{Err: withoutURL(err)}
	}
	return answer(resp)
}

// answer reads what matters of resp and gives the connection back.
func answer(resp *http.Response) push.Result {
	defer resp.Body.Close()
	_, _ = io.Copy(io.Discard, io.LimitReader(resp.Body, longestAnswer))
	return push.Result{Status: resp.StatusCode, RetryAfter: push.RetryAfter(resp.Header, time.Now())}
}

// attempt tells a message that could not be made from one that could not be posted.
type attempt struct {
	client Doer
	made   bool
}

func (a *attempt) Do(r *http.Request) (*http.Response, error) {
	a.made = true
	return a.client.Do(r)
}

// check refuses what the library would send as it is, or drop silently.
func check(m push.Message) error {
	switch {
	case m.TTL < time.Second:
		return fmt.Errorf("a TTL of %v would lose it unless the phone is connected now", m.TTL)
	case m.Urgency != push.UrgencyNormal && m.Urgency != push.UrgencyHigh:
		return fmt.Errorf("the urgency %q is none that is used here", m.Urgency)
	case len(m.Topic) > longestTopic || !base64url(m.Topic):
		return fmt.Errorf("the topic %q is not up to %d base64url characters", m.Topic, longestTopic)
	}
	return nil
}

func base64url(s string) bool {
	for _, c := range []byte(s) {
		if c != '-' && c != '_' && (c < '0' || c > '9') && (c < 'A' || c > 'Z') && (c < 'a' || c > 'z') {
			return false
		}
	}
	return true
}

// withoutURL takes the endpoint out of an error: whoever knows it can disturb the phone.
func withoutURL(err error) error {
	if u, ok := errors.AsType[*url.Error](err); ok {
		return u.Err
	}
	return err
}
