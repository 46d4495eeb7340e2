package config

import (
	"fmt"
	"net"
	"net/mail"
	"os"
	"slices"
	"strconv"
	"strings"
)

// Mail is the house's mail server. Without a Host no letters are sent.
type Mail struct {
	Host string
	Port int
	// Security is MailStartTLS, MailTLS or MailPlain.
	Security string
	// User logs in with Password; empty: without a login.
	User     string
	Password Secret
	// From is the bare address that letters come from.
	From string
	// Managers are addresses that are told what the manager is.
	Managers []string
	// Language is that of the letters to Managers, a BCP 47 tag; empty: English.
	Language string
}

// How the connection to the mail server is kept from being read.
const (
	MailStartTLS = "starttls" // RFC 3207
	MailTLS      = "tls"      // RFC 8314
	MailPlain    = "plain"    // on this very computer only
)

// mailPorts are the usual ones: RFC 6409, RFC 8314 section 7.3, RFC 5321 section 4.5.4.2.
var mailPorts = map[string]int{MailStartTLS: 587, MailTLS: 465, MailPlain: 25}

// mail decodes [mail].
func (b *builder) mail(s *section) {
	if s.node == nil {
		return
	}
	v := &b.file.Mail
	v.Security = MailStartTLS
	s.word("security", (*plainWord)(&v.Security), MailStartTLS, MailTLS, MailPlain)
	s.missing("server", `add server = "smtp.example.org", the mail server that takes letters from your house`)
	s.missing("from", `add from = "laundry@example.org", the address that letters come from`)
	s.mailServer(v)
	s.mailbox("from", &v.From)
	s.mailLogin(v, b.options)
	s.mailManagers(v)
	s.text("language", &v.Language)
	if v.Language != "" && b.options.Languages != nil && !slices.Contains(b.options.Languages, v.Language) {
		s.wrong("language", fmt.Sprintf("there are no letters in %q", v.Language), "use one of "+strings.Join(b.options.Languages, ", "))
	}
	s.close()
}

// mailServer reads "host" or "host:port".
func (s *section) mailServer(v *Mail) {
	var text string
	if !s.text("server", &text) {
		return
	}
	host, port := text, strconv.Itoa(mailPorts[v.Security])
	if h, p, err := net.SplitHostPort(text); err == nil {
		host, port = h, p
	}
	n, err := strconv.Atoi(port)
	switch {
	case err != nil || n < 1 || n > 65535:
		s.wrong("server", fmt.Sprintf("%q is no port", port), `write the name of the server, and a port only where it is not the usual one: "smtp.example.org:587"`)
	case host == "" || strings.ContainsAny(host, " /@[]") || strings.Contains(host, ":") && net.ParseIP(host) == nil:
		s.wrong("server", fmt.Sprintf("%q is no name of a server", host), `write the bare name, such as "smtp.example.org"`)
	case v.Security == MailPlain && !isLoopback(host):
		s.wrong("security", "letters and the password would cross the network to "+host+" in the open", `use "starttls" or "tls"; "plain" is for a mail server on this very computer`)
	default:
		v.Host, v.Port = host, n
		if invented(host) {
			s.warn("server", host+" is an invented name for examples", "write the name of the mail server that takes letters from your house")
		}
	}
}

// mailbox reads one bare e-mail address.
func (s *section) mailbox(key string, into *string) {
	var text string
	if !s.text(key, &text) {
		return
	}
	if !bareAddress(text) {
		s.wrong(key, "this is no bare e-mail address", `write it without a name, such as "laundry@example.org"`)
		return
	}
	*into = text
	if domain := text[strings.LastIndexByte(text, '@')+1:]; invented(domain) {
		s.warn(key, domain+" is an invented name for examples", "write an address that your mail server lets you send from")
	}
}

// bareAddress reports whether text is an address that every mail server passes on.
func bareAddress(text string) bool {
	a, err := mail.ParseAddress(text)
	plain := !strings.ContainsFunc(text, func(r rune) bool { return r > '~' || r <= ' ' })
	return err == nil && a.Name == "" && a.Address == text && plain && !strings.ContainsAny(text, `"[]`)
}

// mailLogin reads user and password: the latter in the file, in one beside it, or in the environment.
func (s *section) mailLogin(v *Mail, o Options) {
	s.text("user", &v.User)
	var variable string
	if s.text("password_env", &variable) {
		switch value, there := o.environment(variable); {
		case s.has("password") || s.has("password_file"):
			s.wrong("password_env", "the secret is given twice", "keep one of password, password_file and password_env")
		case !there || value == "":
			s.wrong("password_env", fmt.Sprintf("the environment has no variable %q with something in it", variable), "set it where the program is started, or name another")
		default:
			v.Password = NewSecret(value)
		}
	}
	if secret := s.secret("password", 1, false); secret.IsSet() {
		v.Password = secret
	}
	given := s.has("password") || s.has("password_file") || s.has("password_env")
	switch {
	case v.User != "" && !given:
		s.wrong("user", "there is no password for it", `add password_file = "secrets/mail", the name of a file that holds it`)
	case v.User == "" && given && !s.has("user"):
		s.wrong("user", "there is a password, but nobody that it is for", `add user = "laundry@example.org", as your mail server wants it`)
	}
}

// environment looks a variable up.
func (o *Options) environment(name string) (string, bool) {
	if o.Environment == nil {
		return os.LookupEnv(name)
	}
	return o.Environment(name)
}

// mailManagers reads the addresses that are told what the manager is.
func (s *section) mailManagers(v *Mail) {
	var texts []string
	s.texts("managers", &texts)
	for _, text := range texts {
		if !bareAddress(text) {
			s.wrong("managers", fmt.Sprintf("%q is no bare e-mail address", text), `list addresses without names, such as ["caretaker@example.org"]`)
			continue
		}
		v.Managers = append(v.Managers, text)
	}
}
