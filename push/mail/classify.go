package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"strings"

	library "github.com/wneessen/go-mail"

	"drumturn/push"
)

// classify says what an error means by the reply codes of RFC 5321 section
// 4.2.1: 4xx may pass, 5xx will not. Whether that is for this address, or for
// all we send, depends on what was under way.
func classify(err error) push.Result {
	if s := sendError(err); s != nil {
		return afterLogin(s)
	}
	if reply, ok := errors.AsType[*textproto.Error](err); ok {
		class := push.Refused
		if reply.Code < 500 {
			class = push.Again
		}
		return push.Result{Class: class, Status: reply.Code}
	}
	if passing(err) {
		return push.Result{Class: push.Again}
	}
	return push.Result{Class: push.Refused} // no safe connection, no login that both know
}

// afterLogin is classify for what happened to the letter itself.
func afterLogin(s *library.SendError) push.Result {
	code := s.ErrorCode()
	r := push.Result{Class: push.Never, Status: code, OnlyThis: true}
	switch {
	case code == 0, code == 421: // the connection broke, or the server closes (section 3.8)
		return push.Result{Class: push.Again, Status: code}
	case code < 500:
		r.Class = push.Again
	case code == 530, code == 535, code == 538, s.Reason == library.ErrSMTPMailFrom, strings.Contains(strings.ToLower(s.Error()), "relay"):
		// RFC 4954 section 6: a login is wanted; or we may not send as we do.
		return push.Result{Class: push.Refused, Status: code}
	}
	return r
}

// sendError finds the library's error about a letter, which may be one of several.
func sendError(err error) *library.SendError {
	s, _ := errors.AsType[*library.SendError](err)
	return s
}

// passing reports whether an error before the login is one of the network.
func passing(err error) bool {
	if untrusted(err) {
		return false
	}
	var network net.Error
	return errors.As(err, &network) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed) ||
		errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}

// untrusted reports whether TLS came to nothing in a way that another try does not mend.
func untrusted(err error) bool {
	var (
		verify *tls.CertificateVerificationError
		record tls.RecordHeaderError
		alert  tls.AlertError
		host   x509.HostnameError
		issuer x509.UnknownAuthorityError
		bad    x509.CertificateInvalidError
	)
	return errors.As(err, &verify) || errors.As(err, &record) || errors.As(err, &alert) || errors.As(err, &host) ||
		errors.As(err, &issuer) || errors.As(err, &bad)
}

// inWords makes an error of the library one that a manager can read. It names
// no address, because rows that residents do not see keep it.
func (s *Server) inWords(err error, to string) error {
	reply, isReply := errors.AsType[*textproto.Error](err)
	letter := sendError(err)
	text := ""
	switch {
	case letter != nil:
		text, _, _ = strings.Cut(letter.Error(), ", affected ")
	case isReply && (reply.Code == 535 || reply.Code == 534 || reply.Code == 538 || reply.Code == 530):
		text = fmt.Sprintf("the mail server refuses the login as %s: %s", s.User, reply.Error())
	case isReply:
		text = "the mail server says: " + reply.Error()
	case untrusted(err):
		text = fmt.Sprintf("no safe connection to the mail server: %v; its certificate must be for the name in server, in date, and from an authority that this computer trusts", err)
	case strings.Contains(err.Error(), "support STARTTLS"):
		text = `the mail server offers no STARTTLS: use security = "tls" if it has a port for that`
	case strings.Contains(err.Error(), "AUTH"):
		text = "the mail server offers no login that this program knows: " + err.Error()
	default:
		text = "no talk with the mail server: " + strings.TrimPrefix(err.Error(), "dial failed: ")
	}
	if to != "" {
		text = strings.ReplaceAll(text, to, "the address")
	}
	return &worded{line(text), err}
}

// worded is an error with other words.
type worded struct {
	text string
	err  error
}

func (w *worded) Error() string { return w.text }
func (w *worded) Unwrap() error { return w.err }
