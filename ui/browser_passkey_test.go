package ui

import (
	"context"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"drumturn/coordinator"
)

// virtualKey gives the browser an authenticator that always verifies its user
// (the WebAuthn domain of the browser's protocol for tests).
func (b *browser) virtualKey(t *testing.T) {
	t.Helper()
	if _, err := chromedp.Call(b.ctx, webauthn.Enable, webauthn.EnableParams{}); err != nil {
		t.Fatal(err)
	}
	_, err := chromedp.Call(b.ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{
		Options: &webauthn.VirtualAuthenticatorOptions{
			Protocol: webauthn.AuthenticatorProtocolCtap2, Transport: webauthn.AuthenticatorTransportInternal,
			HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true,
		},
	})
	if err != nil {
		t.Fatal(err)
	}
}

// servedByName serves a house below a prefix, and returns the address: browsers bind
// passkeys to names, and localhost is one.
func servedByName(t *testing.T, h *fakeHouse) string {
	t.Helper()
	ln, o := listen(t, "127.0.0.1:0"), testOptions(h)
	_, port, _ := strings.Cut(ln.Addr().String(), ":")
	o.PublicURL = "http://localhost:" + port + "/below"
	s, err := New(o)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(serve(t, s, ln))
	return o.PublicURL
}

// TestAPasskeyInABrowser: added, signed out, signed in with, removed, refused; under
// a path prefix, with the page's content policy in force.
func TestAPasskeyInABrowser(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	phc, err := newTestServer(t, h, nil).hashPassphrase(context.Background(), adasPhrase)
	if err != nil {
		t.Fatal(err)
	}
	h.enrol(coordinator.Person{ID: "ada", Name: "Ada", Manager: true})
	h.people.WaysIn["ada"] = coordinator.WayIn{Person: "ada", Passphrase: phc}
	at := servedByName(t, h)
	b.virtualKey(t)
	b.media(t, 390, 844, "light")
	to := func(page string) chromedp.Action[chromedp.Void] { return chromedp.Navigate(at + page) }

	b.do(t, to("/manager"), chromedp.WaitVisible("[data-passkey] button"), chromedp.SendKeys("input[name=passphrase]", adasPhrase),
		chromedp.Click("form[action$=sign-in] button"), chromedp.WaitVisible("#rooms"))
	b.do(t, to("/manager/access"), chromedp.WaitVisible("[data-passkey] input[name=name]"), chromedp.SendKeys("[data-passkey] input[name=name]", "test phone"),
		chromedp.Click("[data-passkey] button"))
	b.until(t, "location.search.includes('key-added') && document.querySelector('#keys').innerText.includes('test phone')")
	if way := h.People().WaysIn["ada"]; len(way.Keys) != 1 || way.Keys[0].Name != "test phone" {
		t.Fatalf("kept: %+v", way)
	}
	b.do(t, chromedp.SendKeys("[data-passkey] input[name=name]", "again"), chromedp.Click("[data-passkey] button"))
	b.until(t, "document.querySelector('[data-passkey] [role=status]').textContent.includes('has a passkey for you already')")

	b.do(t, to("/manager"), chromedp.Click("form[action$=sign-out] button"), chromedp.WaitVisible("[data-passkey] button"),
		chromedp.Click("[data-passkey] button"), chromedp.WaitVisible("#rooms"))
	if h.People().WaysIn["ada"].Keys[0].Used.IsZero() {
		t.Error("its use is not noted")
	}

	b.do(t, to("/manager/access"), chromedp.Click("#keys .hands li > form button"))
	b.until(t, "location.search.includes('key-gone')")
	b.do(t, to("/manager"), chromedp.Click("form[action$=sign-out] button"), chromedp.WaitVisible("[data-passkey] button"),
		chromedp.Click("[data-passkey] button"))
	b.until(t, "document.querySelector('[data-passkey] [role=status]').textContent.includes('opens nothing here')")

	var breaches []string
	for _, bad := range b.complaints() {
		if strings.Contains(bad, "Content Security Policy") || strings.Contains(bad, "exception") {
			breaches = append(breaches, bad)
		}
	}
	if len(breaches) > 0 {
		t.Errorf("the console complains: %q", breaches)
	}
}

// TestBeginningWithAPasskeyInABrowser: the one-time link of the first start, and
// then that of another manager, each with a touch of the authenticator and no
// passphrase; both sign in again by it.
func TestBeginningWithAPasskeyInABrowser(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token")
	at := servedByName(t, h)
	b.virtualKey(t)
	b.media(t, 390, 844, "light")
	start := func(link string) {
		b.do(t, chromedp.Navigate(at+link), chromedp.WaitVisible("[data-passkey] button"))
		if link == "/manager/first?token=token" {
			b.do(t, chromedp.SendKeys("[data-passkey] input[name=name]", "Nora"))
		}
		b.do(t, chromedp.Click("[data-passkey] button"))
		b.until(t, "location.pathname.endsWith('/manager/access') && document.body.innerText.includes('the only way in')")
	}
	start("/manager/first?token=token")
	nora, ok := h.People().ManagerNamed("Nora")
	if way := h.People().WaysIn[nora.ID]; !ok || way.OnlyKeys() != 1 {
		t.Fatalf("kept: %+v", way)
	}
	h.mu.Lock()
	h.invite("invite", "Cleo", time.Hour)
	h.mu.Unlock()
	start("/manager/invited?token=invite")
	cleo, ok := h.People().ManagerNamed("Cleo")
	if way := h.People().WaysIn[cleo.ID]; !ok || way.OnlyKeys() != 1 || way.Handle == h.People().WaysIn[nora.ID].Handle {
		t.Fatalf("kept: %+v", way)
	}
	b.do(t, chromedp.Navigate(at+"/manager"), chromedp.Click("form[action$=sign-out] button"), chromedp.WaitVisible("[data-passkey] button"),
		chromedp.Click("[data-passkey] button"), chromedp.WaitVisible("#rooms"))
	for _, bad := range b.complaints() {
		if strings.Contains(bad, "Content Security Policy") || strings.Contains(bad, "exception") {
			t.Errorf("the console complains: %q", bad)
		}
	}
}

// TestProvingInABrowser: an hour after signing in, adding a passkey and removing one
// ask for the passkey again, on one page, and go on with what was asked.
func TestProvingInABrowser(t *testing.T) {
	b := openBrowser(t)
	h := newFakeHouse(fullRoom())
	h.people.FirstToken = hashSecret("token")
	at := servedByName(t, h)
	b.virtualKey(t)
	b.do(t, chromedp.Navigate(at+"/manager/first?token=token"), chromedp.WaitVisible("[data-passkey] button"),
		chromedp.Click("[data-passkey] button"), chromedp.WaitVisible("#keys .hands li"))
	h.mu.Lock()
	h.now = noon.Add(time.Hour)
	h.mu.Unlock()
	// A page that was loaded while the sign-in was fresh learns it from the refusal.
	b.do(t, chromedp.SendKeys("[data-passkey] input[name=name]", "tablet & co"), chromedp.Click("[data-passkey] button"))
	b.until(t, "document.querySelector('#go-on') && document.querySelector('#go-on input[name=name]').value == 'tablet & co'")
	b.tap(t, "[data-passkey] button")
	b.until(t, "location.pathname.endsWith('/manager/access') && document.querySelector('[data-passkey] input[name=name]')?.value == 'tablet & co'")
	h.mu.Lock()
	h.now = noon.Add(2 * time.Hour)
	h.mu.Unlock()
	b.do(t, chromedp.SendKeys("form:has(> input[value=invite]) input[name=name]", "Cleo"), chromedp.Click("form:has(> input[value=invite]) button"))
	b.until(t, "!!document.querySelector('#go-on')") // the page before has a button like the next one, too
	b.tap(t, "[data-passkey] button")
	b.until(t, "document.querySelector('.address')?.textContent.includes('/below/manager/invited?token=')")
	for _, bad := range b.complaints() {
		if strings.Contains(bad, "Content Security Policy") || strings.Contains(bad, "exception") {
			t.Errorf("the console complains: %q", bad)
		}
	}
}
