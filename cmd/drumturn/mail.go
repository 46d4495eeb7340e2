package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"drumturn/config"
	"drumturn/push/mail"
	"drumturn/push/words"
)

// wireMail makes the way to the house's mail server, where there is one.
func (a *app) wireMail() error {
	if a.file.Mail.Host == "" {
		return nil
	}
	settings := mailSettings(a.file)
	settings.RootCAs = a.mailRoots
	var err error
	if a.mail, err = mail.New(settings); err != nil {
		return err
	}
	a.post = mail.NewPost(a.mail, a.log)
	return nil
}

// mailSettings are what the file says of the mail server.
func mailSettings(file *config.File) mail.Settings {
	m := &file.Mail
	return mail.Settings{
		Host: m.Host, Port: m.Port, Security: mail.Security(m.Security), User: m.User, Password: m.Password.Reveal,
		From: m.From, Building: file.Building.Name, PublicURL: file.Server.PublicURL,
	}
}

// languageCodes are the languages that letters exist in.
func languageCodes() []string {
	var out []string
	for _, l := range words.All() {
		out = append(out, l.Code())
	}
	return out
}

// errNoLetters says why nothing was sent.
var errNoLetters = errors.New("no e-mail can be sent: there is no [mail] in the building file, or nobody who looks after the building has an address")

// mailManagers sends a letter to everybody who looks after the building: the
// addresses of the file, and those that managers have confirmed. Its To is of no account.
func (a *app) mailManagers(ctx context.Context, l mail.Letter) error {
	if a.mail == nil {
		return errNoLetters
	}
	to := slices.Clone(a.file.Mail.Managers)
	for _, p := range a.house.People().Managers() {
		if p.Mail.Address != "" && !slices.Contains(to, p.Mail.Address) {
			to = append(to, p.Mail.Address)
		}
	}
	if len(to) == 0 {
		return errNoLetters
	}
	return a.mail.SendAll(ctx, to, l)
}

// letters says whether the mail server takes letters; offline, that it was not tried.
func (c *checkCommand) letters(ctx context.Context, s streams, file *config.File) {
	fmt.Fprintln(s.out, "\nE-mail:")
	m := &file.Mail
	if m.Host == "" {
		fmt.Fprintln(s.out, "  ok   mail server: none is set, so nobody is told by e-mail.")
		return
	}
	where := fmt.Sprintf("%s, port %d", m.Host, m.Port)
	if c.Offline {
		fmt.Fprintf(s.out, "  ok   mail server: %s; it was not tried (--offline).\n", where)
		return
	}
	server, err := mail.New(mailSettings(file))
	if err == nil {
		ctx, cancel := context.WithTimeout(ctx, 30*time.Second)
		defer cancel()
		err = server.Probe(ctx)
	}
	if err != nil {
		fmt.Fprintf(s.out, "  bad  mail server: %s: %v.\n       Look at [mail] in the building file.\n", where, err)
		return
	}
	login := "It wants no login."
	if m.User != "" {
		login = "It takes the login as " + m.User + "."
	}
	fmt.Fprintf(s.out, "  ok   mail server: %s can be reached. %s\n", where, login)
	if len(m.Managers) == 0 {
		fmt.Fprintln(s.out, "  warn managers: none is named, so the manager is told by e-mail only once they give an address on their page.")
	}
}

// letters gives the pages the post.
type letters struct {
	server *mail.Server
	post   *mail.Post
}

// Confirm implements ui.Letters.
func (l letters) Confirm(to, lang, link, code string, holds time.Duration) bool {
	return l.post.Send(l.server.Confirm(to, lang, link, code, holds), holds)
}

// Return implements ui.Letters.
func (l letters) Return(to, lang, home, link, code string, holds time.Duration) bool {
	return l.post.Send(l.server.Return(to, lang, home, link, code, holds), holds)
}
