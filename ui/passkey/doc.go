// Package passkey runs the two ceremonies of WebAuthn (W3C Web Authentication,
// Level 3): registering a passkey and signing in with one. It is the one package
// that imports the WebAuthn library; what it gives out and takes in are octets and
// texts, so that nobody else sees the library's types.
package passkey
