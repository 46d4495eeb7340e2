// Package pushtest is the other side of Web Push, for tests: phones that
// decrypt, and a push service on TLS. It is written from RFC 8030 (the
// service), 8188 and 8291 (the encryption) and 8292 (the signature) with the
// standard library only, so that it shares nothing with what it checks. No
// program uses it.
package pushtest
