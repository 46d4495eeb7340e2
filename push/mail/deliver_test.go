package mail

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"

	"drumturn/push"
	"drumturn/push/mail/mailtest"
)

var plainLetter = Letter{To: "anna@example.org", Subject: "A subject", Text: "A text.\n", Lang: "en", Key: "k"}

// TestDelivers: over each kind of connection, with and without a login.
func TestDelivers(t *testing.T) {
	for _, c := range []struct {
		name     string
		implicit bool
		names    []string
		security Security
		user     string
	}{
		{"plain", false, nil, Plain, ""},
		{"plain with a login", false, nil, Plain, "laundry"},
		{"STARTTLS", false, []string{"127.0.0.1"}, StartTLS, ""},
		{"STARTTLS with a login", false, []string{"127.0.0.1"}, StartTLS, "laundry"},
		{"TLS with a login", true, []string{"127.0.0.1"}, TLS, "laundry"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := openOffice(t, c.implicit, func(o *mailtest.Office) { o.User, o.Password = c.user, "secret" }, c.names...)
			s := o.server(c.security, nil)
			if err := s.Probe(t.Context()); err != nil || len(o.All()) != 0 {
				t.Fatalf("the probe: %v, and %d letters", err, len(o.All()))
			}
			if r := s.Deliver(t.Context(), plainLetter); r != (push.Result{Class: push.Taken, Status: 250}) {
				t.Fatalf("%+v", r)
			}
			l := o.Only()
			if l.From != "laundry@example.org" || l.To != "anna@example.org" || l.Login != c.user || l.Safe != (c.security != Plain) {
				t.Errorf("%+v", l)
			}
			if body, _ := io.ReadAll(l.Read(t).Body); !strings.Contains(string(body), "A text.") {
				t.Errorf("%q", body)
			}
		})
	}
}

// TestReplies is the table of replies and what they mean: RFC 5321 sections
// 4.2.1 (4xx may pass, 5xx will not), 3.8 (421 closes), RFC 4954 section 6 (530, 535).
func TestReplies(t *testing.T) {
	at := func(step string, err error) func(*mailtest.Office) {
		return func(o *mailtest.Office) {
			o.User, o.Password = "laundry", "secret"
			*map[string]*error{"from": &o.AtFrom, "rcpt": &o.AtRcpt, "data": &o.AtData}[step] = err
		}
	}
	none := smtp.NoEnhancedCode
	for _, c := range []struct {
		name   string
		office func(*mailtest.Office)
		want   push.Result // without Err
		text   string
	}{
		{"451 at the address", at("rcpt", reply(451, smtp.EnhancedCode{4, 7, 1}, "come again later")), push.Result{Class: push.Again, Status: 451, OnlyThis: true}, "come again later"},
		{"450 at the address", at("rcpt", reply(450, none, "mailbox busy")), push.Result{Class: push.Again, Status: 450, OnlyThis: true}, "mailbox busy"},
		{"452 after the letter", at("data", reply(452, none, "mailbox full")), push.Result{Class: push.Again, Status: 452, OnlyThis: true}, "mailbox full"},
		{"421 at the sender", at("from", reply(421, none, "closing")), push.Result{Class: push.Again, Status: 421}, "closing"},
		{"421 at the address", at("rcpt", reply(421, none, "closing")), push.Result{Class: push.Again, Status: 421}, "closing"},
		{"550 at the address", at("rcpt", reply(550, smtp.EnhancedCode{5, 1, 1}, "no anna@example.org here")), push.Result{Class: push.Never, Status: 550, OnlyThis: true}, "no the address here"},
		{"553 at the address", at("rcpt", reply(553, none, "not so")), push.Result{Class: push.Never, Status: 553, OnlyThis: true}, "not so"},
		{"554 after the letter", at("data", reply(554, none, "looks unwanted")), push.Result{Class: push.Never, Status: 554, OnlyThis: true}, "looks unwanted"},
		{"550, no relay", at("rcpt", reply(550, smtp.EnhancedCode{5, 7, 1}, "Relaying denied")), push.Result{Class: push.Refused, Status: 550}, "Relaying denied"},
		{"530 at the sender", at("from", reply(530, smtp.EnhancedCode{5, 7, 0}, "log in first")), push.Result{Class: push.Refused, Status: 530}, "log in first"},
		{"550 at the sender", at("from", reply(550, none, "you may not send as that")), push.Result{Class: push.Refused, Status: 550}, "may not send"},
		{"breaks off after the letter", func(o *mailtest.Office) { o.Hang = true }, push.Result{Class: push.Again}, "EOF"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := openOffice(t, false, c.office, "127.0.0.1")
			r := o.server(StartTLS, nil).Deliver(t.Context(), plainLetter)
			err := r.Err
			if r.Err = nil; r != c.want || err == nil || !strings.Contains(err.Error(), c.text) {
				t.Errorf("%+v: %v", r, err)
			}
			if strings.Contains(err.Error(), "anna@") || strings.Contains(err.Error(), "secret") {
				t.Errorf("says too much: %v", err)
			}
		})
	}
}

// TestWrongPassword: refused, in words, by the probe too, and never with the password.
func TestWrongPassword(t *testing.T) {
	o := openOffice(t, false, func(o *mailtest.Office) { o.User, o.Password = "laundry", "right" }, "127.0.0.1")
	s := o.server(StartTLS, func(s *Settings) { s.Password = func() string { return "hunter2" } })
	r := s.Deliver(t.Context(), plainLetter)
	if r.Class != push.Refused || r.Status != 535 || r.OnlyThis || !strings.Contains(r.Err.Error(), "refuses the login as laundry") {
		t.Errorf("%+v", r)
	}
	err := s.Probe(t.Context())
	if err == nil || err.Error() != r.Err.Error() {
		t.Errorf("the probe says %v", err)
	}
	if said := fmt.Sprintf("%v %+v %#v %v", err, s, s, r); strings.Contains(said, "hunter2") {
		t.Errorf("the password shows: %s", said)
	}
}

// TestNoSafeConnection: nothing is sent where the connection is not safe.
func TestNoSafeConnection(t *testing.T) {
	for _, c := range []struct {
		name     string
		implicit bool
		names    []string
		security Security
		stranger bool // the certificate is of an authority that is not trusted
		text     string
	}{
		{"no STARTTLS offered", false, nil, StartTLS, false, "offers no STARTTLS"},
		{"certificate of a stranger", false, []string{"127.0.0.1"}, StartTLS, true, "no safe connection"},
		{"certificate for another name", false, []string{"other.example.org"}, StartTLS, false, "no safe connection"},
		{"certificate of a stranger, TLS", true, []string{"127.0.0.1"}, TLS, true, "no safe connection"},
		{"TLS at a port without it", false, nil, TLS, false, "no safe connection"},
	} {
		t.Run(c.name, func(t *testing.T) {
			o := openOffice(t, c.implicit, func(o *mailtest.Office) { o.User, o.Password = "laundry", "secret" }, c.names...)
			s := o.server(c.security, func(s *Settings) {
				if c.stranger {
					s.RootCAs = openOffice(t, false, nil, "127.0.0.1").Roots
				}
			})
			r := s.Deliver(t.Context(), plainLetter)
			if r.Class != push.Refused || r.Err == nil || !strings.Contains(r.Err.Error(), c.text) || len(o.All()) != 0 {
				t.Errorf("%+v", r)
			}
		})
	}
}

// TestNoLoginOffered: a server that knows no login is a wrong set-up.
func TestNoLoginOffered(t *testing.T) {
	o := openOffice(t, false, nil, "127.0.0.1")
	s := o.server(StartTLS, func(s *Settings) { s.User, s.Password = "laundry", func() string { return "secret" } })
	if r := s.Deliver(t.Context(), plainLetter); r.Class != push.Refused || !strings.Contains(r.Err.Error(), "no login") {
		t.Errorf("%+v", r)
	}
}

// script answers a connection with lines, one for each line it gets; "" says
// nothing any more, and at the end it closes.
func script(t *testing.T, lines ...string) *net.TCPAddr {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	over := make(chan struct{})
	t.Cleanup(func() { close(over); _ = ln.Close() })
	go func() {
		for {
			conn, err := ln.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				read := bufio.NewReader(conn)
				for i, line := range lines {
					if i > 0 {
						if _, err := read.ReadString('\n'); err != nil {
							return
						}
					}
					if line == "" {
						<-over
						return
					}
					_, _ = io.WriteString(conn, line+"\r\n")
				}
			}()
		}
	}()
	return ln.Addr().(*net.TCPAddr)
}

// TestBrokenServers: what is no proper conversation is tried again, and ends in time.
func TestBrokenServers(t *testing.T) {
	closed, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	nobody := closed.Addr().(*net.TCPAddr)
	_ = closed.Close()
	stalls := openOffice(t, false, func(o *mailtest.Office) { o.Stall = true }).Addr
	for _, c := range []struct {
		name string
		addr *net.TCPAddr
		want push.Result
	}{
		{"nobody listens", nobody, push.Result{Class: push.Again}},
		{"closes at once", script(t), push.Result{Class: push.Again}},
		{"says nothing", script(t, ""), push.Result{Class: push.Again}},
		{"says nothing after the greeting", script(t, "220 here", ""), push.Result{Class: push.Again}},
		{"closes after the greeting", script(t, "220 here"), push.Result{Class: push.Again}},
		{"says nothing after the letter", stalls, push.Result{Class: push.Again}},
		{"greets with 421", script(t, "421 too many of you"), push.Result{Class: push.Again, Status: 421}},
		{"greets with 554", script(t, "554 not for you"), push.Result{Class: push.Refused, Status: 554}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := New(Settings{Host: "127.0.0.1", Port: c.addr.Port, Security: Plain, From: "laundry@example.org", Timeout: 200 * time.Millisecond})
			if err != nil {
				t.Fatal(err)
			}
			r := s.Deliver(t.Context(), plainLetter)
			failed := r.Err
			if r.Err = nil; r != c.want || failed == nil {
				t.Errorf("%+v: %v", r, failed)
			}
		})
	}
}

// TestStopsWithItsContext: a server that says nothing holds nobody up.
func TestStopsWithItsContext(t *testing.T) {
	o := openOffice(t, false, func(o *mailtest.Office) { o.Stall = true })
	s := o.server(Plain, func(s *Settings) { s.Timeout = time.Hour })
	ctx, cancel := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, cancel)
	if r := s.Deliver(ctx, plainLetter); r.Class != push.Again || !errors.Is(r.Err, context.Canceled) {
		t.Errorf("%+v", r)
	}
}

// TestSettings: what would be unsafe or cannot work is refused before anything is sent.
func TestSettings(t *testing.T) {
	good := Settings{Host: "smtp.example.org", Port: 587, Security: StartTLS, From: "laundry@example.org"}
	for name, change := range map[string]func(*Settings){
		"no host": func(s *Settings) { s.Host = "" }, "no port": func(s *Settings) { s.Port = 0 }, "no sender": func(s *Settings) { s.From = "" },
		"no security": func(s *Settings) { s.Security = "" }, "in the open": func(s *Settings) { s.Security = Plain },
		"no password": func(s *Settings) { s.User = "laundry" },
	} {
		s := good
		change(&s)
		if _, err := New(s); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	for _, host := range []string{"localhost", "127.0.0.1", "::1"} {
		s := good
		s.Host, s.Security = host, Plain
		if _, err := New(s); err != nil {
			t.Error(err)
		}
	}
}
