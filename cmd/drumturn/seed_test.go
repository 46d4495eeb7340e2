package main

import (
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

// TestRandomBelow: every value below n comes, none above, and about equally
// often: 20,000 draws of 30 letters lie within six standard deviations
// (a textbook binomial; the chance of a false alarm is below 1e-7).
func TestRandomBelow(t *testing.T) {
	const n, draws = 30, 20_000
	var counts [n]int
	for range draws {
		counts[randomBelow(n)]++
	}
	// The mean is 666.7, the standard deviation sqrt(20000*(1/30)*(29/30)) = 25.4.
	for i, c := range counts {
		if c < 667-153 || c > 667+153 {
			t.Errorf("value %d came %d times of %d", i, c, draws)
		}
	}
	for _, n := range []int{1, 2, 255, 256} {
		for range 500 {
			if got := randomBelow(n); got < 0 || got >= n {
				t.Fatalf("randomBelow(%d) is %d", n, got)
			}
		}
	}
}

// TestNewCode: codes are easy to read from paper, and no two are alike.
func TestNewCode(t *testing.T) {
	shape := regexp.MustCompile(`^[2-9A-HJ-KM-NP-TV-Z]{4}-[2-9A-HJ-KM-NP-TV-Z]{4}$`)
	seen, letters := map[string]bool{}, map[rune]bool{}
	for range 2000 {
		code := newCode()
		if !shape.MatchString(code) || seen[code] {
			t.Fatalf("the code %q is a bad one (seen before: %v)", code, seen[code])
		}
		seen[code] = true
		for _, r := range code {
			letters[r] = true
		}
	}
	if len(letters) != len(codeLetters)+1 {
		t.Errorf("codes use %d letters of %d", len(letters)-1, len(codeLetters))
	}
	for _, confusing := range "ILOU01" {
		if letters[confusing] {
			t.Errorf("codes use %c", confusing)
		}
	}
}

func TestNewToken(t *testing.T) {
	a, b := newToken(), newToken()
	if a == b || len(a) != 43 || strings.ContainsAny(a, "+/=") {
		t.Errorf("tokens %q and %q; want two of 43 letters that an address can hold", a, b)
	}
}

// TestHashOf compares with the example of FIPS 180-4 for "abc" (value as
// published by NIST, from memory) and with the standard library.
func TestHashOf(t *testing.T) {
	if got := hashOf("abc"); got != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" {
		t.Errorf("SHA-256 of abc is %s", got)
	}
	sum := sha256.Sum256([]byte("wash"))
	if hashOf("wash") != hex.EncodeToString(sum[:]) {
		t.Error("another hash than that of the standard library")
	}
}

func TestSecretFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "key")
	made, err := secretFile(path)
	if err != nil || len(made) < 32 {
		t.Fatalf("made %q, %v", made, err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("the file is %v, %v; want it readable by its owner only", info, err)
	}
	if again, err := secretFile(path); err != nil || again != made {
		t.Errorf("read again it is %q, %v", again, err)
	}
	// What a power cut left of it is no secret.
	if err := os.WriteFile(path, []byte("short\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if other, err := secretFile(path); err != nil || other == made || len(other) < 32 {
		t.Errorf("for a cut file it is %q, %v", other, err)
	}
}

// TestSecretFileMistakes: a file that cannot be read is not replaced, and one
// that cannot be written is no secret.
func TestSecretFileMistakes(t *testing.T) {
	dir := t.TempDir()
	if s, err := secretFile(dir); err == nil || !strings.Contains(err.Error(), "read a secret") {
		t.Errorf("a folder gives %q, %v", s, err)
	}
	if s, err := secretFile(filepath.Join(dir, "none", "key")); err == nil || !strings.Contains(err.Error(), "keep a secret") {
		t.Errorf("a folder that is not there gives %q, %v", s, err)
	}
}

const tariffed = handBuilding + "[tariff]\ncurrency = \"EUR\"\nprice_per_kwh = \"0.32\"\n"

// handBuilding is a building of two machines that are run by hand.
const handBuilding = `
[building]
name = "Hand"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
public_url = "http://localhost:1"
data = "data"
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "washer"
[[rooms.cellar.machines]]
number = 2
kind = "dryer"
[rooms.attic]
name = "Attic"
[[rooms.attic.machines]]
number = 3
kind = "dryer"
`

// TestSeedOnce: the first start gives every room a code of its own, the price
// and a way in; later starts keep what is there.
func TestSeedOnce(t *testing.T) {
	w := wiring(t, tariffed, nil).open()
	first := w.app.house.People()
	if len(first.Invitations) != 2 || first.Invitations["cellar"].Code == first.Invitations["attic"].Code || first.Invitations["attic"].Code == "" {
		t.Errorf("the codes are %+v", first.Invitations)
	}
	if len(first.Tariffs) != 1 || first.Tariffs[0].Version != 1 || first.Tariffs[0].Tariff.MicrosPerKWh != 320_000 || first.Tariffs[0].Tariff.Currency != "EUR" {
		t.Errorf("the price is %+v", first.Tariffs)
	}
	link, wall := w.app.firstLink, w.app.wallKey
	token, ok := strings.CutPrefix(link, "/manager/first?token=")
	if !ok || first.FirstToken != hashOf(token) {
		t.Errorf("the link %q does not fit the stored hash %q", link, first.FirstToken)
	}
	w.end()

	// Another price in the file changes nothing: the store's holds.
	w.write("building.toml", strings.Replace(tariffed, "0.32", "9.99", 1))
	w.open()
	again := w.app.house.People()
	if again.Invitations["cellar"] != first.Invitations["cellar"] || again.Invitations["attic"] != first.Invitations["attic"] {
		t.Errorf("the codes changed from %+v to %+v", first.Invitations, again.Invitations)
	}
	if !reflect.DeepEqual(again.Tariffs, first.Tariffs) {
		t.Errorf("the price changed to %+v", again.Tariffs)
	}
	if w.app.firstLink == "" || w.app.firstLink == link || again.FirstToken == first.FirstToken {
		t.Errorf("nobody has signed in yet, so a new link replaces the old one; it is %q", w.app.firstLink)
	}
	if w.app.wallKey != wall {
		t.Error("the wall pages' key changed")
	}
}

// TestSeedNewRoom: a room that is added later gets its code then.
func TestSeedNewRoom(t *testing.T) {
	w := wiring(t, handBuilding, nil).open()
	old := w.app.house.People().Invitations["cellar"]
	w.end()
	w.write("building.toml", handBuilding+"[rooms.yard]\nname = \"Yard\"\n[[rooms.yard.machines]]\nnumber = 1\nkind = \"washer\"\n")
	w.open()
	now := w.app.house.People().Invitations
	if len(now) != 3 || now["yard"].Code == "" || now["cellar"] != old {
		t.Errorf("the codes are %+v", now)
	}
}

// TestFirstLinkOnlyOnce: the link makes one manager, and no later start prints another.
func TestFirstLinkOnlyOnce(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	token := strings.TrimPrefix(w.app.firstLink, "/manager/first?token=")
	chosen := []string{"token", token, "passphrase", "wet socks on a line", "again", "wet socks on a line"}
	manager := w.visitor()
	manager.sees(w.app.firstLink, "passphrase")
	if status, text := manager.post("/manager/first", chosen...); status != http.StatusOK {
		t.Fatalf("choosing the passphrase: %d\n%s", status, text)
	}
	if status, text := w.visitor().post("/manager/first", chosen...); status < 400 {
		t.Errorf("the link can be used again: %d\n%s", status, text)
	}
	p := w.app.house.People()
	way := p.WaysIn[p.Managers()[0].ID]
	if way.Passphrase == "" || strings.Contains(way.Passphrase, "socks") || len(p.Managers()) != 1 {
		t.Errorf("stored is %q, %d managers", way.Passphrase, len(p.Managers()))
	}
	w.end()
	w.open()
	if w.app.firstLink != "" {
		t.Errorf("there is another link: %s", w.app.firstLink)
	}
}
