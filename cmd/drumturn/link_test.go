package main

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
)

// TestLinkCommand: when nobody can sign in any more, whoever runs the program
// gets a link that makes a manager, once.
func TestLinkCommand(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	w.end()
	if _, errOut, code := command(t, "link", w.path("building.toml")); code == 0 || !strings.Contains(errOut, "start it first") {
		t.Errorf("stopped: %d %s", code, errOut)
	}
	w.start()
	w.awaitControl()
	out, errOut, code := command(t, "link", "--name", "Cleo", w.path("building.toml"))
	if code != 0 {
		t.Fatalf("%d\n%s%s", code, out, errOut)
	}
	_, link, ok := strings.Cut(out, "/manager/invited?token=")
	token, err := url.QueryUnescape(strings.TrimSpace(link))
	if !ok || err != nil {
		t.Fatalf("no link in %s", out)
	}
	cleo, other := w.visitor(), w.visitor()
	take := func(v *visitor) (int, string) {
		return v.post("/manager/invited", "token", token, "passphrase", "four words will do", "again", "four words will do")
	}
	if status, text := take(cleo); status != http.StatusOK || !strings.Contains(text, "Today") {
		t.Fatalf("%d %s", status, text)
	}
	if status, _ := take(other); status == http.StatusOK {
		t.Errorf("the link works twice: %d", status)
	}
	names := ""
	for _, m := range w.app.house.People().Managers() {
		names += m.Name + ";"
	}
	if !strings.Contains(names, "Cleo") {
		t.Errorf("managers are %s", names)
	}
}
