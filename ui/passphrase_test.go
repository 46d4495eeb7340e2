package ui

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"

	"drumturn/coordinator"
)

// TestAForeignHash checks a PHC string that another implementation made: the
// Argon2 reference implementation's test.c, hashtest(version 0x13, t=2, m=2^8,
// p=1, "password", "somesalt", Argon2_id), from memory.
func TestAForeignHash(t *testing.T) {
	const phc = "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for passphrase, want := range map[string]bool{"password": true, "Password": false, "": false} {
		if got, err := s.checkPassphrase(context.Background(), phc, passphrase); err != nil || got != want {
			t.Errorf("%q: %v %v, want %v", passphrase, got, err, want)
		}
	}
}

func TestHashAndCheck(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	ctx := context.Background()
	a, err := s.hashPassphrase(ctx, "ember thistle kettle")
	if err != nil {
		t.Fatal(err)
	}
	b, _ := s.hashPassphrase(ctx, "ember thistle kettle")
	if a == b || !strings.HasPrefix(a, "$argon2id$v=19$m=19456,t=2,p=1$") {
		t.Errorf("%q and %q", a, b)
	}
	if ok, err := s.checkPassphrase(ctx, a, "ember thistle kettle"); !ok || err != nil {
		t.Errorf("the right one: %v %v", ok, err)
	}
	if ok, err := s.checkPassphrase(ctx, a, "ember thistle kettlE"); ok || err != nil {
		t.Errorf("a wrong one: %v %v", ok, err)
	}
}

func TestBrokenHashesAreErrors(t *testing.T) {
	for _, phc := range []string{
		"", "plain", "$argon2i$v=19$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c", "$argon2id$v=16$m=64,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y",
		"$argon2id$v=19$m=4294967295,t=1,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y", "$argon2id$v=19$m=64,t=0,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y",
		"$argon2id$v=19$m=64,t=1,p=1$c2$CTFhFdXPJO1aFaMaO6Mm5c8y", "$argon2id$v=19$m=64,t=1,p=1$c29tZXNhbHQ$!!",
	} {
		if _, err := parsePHC(phc); !errors.Is(err, errPHC) {
			t.Errorf("%q: %v", phc, err)
		}
	}
}

// TestHashingIsBounded: who waits for a place gives up with the request.
func TestHashingIsBounded(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	for range hashesAtOnce {
		s.hashing <- struct{}{}
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.hashPassphrase(ctx, "ember thistle kettle"); !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// TestTheManagersFirstDay: link, passphrase, out, wrong, right.
func TestTheManagersFirstDay(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token")
	s := newTestServer(t, h, nil)
	const good = "ember thistle kettle"
	page := get("/manager/first?token=token").of(s).Body.String()
	if !strings.Contains(page, `name="token" value="token"`) {
		t.Error("the link's token is not in the form")
	}
	for _, c := range []struct {
		form []string
		want int
		says string
	}{
		{[]string{"token", "other", "passphrase", good, "again", good}, 403, "does not hold any more"},
		{[]string{"token", "token", "passphrase", "short", "again", "short"}, 422, "at least 12 characters; this one has 5"},
		{[]string{"token", "token", "passphrase", good, "again", good + "s"}, 422, "differ"},
	} {
		w := post("/manager/first", c.form...).of(s)
		if w.Code != c.want || !strings.Contains(w.Body.String(), c.says) {
			t.Errorf("%v: %d", c.form, w.Code)
		}
	}
	w := post("/manager/first", "token", "token", "passphrase", good, "again", good).of(s)
	cookies := w.Result().Cookies()
	if w.Code != http.StatusSeeOther || len(cookies) != 2 || cookies[0].Name != "__Host-drumturn-manager" {
		t.Fatalf("%d %v", w.Code, cookies)
	}
	if page := get("/manager").as("", cookies[0].Value).of(s).Body.String(); !strings.Contains(page, "Needs a hand") {
		t.Error("the manager is not let in")
	}
	if w := post("/manager/first", "token", "token", "passphrase", good, "again", good).of(s); w.Code != 403 {
		t.Errorf("the link works twice: %d", w.Code)
	}
	post("/manager/sign-out").as("", cookies[0].Value).of(s)
	if w := post("/manager/sign-in", "passphrase", good+"s").of(s); w.Code != 403 || len(w.Result().Cookies()) != 0 {
		t.Errorf("a wrong passphrase: %d", w.Code)
	}
	again := post("/manager/sign-in", "passphrase", good).of(s)
	if k := again.Result().Cookies(); again.Code != 303 || len(k) != 2 || k[0].Name != cookies[0].Name || k[0].Value == cookies[0].Value {
		t.Errorf("signing in: %d %v", again.Code, k)
	}
}

func TestCodesAreTypable(t *testing.T) {
	s := newTestServer(t, newFakeHouse(fullRoom()), nil)
	count := map[rune]int{}
	for range 500 {
		code, err := s.newCode(8)
		if err != nil || len(code) != 9 || code[4] != '-' {
			t.Fatalf("%q %v", code, err)
		}
		for _, r := range code {
			count[r]++
		}
	}
	for _, r := range "ILO01" {
		if count[r] > 0 {
			t.Errorf("%q is easily mistaken", r)
		}
	}
	// 4,000 letters of 31: 129 each on average, standard deviation 11; nine of those leave no room for chance.
	for _, r := range codeLetters {
		if n := count[r]; n < 129-100 || n > 129+100 {
			t.Errorf("%q came %d times", r, n)
		}
	}
}

// dryRandom gives nothing.
type dryRandom struct{}

func (dryRandom) Read([]byte) (int, error) { return 0, errors.New("no randomness") }

// TestWithoutRandomnessNothingIsMade: an error, never a weak secret.
func TestWithoutRandomnessNothingIsMade(t *testing.T) {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	s := newTestServer(t, h, func(o *Options) { o.Random = dryRandom{} })
	for _, a := range []ask{post("/r/cellar/join", "code", "tidewater", "home", "1"), post("/manager/r/cellar/invitation").as("", "secret-of-boss")} {
		if w := a.of(s); w.Code != 500 || len(h.peopleEv) != 0 {
			t.Errorf("%s: %d %v", a.path, w.Code, h.peopleEv)
		}
	}
}
