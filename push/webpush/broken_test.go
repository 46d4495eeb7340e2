package webpush

import (
	"testing"

	"drumturn/push/pushtest"
)

// TestAnswersThatBreakOff: whether the service took the message or not, and over
// both versions of HTTP, such an answer is none, and is not asked for again here.
func TestAnswersThatBreakOff(t *testing.T) {
	for name, service := range map[string]*pushtest.Service{"HTTP/1.1": pushtest.NewOldService(t), "HTTP/2": pushtest.NewService(t)} {
		s := newSender(t, clientOf(service))
		for _, accept := range []bool{false, true} {
			phone, asked := service.Phone("a"), 0
			service.Decide(func(*pushtest.Phone, pushtest.Received) *pushtest.Answer {
				asked++
				return &pushtest.Answer{HalfClose: true, Accept: accept}
			})
			r := s.Send(t.Context(), message(phone, "x"))
			if r.Err == nil || r.Status != 0 || asked != 1 || (len(phone.Messages()) == 1) != accept {
				t.Errorf("%s, taken %v: %+v, asked %d times, has %d", name, accept, r, asked, len(phone.Messages()))
			}
			service.Decide(nil)
			if r := s.Send(t.Context(), message(phone, "x")); r.Status != 201 {
				t.Errorf("%s: the next one: %+v", name, r)
			}
		}
	}
}
