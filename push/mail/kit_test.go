package mail

import (
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"drumturn/push/mail/mailtest"
)

// office is a mail server with our side of it.
type office struct{ *mailtest.Office }

func openOffice(t testing.TB, implicit bool, with func(*mailtest.Office), names ...string) *office {
	t.Helper()
	return &office{mailtest.Open(t, implicit, with, names...)}
}

// server is our side of the office.
func (o *office) server(security Security, change func(*Settings)) *Server {
	o.Helper()
	s := Settings{
		Host: "127.0.0.1", Port: o.Addr.Port, Security: security, From: "laundry@example.org", Building: "Plover Yard 3",
		PublicURL: "https://laundry.example.org", RootCAs: o.Roots, Timeout: 5 * time.Second,
	}
	if o.User != "" {
		s.User, s.Password = o.User, func() string { return o.Password }
	}
	if change != nil {
		change(&s)
	}
	server, err := New(s)
	if err != nil {
		o.Fatal(err)
	}
	return server
}

func reply(code int, enhanced smtp.EnhancedCode, text string) error {
	return &smtp.SMTPError{Code: code, EnhancedCode: enhanced, Message: text}
}
