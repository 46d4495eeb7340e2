package mail

import (
	"context"
	"net/url"
	"strings"

	"drumturn/push"
	"drumturn/push/words"
)

// Notices sends notices as letters. It implements push.Sender for addresses.
type Notices struct{ *Server }

var _ push.Sender = Notices{}

// Send puts a notice into a letter and delivers it.
func (n Notices) Send(ctx context.Context, m push.Message) push.Result {
	return n.Deliver(ctx, n.letter(m))
}

// letter words a notice: what it says, the page, why it came, how to end it.
func (n Notices) letter(m push.Message) Letter {
	lang := words.For(m.Lang)
	out := Letter{
		To: strings.TrimPrefix(m.To.Endpoint, "mailto:"), Subject: m.Title, Lang: lang.Code(), Key: m.Key,
	}
	building := line(n.Building)
	// One paragraph, whatever is in it: nothing can pass for our link or our footer.
	parts := []string{line(m.Body), lang.Say("mail.open") + "\n" + n.Link(m.URL)}
	footer := lang.Say("mail.file", "building", building)
	if m.Off != "" {
		out.Off = n.OffLink(m.Off)
		footer = lang.Say("mail.why", "building", building) + "\n" + lang.Say("mail.end") + "\n" + out.Off
	}
	out.Text = text(append(parts, "-- \n"+footer)...)
	return out
}

// OffLink is the page that ends letters to whoever has the secret.
func (s *Server) OffLink(secret string) string {
	return s.Link("/mail/off?of=" + url.QueryEscape(secret))
}

// text puts paragraphs below one another.
func text(parts ...string) string {
	var kept []string
	for _, p := range parts {
		if p = strings.Trim(p, "\n"); p != "" {
			kept = append(kept, p)
		}
	}
	return strings.Join(kept, "\n\n") + "\n"
}

// Router is a push.Sender that gives each message to the sender for its kind of
// address. Either may be nil: what is for it cannot be sent then.
type Router struct{ Phones, Mail push.Sender }

// Send passes a message on.
func (r Router) Send(ctx context.Context, m push.Message) push.Result {
	to := r.Phones
	if strings.HasPrefix(m.To.Endpoint, "mailto:") {
		to = r.Mail
	}
	if to == nil {
		return push.Result{Err: push.ErrUnsendable}
	}
	return to.Send(ctx, m)
}
