package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"drumturn/config"
	"drumturn/push"
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

// addressee is somebody who looks after the building.
type addressee struct{ address, lang string }

// managerAddresses are the addresses of the file, and those that managers have
// confirmed; none without a mail server.
func (a *app) managerAddresses() []addressee {
	if a.mail == nil {
		return nil
	}
	var all []addressee
	for _, address := range a.file.Mail.Managers {
		all = append(all, addressee{address, a.file.Mail.Language})
	}
	for _, p := range a.house.People().Managers() {
		known := func(o addressee) bool { return o.address == p.Mail.Address }
		if p.Mail.Address != "" && !slices.ContainsFunc(all, known) {
			all = append(all, addressee{p.Mail.Address, p.Lang})
		}
	}
	return all
}

// mailManagers sends everybody who looks after the building a letter in their
// language, once for a job and its date: who got it is remembered, so that when it
// is called again only the others get it. It answers false when there is nobody to
// send it to. Whoever can never be sent anything is logged and passed over.
//
// A letter's Key makes it the same letter when it is sent twice, because the
// program was killed before it could remember.
func (a *app) mailManagers(ctx context.Context, job, date string, write func(lang string) (mail.Letter, error)) (bool, error) {
	to := a.managerAddresses()
	var errs []error
	for _, who := range to {
		errs = append(errs, a.mailOnce(ctx, who, job+"/"+hashOf(who.address)[:16], date, write))
	}
	return len(to) > 0, errors.Join(errs...)
}

func (a *app) mailOnce(ctx context.Context, who addressee, job, date string, write func(lang string) (mail.Letter, error)) error {
	done, err := a.store.JobDone(ctx, job, date)
	if err != nil || done {
		return err
	}
	l, err := write(who.lang)
	if err != nil {
		return err
	}
	l.To = who.address
	switch r := a.mail.Deliver(ctx, l); r.Class {
	case push.Taken:
	case push.Never:
		a.log.Warn("a letter to somebody who looks after the building cannot be sent", "job", job, "err", r.Err)
	default:
		return fmt.Errorf("%w: %w", mail.ErrSend, r.Err)
	}
	return a.store.MarkJob(ctx, job, date, a.clock.Now())
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
