package ui

import (
	"fmt"
	"net/http"
	"testing"
	"testing/synctest"
	"time"

	"drumturn/coordinator"
)

// TestSecurityGuessing counts how many guesses are read in a day, from one address
// that tries every second, and from a thousand addresses; and what that is worth
// against what is guessed.
func TestSecurityGuessing(t *testing.T) {
	tr := try(t, "brute force")
	const letters = 40.0 // bits: 8 letters of 31, see TestCodesAreTypable
	for name, c := range map[string]struct {
		a    ask
		bits float64
		most int // guesses read in an hour of trying every second
	}{
		"the code on the wall":              {post("/r/cellar/join", "code", "guess", "home", "12"), letters, 625},
		"a one-time code, a home code":      {post("/code", "code", "guess"), letters, 625},
		"the link of a new manager":         {post("/manager/invited", "token", "guess", "passphrase", bensPhrase, "again", bensPhrase), 256, 375},
		"the same, to begin with a passkey": {post("/manager/invited/passkey/begin", "token", "guess"), 256, 375},
		"a passkey's ticket":                {post("/manager/passkey", "ticket", "guess", "answer", "{}"), 192, 3700},
	} {
		synctest.Test(t, func(t *testing.T) {
			o := target(t, nil)
			read := 0
			for range 3600 {
				w := c.a.of(o.Server)
				if w.Code != http.StatusTooManyRequests {
					read++
				}
				if !refusedAnswer(w) {
					t.Fatalf("%s: a guess is answered %d", name, w.Code)
				}
				time.Sleep(time.Second)
			}
			years := 0.5 * pow2(c.bits) / float64(read) / 24 / 365
			tr.row(read <= c.most && years > 1e4, name+", every second for an hour", "%d guesses read; half of all takes %.0g years", read, years)
		})
	}
}

func pow2(bits float64) float64 {
	v := 1.0
	for range int(bits) {
		v *= 2
	}
	return v
}

// TestSecurityPassphrase: from one address, and from a thousand at once; the sums
// that are hashed are what costs memory.
func TestSecurityPassphrase(t *testing.T) {
	tr := try(t, "brute force")
	for _, sources := range []int{1, 1000} {
		synctest.Test(t, func(t *testing.T) {
			o := target(t, nil)
			o.people.WaysIn["ada"] = coordinator.WayIn{Person: "ada", Passphrase: cheapPHC} // the same limits, less work for the test
			read := 0
			for i := range 6000 {
				w := o.from(fmt.Sprintf("203.0.%d.%d", i%sources/250, i%sources%250+1), post("/manager/sign-in", "name", "Ada", "passphrase", "guess guess guess"))
				if w.Code == http.StatusForbidden {
					read++
				} else if w.Code != http.StatusTooManyRequests {
					t.Fatalf("answered %d", w.Code)
				}
				time.Sleep(600 * time.Millisecond)
			}
			tr.row(read <= 20, fmt.Sprintf("a manager's passphrase, for an hour, from %d addresses", sources), "%d guesses hashed, the others refused unread", read)
		})
	}
}

// cheapPHC is a hash of small cost that no passphrase is known for.
const cheapPHC = "$argon2id$v=19$m=8,t=1,p=1$b5t1XQyVnYFRZkLpXo9Ziw$N0b6cLqk9rJmYHbZtQmT6o4vS0JkqW3s8wq7m3d2q1E"

// TestSecurityOneTime: what is to be used once is, also by two at the same time
// after each other's look.
func TestSecurityOneTime(t *testing.T) {
	tr := try(t, "one-time codes")
	o := target(t, nil)
	for who, a := range map[string]ask{
		"a resident's code":    post("/code", "code", "pass-word"),
		"a guest's code for 1": post("/r/cellar/join", "code", "gues-t234"),
	} {
		o.people.Passes = map[string]coordinator.Pass{passHash("pass-word"): {Hash: passHash("pass-word"), Person: "dan", Expires: noon.Add(time.Minute)}}
		first, second := a.of(o.Server), a.of(o.Server)
		tr.row(first.Code == 303 && refusedAnswer(second), who+", used twice", "%d, then %d", first.Code, second.Code)
	}
	o.people.Passes = map[string]coordinator.Pass{passHash("pass-word"): {Hash: passHash("pass-word"), Person: "dan", Expires: noon}}
	late := post("/code", "code", "pass-word").of(o.Server)
	tr.row(refusedAnswer(late), "a one-time code after its time", "%d", late.Code)
	o.people.Passes = map[string]coordinator.Pass{}
	err := o.fakeHouse.DoPeople(t.Context(), coordinator.OfferPass{Person: "ada", Hash: "x", Expires: noon.Add(time.Hour)})
	tr.row(err != nil && len(o.People().Passes) == 0, "a one-time code for a manager", "refused: %v", err)
}

// TestSecurityFixation: a cookie that was there before is never adopted, nor does a
// session of one kind open the door of another.
func TestSecurityFixation(t *testing.T) {
	tr := try(t, "session fixation")
	o := target(t, nil)
	const planted = "cGxhbnRlZC1ieS1hbi1hdHRhY2tlci0zMi1vY3RldHM"
	for name, a := range map[string]ask{
		"joining":             post("/r/cellar/join", "code", "tidewater", "home", "12").as(planted, planted),
		"a manager's sign-in": post("/manager/sign-in", "name", "Ada", "passphrase", adasPhrase).as(planted, planted),
	} {
		w := a.of(o.Server)
		fresh := len(w.Result().Cookies()) > 0
		for _, c := range w.Result().Cookies() {
			fresh = fresh && c.Value != planted
		}
		tr.row(fresh && o.People().Sessions[hashSecret(planted)].Person == "", name+" with a planted cookie", "another secret is given; the planted one opens nothing")
	}
	in := get("/manager/people").as("", "secret-of-dan").of(o.Server)
	tr.row(in.Code == 303, "a resident's secret in the manager's cookie", "%d, to the door", in.Code)
	again := get("/me").as("secret-of-ada", "").of(o.Server)
	offer := post("/me/code").as("secret-of-ada", "").of(o.Server)
	tr.row(again.Code == 200 && refusedAnswer(offer), "a manager's secret in the resident's cookie asks for a one-time code", "%d", offer.Code)
}
