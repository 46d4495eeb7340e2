package webpush

import (
	"bytes"
	"crypto/ecdh"
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push"
)

// openScript decrypts what comes on standard input with the npm library
// http_ece, as a push service's browser would.
const openScript = `
const ece = require('http_ece');
const crypto = require('crypto');
const given = JSON.parse(require('fs').readFileSync(0, 'utf8'));
const phone = crypto.createECDH('prime256v1');
phone.setPrivateKey(Buffer.from(given.private, 'base64url'));
const plain = given.bodies.map((body) => ece.decrypt(Buffer.from(body, 'base64url'),
  { version: 'aes128gcm', privateKey: phone, authSecret: given.auth }).toString('utf8'));
process.stdout.write(JSON.stringify(plain));
`

// needECE gives the folder that has http_ece in its node_modules. Without it
// the test is skipped, but not where CI says that everything is there.
func needECE(t *testing.T) string {
	t.Helper()
	folder := os.Getenv("DRUMTURN_ECE")
	missing := ""
	if _, err := exec.LookPath("node"); err != nil {
		missing = "node is not installed"
	} else if _, err := os.Stat(filepath.Join(folder, "node_modules", "http_ece")); folder == "" || err != nil {
		missing = "no http_ece: npm install --prefix FOLDER http_ece@1.2.1, and set DRUMTURN_ECE=FOLDER"
	}
	switch {
	case missing == "":
		return folder
	case os.Getenv("CI") == "true" || folder != "":
		t.Fatal(missing)
	}
	t.Skip(missing)
	return ""
}

// openElsewhere decrypts bodies with http_ece.
func openElsewhere(t *testing.T, folder string, private *ecdh.PrivateKey, auth string, bodies [][]byte) []string {
	t.Helper()
	given := struct {
		Private string   `json:"private"`
		Auth    string   `json:"auth"`
		Bodies  []string `json:"bodies"`
	}{base64.RawURLEncoding.EncodeToString(private.Bytes()), auth, nil}
	for _, b := range bodies {
		given.Bodies = append(given.Bodies, base64.RawURLEncoding.EncodeToString(b))
	}
	input, err := json.Marshal(given)
	if err != nil {
		t.Fatal(err)
	}
	node := exec.CommandContext(t.Context(), "node", "-e", openScript)
	node.Dir, node.Stdin = folder, bytes.NewReader(input)
	var wrong bytes.Buffer
	node.Stderr = &wrong
	out, err := node.Output()
	if err != nil {
		t.Fatalf("http_ece: %v\n%s", err, wrong.String())
	}
	var plain []string
	if err := json.Unmarshal(out, &plain); err != nil {
		t.Fatal(err)
	}
	return plain
}

// TestAnotherLibraryOpensIt: what is sent is opened by http_ece, a library that
// shares nothing with ours, in every language and up to the longest payload.
func TestAnotherLibraryOpensIt(t *testing.T) {
	folder := needECE(t)
	private, err := ecdh.P256().GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	secret := make([]byte, 16)
	_, _ = rand.Read(secret) // never fails
	auth := base64.RawURLEncoding.EncodeToString(secret)
	var bodies [][]byte
	s := newSender(t, doFunc(func(r *http.Request) (*http.Response, error) {
		body, err := io.ReadAll(r.Body)
		bodies = append(bodies, body)
		return &http.Response{StatusCode: 201, Body: http.NoBody}, err
	}))
	to := coordinator.Subscription{
		Endpoint: "https://push.example/a", P256dh: base64.RawURLEncoding.EncodeToString(private.PublicKey().Bytes()), Auth: auth,
	}
	want := []string{"{}", strings.Repeat("x", 1023)}
	for _, lang := range []string{"en", "de", "fr", "es", "ar"} {
		n := coordinator.Notice{Kind: coordinator.LoadReady, Machine: 2, Made: time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)}
		text := push.Words(&n, push.Place{Room: "Cellar"}, lang)
		want = append(want, string(push.Payload{Title: text.Title, Body: text.Body, Tag: push.Tag(&n), URL: "/r/cellar", Kind: n.Kind, At: n.Made}.Encode()))
	}
	for _, payload := range want {
		r := s.Send(t.Context(), push.Message{To: to, Payload: []byte(payload), TTL: time.Minute, Urgency: push.UrgencyHigh, Topic: "topic"})
		if r.Status != 201 || r.Err != nil {
			t.Fatalf("%+v", r)
		}
	}
	for i, got := range openElsewhere(t, folder, private, auth, bodies) {
		if got != want[i] {
			t.Errorf("message %d was opened as %q, want %q", i, got, want[i])
		}
	}
}
