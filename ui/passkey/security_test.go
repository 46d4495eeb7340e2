package passkey_test

import (
	"errors"
	"testing"

	"drumturn/ui/passkey"
	"drumturn/ui/passkey/passkeytest"
)

// says logs a line of the table in DEVELOPERS.md, and fails when it is a bad one.
func says(t *testing.T, good bool, what, happened string) {
	t.Helper()
	t.Logf("| passkeys | %s | %s |", what, happened)
	if !good {
		t.Errorf("%s: not so", what)
	}
}

// twoUsers is a door with two users who have a passkey each, and their devices.
func twoUsers(t *testing.T) (ada, ben *site, adas, bens *passkeytest.Authenticator) {
	ada = open(t)
	ben = &site{t, ada.Door, passkey.User{Handle: passkey.NewHandle(), Name: "Ben"}}
	adas, bens = passkeytest.New(origin, host), passkeytest.New(origin, host)
	if err := errors.Join(ada.register(adas), ben.register(bens)); err != nil {
		t.Fatal(err)
	}
	return ada, ben, adas, bens
}

// TestSecurityReplays: an answer is good once, for what was asked, of whom it was asked.
func TestSecurityReplays(t *testing.T) {
	ada, ben, adas, bens := twoUsers(t)
	either := func(handle string) (passkey.User, bool) {
		for _, u := range []passkey.User{ada.user, ben.user} {
			if u.Handle == handle {
				return u, true
			}
		}
		return passkey.User{}, false
	}

	// A registration, sent twice; by somebody else; as the answer to another challenge.
	options, ticket, _ := ada.BeginRegistration("boss", ada.user, noon)
	fresh := passkeytest.New(origin, host)
	answer := fresh.Register(options)
	_, stolen := ada.FinishRegistration("thief", ticket, ben.user, answer, noon)
	_, first := ada.FinishRegistration("boss", ticket, ada.user, answer, noon)
	_, twice := ada.FinishRegistration("boss", ticket, ada.user, answer, noon)
	_, other, _ := ada.BeginRegistration("boss", ada.user, noon)
	_, old := ada.FinishRegistration("boss", other, ada.user, answer, noon)
	_, late := func() (passkey.Key, error) {
		options, ticket, _ := ada.BeginRegistration("boss", ada.user, noon)
		return ada.FinishRegistration("boss", ticket, ada.user, fresh.Register(options), noon.Add(passkey.Ceremony))
	}()
	good := first == nil && errors.Is(stolen, passkey.ErrOver) && errors.Is(twice, passkey.ErrOver) && errors.Is(old, passkey.ErrBad) && errors.Is(late, passkey.ErrOver)
	says(t, good, "a registration's answer twice, from another session, to another challenge, too late", "all refused")

	// One user's registration finished as another's: the challenge was for the first.
	options, ticket, _ = ada.BeginRegistration("boss", ada.user, noon)
	_, err := ada.FinishRegistration("boss", ticket, ben.user, passkeytest.New(origin, host).Register(options), noon)
	says(t, err != nil, "a registration begun for one manager, finished for another", "refused")

	// A sign-in, sent twice; the first answer to the next challenge.
	begun, ticket, _ := ada.BeginSignIn("here", noon)
	answer = adas.SignIn(begun)
	who, _, first := ada.FinishSignIn("here", ticket, answer, either, noon)
	_, _, twice = ada.FinishSignIn("here", ticket, answer, either, noon)
	_, next, _ := ada.BeginSignIn("here", noon)
	_, _, old = ada.FinishSignIn("here", next, answer, either, noon)
	_, _, again := ada.FinishSignIn("here", next, adas.SignIn(begun), either, noon)
	good = first == nil && who.Name == "Ada" && errors.Is(twice, passkey.ErrOver) && errors.Is(old, passkey.ErrBad) && errors.Is(again, passkey.ErrOver)
	says(t, good, "a sign-in's answer twice, to the next challenge, the next challenge after a wrong answer", "all refused: a challenge is gone with its first answer")

	// Ben's device says that it is Ada's: by her handle, by her key's id, by both.
	for what, change := range map[string]func(*passkeytest.Authenticator){
		"handle":           func(a *passkeytest.Authenticator) { a.Handle = adas.Handle },
		"id":               func(a *passkeytest.Authenticator) { a.ID = adas.ID },
		"handle, id":       func(a *passkeytest.Authenticator) { a.Handle, a.ID = adas.Handle, adas.ID },
		"without a handle": func(a *passkeytest.Authenticator) { a.Handle = nil },
	} {
		pretender := *bens
		change(&pretender)
		begun, ticket, _ := ada.BeginSignIn("here", noon)
		_, _, err := ada.FinishSignIn("here", ticket, pretender.SignIn(begun), either, noon)
		says(t, errors.Is(err, passkey.ErrUnknown) || errors.Is(err, passkey.ErrBad), "one manager's passkey that says it is another's: "+what, "refused")
	}
	begun, ticket, _ = ada.BeginSignIn("here", noon)
	if who, _, err := ada.FinishSignIn("here", ticket, bens.SignIn(begun), either, noon); err != nil || who.Name != "Ben" {
		t.Errorf("Ben's own passkey opens for %q: %v", who.Name, err)
	}
}

// TestSecurityWrongPlace: what another site, another host, a frame, or nobody's finger
// made is refused, in both ceremonies (W3C Web Authentication, Level 3, 7.1 steps 7 to
// 16 and 7.2 steps 11 to 17, from memory).
func TestSecurityWrongPlace(t *testing.T) {
	for what, change := range map[string]func(*passkeytest.Authenticator){
		"for another origin":                   func(a *passkeytest.Authenticator) { a.Origin = "https://evil.example" },
		"for a host that begins like ours":     func(a *passkeytest.Authenticator) { a.Origin = "https://laundry.example.evil.example" },
		"for a host that ends like ours":       func(a *passkeytest.Authenticator) { a.Origin = "https://evillaundry.example:8443" },
		"for a host below ours":                func(a *passkeytest.Authenticator) { a.Origin = "https://x.laundry.example:8443" },
		"with the hash of another host":        func(a *passkeytest.Authenticator) { a.Host = "evil.example" },
		"with the hash of a host below ours":   func(a *passkeytest.Authenticator) { a.Host = "x.laundry.example" },
		"in a frame of another site":           func(a *passkeytest.Authenticator) { a.Framed = true },
		"without a check of who holds it":      func(a *passkeytest.Authenticator) { a.Unverified = true },
		"with nobody there":                    func(a *passkeytest.Authenticator) { a.Absent = true },
		"with client data of another ceremony": func(a *passkeytest.Authenticator) { a.Kind = "payment.get" },
		"with the other ceremony's client data": func(a *passkeytest.Authenticator) {
			if a.Kind = "webauthn.create"; a.Handle == nil { // it has not registered yet
				a.Kind = "webauthn.get"
			}
		},
	} {
		s, a := open(t), passkeytest.New(origin, host)
		change(a)
		made := s.register(a)
		s, a = open(t), passkeytest.New(origin, host)
		if err := s.register(a); err != nil {
			t.Fatal(err)
		}
		change(a)
		_, in := s.signIn(a, nil)
		says(t, errors.Is(made, passkey.ErrBad) && errors.Is(in, passkey.ErrBad), "made and used "+what, "refused")
	}
}

// TestSecurityCounters: of a counter that goes back, or stands still, the key is under
// suspicion; one that is always zero, as with keys that are synchronized, is not.
func TestSecurityCounters(t *testing.T) {
	for _, c := range []struct {
		what        string
		made, shown uint32
		suspect     bool
	}{
		{"goes up", 5, 6, false}, {"jumps up", 5, 900, false}, {"stands still", 5, 5, true}, {"goes back by one", 5, 4, true},
		{"goes back far", 500, 2, true}, {"goes back to zero", 5, 0, true}, {"was always zero", 0, 0, false}, {"begins to count", 0, 3, false},
	} {
		s, a := open(t), passkeytest.New(origin, host)
		a.Count = c.made
		if err := s.register(a); err != nil {
			t.Fatal(err)
		}
		if a.Count = c.shown; c.shown > 0 {
			a.Count-- // signing in counts it up, but zero
		}
		if key, err := s.signIn(a, nil); err != nil || key.Suspect != c.suspect {
			says(t, false, "a counter that "+c.what, "suspected, or not")
		}
	}
	says(t, true, "a counter that goes back or stands still; one that goes up, or is always zero", "suspected (and opens nothing: TestPasskeys); not suspected")
}
