package passkey

import (
	"fmt"
	"testing"
	"time"

	"github.com/go-webauthn/webauthn/webauthn"
)

// TestPendingIsBounded: however many ask, and from however many places.
func TestPendingIsBounded(t *testing.T) {
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	p := newPending()
	for i := range 3 * openAll {
		p.add(fmt.Sprint("source ", i%(2*openAll)), webauthn.SessionData{}, now)
	}
	count := 0
	for _, list := range p.of {
		count += len(list)
	}
	if count != p.many || count > openAll {
		t.Errorf("%d are open, counted as %d", count, p.many)
	}
	late := p.add("late", webauthn.SessionData{}, now.Add(Ceremony))
	for range openAll {
		p.add("late 2", webauthn.SessionData{}, now.Add(Ceremony))
	}
	if _, ok := p.take("late", late, now.Add(Ceremony)); !ok {
		t.Error("what ran out stays, and what is open goes")
	}
}
