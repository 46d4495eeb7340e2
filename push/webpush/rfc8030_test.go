package webpush

import (
	"errors"
	"io"
	"net/http"
	"regexp"
	"strings"
	"testing"
	"time"

	"drumturn/push"
	"drumturn/push/pushtest"
)

// TestRFC8030: what RFC 8030 asks of a request for a message, section by section,
// and RFC 8291 and 8292 of its headers (numbers of sections from memory).
func TestRFC8030(t *testing.T) {
	var got *http.Request
	var body []byte
	s := newSender(t, doFunc(func(r *http.Request) (*http.Response, error) {
		got = r
		body, _ = io.ReadAll(r.Body)
		return &http.Response{StatusCode: 201, Body: http.NoBody}, nil
	}))
	m := message(pushtest.NewService(t).Phone("a"), `{"title":"x"}`)
	if r := s.Send(t.Context(), m); r.Status != 201 {
		t.Fatalf("%+v", r)
	}
	matches := func(header, pattern string) bool {
		values := got.Header.Values(header)
		return len(values) == 1 && regexp.MustCompile("^(?:"+pattern+")$").MatchString(values[0])
	}
	for rule, kept := range map[string]bool{
		"5: POST to the push resource":                           got.Method == http.MethodPost && got.URL.String() == m.To.Endpoint,
		"5.2: TTL in whole seconds":                              matches("TTL", "5400"),
		"5.3: Urgency, one of four words, once":                  matches("Urgency", "very-low|low|normal|high") && got.Header.Get("Urgency") == "high",
		"5.4: Topic, up to 32 characters of base64url":           matches("Topic", "[A-Za-z0-9_-]{1,32}"),
		"5: no Prefer: nobody waits for receipts":                got.Header.Get("Prefer") == "",
		"7.2: at most 4,096 octets":                              len(body) <= 4096,
		"8: nothing but over https":                              got.URL.Scheme == "https",
		"8.1: the payload is not readable on the way":            !strings.Contains(string(body), "title"),
		"RFC 8291 4: Content-Encoding aes128gcm":                 matches("Content-Encoding", "aes128gcm"),
		"RFC 8291 4: no header of older drafts":                  got.Header.Get("Crypto-Key") == "" && got.Header.Get("Encryption") == "",
		"RFC 8188 2.1: record size above the length of the body": len(body) > 21 && int(body[16])<<24|int(body[17])<<16|int(body[18])<<8|int(body[19]) >= len(body)-86,
		"RFC 8291 4: the key id is a point of 65 octets":         body[20] == 65 && body[21] == 4,
		"RFC 8292 3: Authorization vapid t=, k=":                 matches("Authorization", `vapid t=[\w-]+\.[\w-]+\.[\w-]+, ?k=[\w-]{87}`),
		"8.2: nothing that tells who we are but the token":       got.Header.Get("Cookie") == "" && got.Header.Get("Referer") == "",
	} {
		if !kept {
			t.Errorf("%s: %s %s %v, %d octets", rule, got.Method, got.URL, got.Header, len(body))
		}
	}
}

// TestRFC8030Answers: what a push service may say, by section (from memory), as the
// worker gets it.
func TestRFC8030Answers(t *testing.T) {
	service := pushtest.NewService(t)
	s := newSender(t, clientOf(service))
	for rule, c := range map[string]struct {
		answer pushtest.Answer
		want   push.Result
	}{
		"5: created":                                 {pushtest.Answer{Status: 201}, push.Result{Status: 201}},
		"5.1: accepted, with a receipt later":        {pushtest.Answer{Status: 202}, push.Result{Status: 202}},
		"7.2: too large":                             {pushtest.Answer{Status: 413}, push.Result{Status: 413}},
		"7.3: an expired subscription":               {pushtest.Answer{Status: 404}, push.Result{Status: 404}},
		"7.3: one that is gone":                      {pushtest.Answer{Status: 410}, push.Result{Status: 410}},
		"8.4: too many, wait":                        {pushtest.Answer{Status: 429, RetryAfter: "120"}, push.Result{Status: 429, RetryAfter: 2 * time.Minute}},
		"7.1: another push resource is not followed": {pushtest.Answer{Status: 307, Location: "https://elsewhere.example/"}, push.Result{Status: 307}},
	} {
		phone := service.Phone("a")
		phone.Next(c.answer)
		if r := s.Send(t.Context(), message(phone, "x")); r.Status != c.want.Status || r.RetryAfter != c.want.RetryAfter || errors.Is(r.Err, push.ErrUnsendable) {
			t.Errorf("%s: %+v", rule, r)
		}
	}
}
