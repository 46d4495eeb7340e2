package pushtest

import (
	"context"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"sync"
	"time"
)

// Phone is a browser with one subscription.
type Phone struct {
	Name     string
	Endpoint string
	private  *ecdh.PrivateKey
	auth     []byte

	mu       sync.Mutex
	received []Received
	answers  []Answer // for the next requests
	always   *Answer  // for those after them; nil: 201
	requests int
	serverK  string // the key that the first message was signed with
	grown    chan struct{}
}

// Received is one message that the service accepted for a phone.
type Received struct {
	Plain []byte // decrypted
	TTL   time.Duration
	// Urgency is normal when the header is missing (RFC 8030 section 5.3).
	Urgency, Topic string
	Claims         Claims
	BodySize       int
	At             time.Time // the wall's clock
}

// Answer is what the service is told to say to a request.
type Answer struct {
	Status int
	// RetryAfter and Location are sent as headers of those names unless empty.
	RetryAfter, Location string
	// Stall: no answer at all, until the client gives up or the service closes.
	Stall bool
	// HalfClose: the answer breaks off in its first line, and the service says that
	// nothing more comes. Over HTTP/2 the answer is only broken off.
	HalfClose bool
	// Accept: the message is taken although Stall or HalfClose keeps the answer back.
	Accept bool
}

func newPhone(name, endpoint string) *Phone {
	private, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		panic(err)
	}
	auth := make([]byte, 16)
	_, _ = rand.Read(auth) // never fails
	return &Phone{Name: name, Endpoint: endpoint, private: private, auth: auth, grown: make(chan struct{})}
}

// P256dh is the public key, base64url without padding.
func (p *Phone) P256dh() string {
	return base64.RawURLEncoding.EncodeToString(p.private.PublicKey().Bytes())
}

// Auth is the shared secret, base64url without padding.
func (p *Phone) Auth() string { return base64.RawURLEncoding.EncodeToString(p.auth) }

// Subscription is the JSON that a browser's PushSubscription gives (Push API, toJSON).
func (p *Phone) Subscription() []byte {
	data, err := json.Marshal(map[string]any{
		"endpoint":       p.Endpoint,
		"expirationTime": nil,
		"keys":           map[string]string{"p256dh": p.P256dh(), "auth": p.Auth()},
	})
	if err != nil {
		panic(err)
	}
	return data
}

// Open decrypts a body sent to this phone.
func (p *Phone) Open(body []byte) ([]byte, error) { return Open(body, p.private, p.auth) }

// Messages lists every message the service accepted for the phone, oldest first.
func (p *Phone) Messages() []Received {
	p.mu.Lock()
	defer p.mu.Unlock()
	return append([]Received(nil), p.received...)
}

// Kept lists what the phone would get if it had been away all the time: of
// messages with one topic only the newest (RFC 8030 section 5.4).
func (p *Phone) Kept() []Received {
	newest := map[string]int{}
	all := p.Messages()
	for i, m := range all {
		if m.Topic != "" {
			newest[m.Topic] = i
		}
	}
	var out []Received
	for i, m := range all {
		if m.Topic == "" || newest[m.Topic] == i {
			out = append(out, m)
		}
	}
	return out
}

// Requests counts the requests to the endpoint, whatever was answered.
func (p *Phone) Requests() int {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.requests
}

// Await returns the messages once there are at least n, or fails when ctx ends.
func (p *Phone) Await(ctx context.Context, n int) ([]Received, error) {
	for {
		p.mu.Lock()
		received, grown := append([]Received(nil), p.received...), p.grown
		p.mu.Unlock()
		if len(received) >= n {
			return received, nil
		}
		select {
		case <-grown:
		case <-ctx.Done():
			return received, fmt.Errorf("%s has %d messages, not %d: %w", p.Name, len(received), n, ctx.Err())
		}
	}
}

// Next sets the answers to the next requests; those after them are answered
// with 201 again, or as Always says.
func (p *Phone) Next(answers ...Answer) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.answers = append(p.answers, answers...)
}

// Always sets the answer to all requests that Next does not cover. A Status of 201 goes back to the rules.
func (p *Phone) Always(a Answer) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.always = &a
	if a.Status == 201 {
		p.always = nil
	}
}

// answer takes the scripted answer for a request, if there is one.
func (p *Phone) answer() *Answer {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.requests++
	if len(p.answers) == 0 {
		return p.always
	}
	a := p.answers[0]
	p.answers = p.answers[1:]
	if a.Status == 201 {
		return nil
	}
	return &a
}

// signedBy binds the phone to the first key it sees (RFC 8292 section 4).
func (p *Phone) signedBy(key string) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.serverK == "" {
		p.serverK = key
	}
	return p.serverK == key
}

func (p *Phone) receive(m Received) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.received = append(p.received, m)
	close(p.grown)
	p.grown = make(chan struct{})
}
