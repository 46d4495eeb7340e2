package ui

import (
	"net/http"
	"strings"
	"testing"
)

// TestSecurityForeignForms sends every form of every address as a page of another
// site would, with the cookies of a resident and of a manager.
func TestSecurityForeignForms(t *testing.T) {
	tr := try(t, "CSRF")
	for name, header := range map[string]http.Header{
		"a page of another site":                       {"Sec-Fetch-Site": {"cross-site"}, "Origin": {"https://evil.example"}},
		"a page of a neighbour of the domain":          {"Sec-Fetch-Site": {"same-site"}, "Origin": {"https://evil.localhost"}},
		"an old browser, from another site":            {"Sec-Fetch-Site": {}, "Origin": {"https://evil.example"}},
		"an old browser, another port of this host":    {"Sec-Fetch-Site": {}, "Origin": {"http://localhost:9090"}},
		"an old browser, https against our plain http": {"Sec-Fetch-Site": {}, "Origin": {"https://localhost:8080"}},
		"a sandboxed frame (Origin: null)":             {"Sec-Fetch-Site": {}, "Origin": {"null"}},
	} {
		o := target(t, nil)
		sent, let := 0, []string{}
		for _, r := range o.routes() {
			if r.method != http.MethodPost || r.path == "/mail/off" {
				continue
			}
			a := post(fillRoute(r.path), "do", "leave", "sure", "yes").as("secret-of-dan", "secret-of-ada")
			a.header = header
			if w := a.of(o.Server); w.Code != http.StatusForbidden {
				let = append(let, r.path)
			}
			sent++
		}
		tr.row(len(let) == 0 && sent > 40 && o.stored() == 0, name, "%d forms refused, nothing done; let through: %v", sent, let)
	}
}

// TestSecurityTheOneForeignForm is the one that mail programs send (RFC 8058): it
// needs the secret of the letter, and ends letters only.
func TestSecurityTheOneForeignForm(t *testing.T) {
	tr := try(t, "CSRF")
	o := target(t, nil)
	a := post("/mail/off?of=guess", "List-Unsubscribe", "One-Click").as("secret-of-dan", "secret-of-ada")
	a.header = http.Header{"Sec-Fetch-Site": {"cross-site"}, "Origin": {"https://mail.example"}}
	w := a.of(o.Server)
	dan := o.People().Persons["dan"]
	tr.row(o.People().Sessions[hashSecret("secret-of-dan")].Person == "dan" && dan.Mail.Off == "", "ending letters from a mail program, without the letter's secret", "%d, nothing done", w.Code)
}

// TestSecurityOddForms: what is no form of ours does nothing, whatever it claims to be.
func TestSecurityOddForms(t *testing.T) {
	tr := try(t, "CSRF")
	o := target(t, nil)
	for name, kind := range map[string]string{
		"JSON by fetch without asking (text/plain)": "text/plain", "a form with files": "multipart/form-data; boundary=x", "JSON": "application/json", "no type": "",
	} {
		let := []string{}
		for _, r := range o.routes() {
			if r.method != http.MethodPost || strings.HasPrefix(r.path, "/mail") {
				continue
			}
			a := post(fillRoute(r.path), "do", "leave", "sure", "yes").as("secret-of-dan", "secret-of-ada")
			a.header = http.Header{"Content-Type": {kind}}
			if w := a.of(o.Server); w.Code < 400 {
				let = append(let, r.path)
			}
		}
		tr.row(len(let) == 0 && o.stored() == 0, name, "refused everywhere; let through: %v", let)
	}
}
