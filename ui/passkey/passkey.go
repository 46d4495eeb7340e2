package passkey

import (
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// Ceremony is how long a challenge holds: time to find the phone, and no more.
const Ceremony = 3 * time.Minute

// The ways in which a ceremony fails.
var (
	// ErrOver: the challenge is unknown, was used, or is too old.
	ErrOver = errors.New("the challenge was used or has run out")
	// ErrUnknown: nobody has the passkey.
	ErrUnknown = errors.New("nobody here has this passkey")
	// ErrBad: the answer does not hold, for a reason that is in the error.
	ErrBad = errors.New("the browser's answer does not hold")
)

// Trouble says why a public URL can have no passkeys; empty when it can.
type Trouble string

// The troubles. Browsers offer passkeys to secure pages only, and bind them to a
// host's name.
const (
	PlainHTTP Trouble = "plain-http"
	NoName    Trouble = "no-name" // the URL's host is a number
)

// TroubleWith says why pages at a public URL can have no passkeys.
func TroubleWith(public *url.URL) Trouble {
	host := public.Hostname()
	switch {
	case public.Scheme != "https" && host != "localhost" && !strings.HasSuffix(host, ".localhost"):
		return PlainHTTP
	case protocol.ValidateRPID(host) != nil:
		return NoName
	}
	return ""
}

// Key is a passkey as it is kept.
type Key struct {
	// ID is its id, base64url without padding.
	ID string
	// Record is what this package wants to see again, whenever the key is used.
	Record []byte
	// Suspect: its counter went back, as that of a copy does.
	Suspect bool
}

// User is whose passkeys they are. Handle is base64url without padding.
type User struct {
	Handle, Name string
	Keys         []Key
}

// Door runs ceremonies for one public URL.
type Door struct {
	lib  *webauthn.WebAuthn
	open *pending
}

// New makes the door of a site. name is what browsers call it.
func New(public *url.URL, name string) (*Door, error) {
	lib, err := webauthn.New(&webauthn.Config{
		RPID: public.Hostname(), RPDisplayName: name, RPOrigins: []string{public.Scheme + "://" + public.Host},
		AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			ResidentKey: protocol.ResidentKeyRequirementRequired, UserVerification: protocol.VerificationRequired,
		},
	})
	if err != nil {
		return nil, fmt.Errorf("passkeys: %w", err)
	}
	return &Door{lib: lib, open: newPending()}, nil
}

// NewHandle makes a user handle: 32 random octets, base64url.
func NewHandle() string {
	raw := make([]byte, 32)
	_, _ = rand.Read(raw) // never fails
	return base64.RawURLEncoding.EncodeToString(raw)
}

// BeginRegistration makes what the browser is to be asked for a new passkey, as
// JSON, and the ticket by which its answer is known. holder is who may answer.
func (d *Door) BeginRegistration(holder string, u User, now time.Time) (options []byte, ticket string, err error) {
	who, err := account(u)
	if err != nil {
		return nil, "", err
	}
	known := webauthn.Credentials(who.keys).CredentialDescriptors()
	creation, session, err := d.lib.BeginRegistration(who, webauthn.WithExclusions(known),
		webauthn.WithExtensions(webauthn.WithExtensionCredProps()))
	if err != nil {
		return nil, "", fmt.Errorf("begin a registration: %w", err)
	}
	options, err = json.Marshal(creation.Response)
	return options, d.open.add("register "+holder, *session, now), err
}

// FinishRegistration checks the browser's answer and gives the new key.
func (d *Door) FinishRegistration(holder, ticket string, u User, answer []byte, now time.Time) (Key, error) {
	session, ok := d.open.take("register "+holder, ticket, now)
	if !ok {
		return Key{}, ErrOver
	}
	who, err := account(u)
	if err != nil {
		return Key{}, err
	}
	parsed, err := protocol.ParseCredentialCreationResponseBytes(answer)
	if err != nil {
		return Key{}, bad(err)
	}
	made, err := d.lib.CreateCredential(who, session, parsed)
	if err != nil {
		return Key{}, bad(err)
	}
	return pack(made)
}

// BeginSignIn makes what the browser is to be asked, whoever sits before it.
func (d *Door) BeginSignIn(source string, now time.Time) (options []byte, ticket string, err error) {
	assertion, session, err := d.lib.BeginDiscoverableLogin(webauthn.WithUserVerification(protocol.VerificationRequired))
	if err != nil {
		return nil, "", fmt.Errorf("begin a sign-in: %w", err)
	}
	options, err = json.Marshal(assertion.Response)
	return options, d.open.add("sign-in "+source, *session, now), err
}

// FinishSignIn checks the browser's answer. find gives the user of a handle. The
// answer is whose key signed, and the key as it is to be kept from now on; one
// that is Suspect must open nothing.
func (d *Door) FinishSignIn(source, ticket string, answer []byte, find func(handle string) (User, bool), now time.Time) (User, Key, error) {
	session, ok := d.open.take("sign-in "+source, ticket, now)
	if !ok {
		return User{}, Key{}, ErrOver
	}
	parsed, err := protocol.ParseCredentialRequestResponseBytes(answer)
	if err != nil {
		return User{}, Key{}, bad(err)
	}
	u, ok := find(base64.RawURLEncoding.EncodeToString(parsed.Response.UserHandle))
	if !ok {
		return User{}, Key{}, ErrUnknown
	}
	who, err := account(u)
	if err != nil {
		return User{}, Key{}, err
	}
	id := base64.RawURLEncoding.EncodeToString(parsed.RawID)
	if !who.has(id) {
		return User{}, Key{}, ErrUnknown
	}
	_, used, err := d.lib.ValidatePasskeyLogin(func(_, _ []byte) (webauthn.User, error) { return who, nil }, session, parsed)
	if err != nil {
		return User{}, Key{}, bad(err)
	}
	key, err := pack(used)
	key.Suspect = used.Authenticator.CloneWarning
	return u, key, err
}

// bad keeps what the library says is wrong, for the log.
func bad(err error) error {
	var theirs *protocol.Error
	if errors.As(err, &theirs) {
		return fmt.Errorf("%w: %s: %s", ErrBad, theirs.Details, theirs.DevInfo)
	}
	return fmt.Errorf("%w: %w", ErrBad, err)
}

// pack makes a key of the library's record, without the statement of the maker,
// which nobody asks for.
func pack(c *webauthn.Credential) (Key, error) {
	lean := *c
	lean.Attestation = webauthn.CredentialAttestation{}
	record, err := json.Marshal(&lean)
	if err != nil {
		return Key{}, fmt.Errorf("keep a passkey: %w", err)
	}
	return Key{ID: base64.RawURLEncoding.EncodeToString(c.ID), Record: record}, nil
}

// holder is a User as the library wants to see it.
type holder struct {
	id   []byte
	name string
	keys []webauthn.Credential
}

func account(u User) (*holder, error) {
	id, err := base64.RawURLEncoding.DecodeString(u.Handle)
	if err != nil || len(id) < 16 || len(id) > 64 {
		return nil, fmt.Errorf("the user handle of %q is none", u.Name)
	}
	h := &holder{id: id, name: u.Name}
	for _, k := range u.Keys {
		var c webauthn.Credential
		if err := json.Unmarshal(k.Record, &c); err != nil {
			return nil, fmt.Errorf("passkey %s does not read: %w", k.ID, err)
		}
		h.keys = append(h.keys, c)
	}
	return h, nil
}

func (h *holder) has(id string) bool {
	for i := range h.keys {
		if base64.RawURLEncoding.EncodeToString(h.keys[i].ID) == id {
			return true
		}
	}
	return false
}

// WebAuthnID implements the library's User.
func (h *holder) WebAuthnID() []byte { return h.id }

// WebAuthnName implements the library's User.
func (h *holder) WebAuthnName() string { return h.name }

// WebAuthnDisplayName implements the library's User.
func (h *holder) WebAuthnDisplayName() string { return h.name }

// WebAuthnCredentials implements the library's User.
func (h *holder) WebAuthnCredentials() []webauthn.Credential { return h.keys }
