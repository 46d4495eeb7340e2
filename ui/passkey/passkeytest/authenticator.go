// Package passkeytest is an authenticator in software, made after the data formats
// of W3C Web Authentication, Level 3 (6.1 authenticator data, 6.5.1 attested
// credential data, 8.7 the statement "none", 5.8.1 client data; from memory) and
// of RFC 9052 and 9053 (COSE keys, ES256). It shares nothing with the library
// that it tests.
package passkeytest

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
)

// Authenticator is a device with one passkey.
type Authenticator struct {
	// Origin is what its browser says the page is; Host what the key is bound to.
	Origin, Host string
	// Count is its counter; 0 stays 0, as with keys that are synchronized.
	Count uint32
	// Unverified: it did not check who holds it.
	Unverified bool
	// Framed: the page was in a frame of another site's. Absent: nobody was there.
	Framed, Absent bool
	// Kind is what the client data says was asked for, where it is not what was.
	Kind   string
	Handle []byte
	ID     []byte
	key    *ecdsa.PrivateKey
}

// New makes a device whose browser shows a page at an origin of a host.
func New(origin, host string) *Authenticator {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		panic(err)
	}
	id := make([]byte, 20)
	_, _ = rand.Read(id) // never fails
	return &Authenticator{Origin: origin, Host: host, ID: id, key: key}
}

var b64 = base64.RawURLEncoding

// Challenge reads the challenge, and the user handle if there is one, out of options.
func challenge(options []byte) (challenge string, handle []byte) {
	var o struct {
		Challenge string
		User      struct{ ID string }
	}
	if err := json.Unmarshal(options, &o); err != nil {
		panic(err)
	}
	handle, _ = b64.DecodeString(o.User.ID)
	return o.Challenge, handle
}

func (a *Authenticator) clientData(kind, challenge string) []byte {
	if a.Kind != "" {
		kind = a.Kind
	}
	data, err := json.Marshal(map[string]any{"type": kind, "challenge": challenge, "origin": a.Origin, "crossOrigin": a.Framed})
	if err != nil {
		panic(err)
	}
	return data
}

// The flags of authenticator data.
const (
	userPresent  = 1 << 0
	userVerified = 1 << 2
	attested     = 1 << 6
)

// data is the authenticator data without attested credential data.
func (a *Authenticator) data(flags byte) []byte {
	if a.Unverified {
		flags &^= userVerified
	}
	if a.Absent {
		flags &^= userPresent
	}
	host := sha256.Sum256([]byte(a.Host))
	out := append(host[:], flags)
	return binary.BigEndian.AppendUint32(out, a.Count)
}

// Register answers the options of a registration.
func (a *Authenticator) Register(options []byte) []byte {
	chal, handle := challenge(options)
	a.Handle = handle
	auth := a.data(userPresent | userVerified | attested)
	auth = append(auth, make([]byte, 16)...) // AAGUID: none
	auth = binary.BigEndian.AppendUint16(auth, uint16(len(a.ID)))
	auth = append(append(auth, a.ID...), a.cose()...)

	var object bytes.Buffer
	object.WriteByte(0xa3) // a map of three
	text(&object, "fmt")
	text(&object, "none")
	text(&object, "attStmt")
	object.WriteByte(0xa0) // an empty map
	text(&object, "authData")
	octets(&object, auth)
	return a.answer(map[string]any{
		"clientDataJSON": b64.EncodeToString(a.clientData("webauthn.create", chal)), "attestationObject": b64.EncodeToString(object.Bytes()),
		"transports": []string{"internal"},
	})
}

// SignIn answers the options of a sign-in; the counter goes up first where there is one.
func (a *Authenticator) SignIn(options []byte) []byte {
	chal, _ := challenge(options)
	if a.Count > 0 {
		a.Count++
	}
	auth, client := a.data(userPresent|userVerified), a.clientData("webauthn.get", chal)
	hash := sha256.Sum256(client)
	digest := sha256.Sum256(append(bytes.Clone(auth), hash[:]...))
	signature, err := ecdsa.SignASN1(rand.Reader, a.key, digest[:])
	if err != nil {
		panic(err)
	}
	return a.answer(map[string]any{
		"clientDataJSON": b64.EncodeToString(client), "authenticatorData": b64.EncodeToString(auth),
		"signature": b64.EncodeToString(signature), "userHandle": b64.EncodeToString(a.Handle),
	})
}

func (a *Authenticator) answer(response map[string]any) []byte {
	id := b64.EncodeToString(a.ID)
	data, err := json.Marshal(map[string]any{"id": id, "rawId": id, "type": "public-key", "response": response, "clientExtensionResults": map[string]any{}})
	if err != nil {
		panic(err)
	}
	return data
}

// cose is the public key as a COSE_Key: {1: 2, 3: -7, -1: 1, -2: x, -3: y}.
func (a *Authenticator) cose() []byte {
	point, err := a.key.PublicKey.Bytes() // 4, then x and y
	if err != nil {
		panic(err)
	}
	var out bytes.Buffer
	out.Write([]byte{0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21})
	octets(&out, point[1:33])
	out.WriteByte(0x22)
	octets(&out, point[33:])
	return out.Bytes()
}

// text and octets write strings of CBOR (RFC 8949, 3.1): short ones with their
// length in one octet, octets with it in the first or the two after it.
func text(out *bytes.Buffer, s string) {
	out.WriteByte(0x60 | byte(len(s)))
	out.WriteString(s)
}

func octets(out *bytes.Buffer, b []byte) {
	if len(b) < 256 {
		out.Write([]byte{0x58, byte(len(b))})
	} else {
		out.Write([]byte{0x59, byte(len(b) >> 8), byte(len(b))})
	}
	out.Write(b)
}
