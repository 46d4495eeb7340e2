package passkey_test

import (
	"bytes"
	"errors"
	"net/url"
	"testing"
	"time"

	"drumturn/ui/passkey"
	"drumturn/ui/passkey/passkeytest"
)

var noon = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)

const origin, host = "https://laundry.example:8443", "laundry.example"

// site is a door with one user.
type site struct {
	*testing.T
	*passkey.Door
	user passkey.User
}

func open(t *testing.T) *site {
	public, err := url.Parse(origin + "/below")
	if err != nil {
		t.Fatal(err)
	}
	d, err := passkey.New(public, "Alder Court")
	if err != nil {
		t.Fatal(err)
	}
	return &site{t, d, passkey.User{Handle: passkey.NewHandle(), Name: "Ada"}}
}

func (s *site) register(a *passkeytest.Authenticator) error {
	s.Helper()
	options, ticket, err := s.BeginRegistration("boss", s.user, noon)
	if err != nil {
		s.Fatal(err)
	}
	key, err := s.FinishRegistration("boss", ticket, s.user, a.Register(options), noon)
	if err == nil {
		s.user.Keys = append(s.user.Keys, key)
	}
	return err
}

func (s *site) find(handle string) (passkey.User, bool) { return s.user, handle == s.user.Handle }

func (s *site) signIn(a *passkeytest.Authenticator, change func(answer []byte) []byte) (passkey.Key, error) {
	s.Helper()
	options, ticket, err := s.BeginSignIn("here", noon)
	if err != nil {
		s.Fatal(err)
	}
	answer := a.SignIn(options)
	if change != nil {
		answer = change(answer)
	}
	_, key, err := s.FinishSignIn("here", ticket, answer, s.find, noon)
	return key, err
}

func TestTroubles(t *testing.T) {
	for address, want := range map[string]passkey.Trouble{
		"https://laundry.example": "", "https://laundry.example:8443/below": "", "http://localhost:8080": "",
		"http://laundry.example": passkey.PlainHTTP, "http://192.168.7.2:8080": passkey.PlainHTTP, "http://127.0.0.1": passkey.PlainHTTP,
		"https://192.168.7.2": passkey.NoName, "https://box": passkey.NoName, "https://[fd00::1]": passkey.NoName,
	} {
		public, err := url.Parse(address)
		if err != nil {
			t.Fatal(err)
		}
		if got := passkey.TroubleWith(public); got != want {
			t.Errorf("%s: %q, want %q", address, got, want)
		}
	}
}

func TestRegisterAndSignIn(t *testing.T) {
	s, a := open(t), passkeytest.New(origin, host)
	if err := s.register(a); err != nil {
		t.Fatal(err)
	}
	key, err := s.signIn(a, nil)
	if err != nil || key.ID != s.user.Keys[0].ID || key.Suspect || len(key.Record) == 0 {
		t.Fatalf("%+v %v", key, err)
	}
	if len(key.Record) > 1500 {
		t.Errorf("a key is kept in %d octets", len(key.Record))
	}
	options, _, err := s.BeginRegistration("boss", s.user, noon)
	if err != nil || !bytes.Contains(options, []byte(key.ID)) {
		t.Errorf("the browser may make the same passkey again: %s %v", options, err)
	}
	for _, want := range []string{`"userVerification":"required"`, `"residentKey":"required"`, `"id":"laundry.example"`} {
		if !bytes.Contains(options, []byte(want)) {
			t.Errorf("the options lack %s: %s", want, options)
		}
	}
}

// TestWhatIsRefused: another site's page, another host's key, nobody checked, a
// changed signature, another's handle.
func TestWhatIsRefused(t *testing.T) {
	for name, change := range map[string]func(*passkeytest.Authenticator){
		"another origin": func(a *passkeytest.Authenticator) { a.Origin = "https://evil.example" },
		"another port":   func(a *passkeytest.Authenticator) { a.Origin = "https://laundry.example" },
		"plain http":     func(a *passkeytest.Authenticator) { a.Origin = "http://laundry.example:8443" },
		"another host":   func(a *passkeytest.Authenticator) { a.Host = "evil.example" },
		"nobody checked": func(a *passkeytest.Authenticator) { a.Unverified = true },
	} {
		s, a := open(t), passkeytest.New(origin, host)
		change(a)
		if err := s.register(a); !errors.Is(err, passkey.ErrBad) {
			t.Errorf("%s registers: %v", name, err)
		}
		s, a = open(t), passkeytest.New(origin, host)
		if err := s.register(a); err != nil {
			t.Fatal(err)
		}
		change(a)
		if _, err := s.signIn(a, nil); !errors.Is(err, passkey.ErrBad) {
			t.Errorf("%s signs in: %v", name, err)
		}
	}
	s, a := open(t), passkeytest.New(origin, host)
	if err := s.register(a); err != nil {
		t.Fatal(err)
	}
	stranger := passkeytest.New(origin, host)
	if stranger.Handle = a.Handle; true {
		if _, err := s.signIn(stranger, nil); !errors.Is(err, passkey.ErrUnknown) {
			t.Errorf("another key with the user's handle: %v", err)
		}
	}
	stranger.ID = a.ID
	if _, err := s.signIn(stranger, nil); !errors.Is(err, passkey.ErrBad) {
		t.Errorf("another key with the key's id: %v", err)
	}
	a.Handle = []byte("some other user's handle, 32 oct")
	if _, err := s.signIn(a, nil); !errors.Is(err, passkey.ErrUnknown) {
		t.Errorf("another user's handle: %v", err)
	}
	for _, garbage := range []string{"", "{}", "null", "[1]", `{"id":"x","rawId":"!","type":"public-key","response":{}}`} {
		if _, err := s.signIn(a, func([]byte) []byte { return []byte(garbage) }); !errors.Is(err, passkey.ErrBad) {
			t.Errorf("%q: %v", garbage, err)
		}
	}
}

// TestACopyIsSuspected: the counter of the copy, or of the original after the
// copy was used, does not go up (7.2 of the specification, step 22, from memory).
func TestACopyIsSuspected(t *testing.T) {
	s, a := open(t), passkeytest.New(origin, host)
	a.Count = 5
	if err := s.register(a); err != nil {
		t.Fatal(err)
	}
	copied := *a
	key, err := s.signIn(a, nil)
	if err != nil || key.Suspect {
		t.Fatalf("the original: %+v %v", key, err)
	}
	s.user.Keys[0] = key
	if key, err = s.signIn(&copied, nil); err != nil || !key.Suspect {
		t.Fatalf("the copy: %+v %v", key, err)
	}
}

// TestAChallengeHoldsOnce: for one answer, of its holder, in its time, in its ceremony.
func TestAChallengeHoldsOnce(t *testing.T) {
	s, a := open(t), passkeytest.New(origin, host)
	if err := s.register(a); err != nil {
		t.Fatal(err)
	}
	options, ticket, _ := s.BeginSignIn("here", noon)
	answer := a.SignIn(options)
	if _, _, err := s.FinishSignIn("there", ticket, answer, s.find, noon); !errors.Is(err, passkey.ErrOver) {
		t.Errorf("somebody else answers: %v", err)
	}
	if _, err := s.FinishRegistration("here", ticket, s.user, answer, noon); !errors.Is(err, passkey.ErrOver) {
		t.Errorf("the answer to another ceremony: %v", err)
	}
	if _, _, err := s.FinishSignIn("here", ticket, answer, s.find, noon); err != nil {
		t.Errorf("the right answer: %v", err)
	}
	if _, _, err := s.FinishSignIn("here", ticket, answer, s.find, noon); !errors.Is(err, passkey.ErrOver) {
		t.Errorf("the same answer again: %v", err)
	}
	options, ticket, _ = s.BeginSignIn("here", noon)
	if _, _, err := s.FinishSignIn("here", ticket, a.SignIn(options), s.find, noon.Add(passkey.Ceremony)); !errors.Is(err, passkey.ErrOver) {
		t.Errorf("too late: %v", err)
	}
	_, other, _ := s.BeginSignIn("here", noon)
	if _, _, err := s.FinishSignIn("here", other, answer, s.find, noon); !errors.Is(err, passkey.ErrBad) {
		t.Errorf("an old answer to a new challenge: %v", err)
	}
}

// TestAFloodOfChallenges takes from whoever makes it, not from others.
func TestAFloodOfChallenges(t *testing.T) {
	s, a := open(t), passkeytest.New(origin, host)
	if err := s.register(a); err != nil {
		t.Fatal(err)
	}
	options, ticket, _ := s.BeginSignIn("here", noon)
	for range 3000 {
		if _, _, err := s.BeginSignIn("there", noon); err != nil {
			t.Fatal(err)
		}
	}
	if _, _, err := s.FinishSignIn("here", ticket, a.SignIn(options), s.find, noon); err != nil {
		t.Errorf("the flood took another's challenge: %v", err)
	}
}
