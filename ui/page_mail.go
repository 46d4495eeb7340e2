package ui

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
)

const (
	// mailAskedFor is how long an address may wait to be confirmed.
	mailAskedFor = time.Hour
	// mailPassFor is how long a one-time code holds that comes by letter: mail
	// servers that do not know each other yet take a quarter of an hour.
	mailPassFor = 30 * time.Minute
	// mailPasses is the most people who get a code by one address.
	mailPasses = 4
)

// Letters sends letters in the background; false: too many are under way.
type Letters interface {
	// Confirm asks the owner of an address whether it may be used.
	Confirm(to, lang, link, code string, holds time.Duration) bool
	// Return brings a one-time code to somebody of a home who lost their phone.
	Return(to, lang, home, link, code string, holds time.Duration) bool
}

// noLetters is the refusal of a building without a mail server.
var noLetters = coordinator.Refuse(coordinator.Conflict, "no-mail", "This building sends no e-mail.")

// mailHash is what is stored of the code that confirms an address.
func mailHash(code string) string {
	sum := sha256.Sum256([]byte("mail " + coordinator.PlainCode(code)))
	return hex.EncodeToString(sum[:])
}

// mailView is what a person's page says of their address; nil: no letters are sent.
type mailView struct {
	Address, Asked string
	Also           bool
}

func (s *Server) viewMail(who *coordinator.Person) *mailView {
	if s.o.Letters == nil && who.Mail.Address == "" {
		return nil
	}
	v := &mailView{Address: who.Mail.Address, Also: who.Mail.Also}
	if asked := who.Mail.Asked; s.o.House.Now().Before(asked.Expires) {
		v.Asked = asked.Address
	}
	return v
}

// askMail notes an address and sends the letter that asks its owner.
func (s *Server) askMail(p party) echo.HandlerFunc {
	return s.choicesForm(p, func(c echo.Context, who *coordinator.Person) error {
		f, err := parseForm(c.Request(), field{"address", "E-mail address", 254, false})
		if err != nil {
			return err
		}
		address, err := coordinator.MailAddress(f["address"])
		switch {
		case err != nil:
			return err
		case s.o.Letters == nil:
			return noLetters
		case !s.mayMail(address) || !s.limits.mailAsk.allow(string(who.ID), time.Now()):
			return tooMany
		}
		code, err := s.newCode(invitationLetters)
		if err != nil {
			return err
		}
		ev := coordinator.AskMail{Person: who.ID, Address: address, Hash: mailHash(code), Expires: s.o.House.Now().Add(mailAskedFor)}
		if err := s.o.House.DoPeople(c.Request().Context(), ev); err != nil {
			return err
		}
		link := s.origin + s.base + "/mail/confirm?code=" + url.QueryEscape(code)
		if !s.o.Letters.Confirm(address, s.letterLanguage(c, who), link, code, mailAskedFor) {
			return tooMany
		}
		return nil
	})
}

// letterLanguage is the person's choice, or what their browser asks for.
func (s *Server) letterLanguage(c echo.Context, who *coordinator.Person) string {
	if who.Lang != "" {
		return who.Lang
	}
	return s.lang(c).Code()
}

// mayMail takes one letter from an address's allowance, and from the house's: a
// house must not be a tool to fill a stranger's letterbox.
func (s *Server) mayMail(address string) bool {
	now := time.Now()
	return s.limits.mailTo.allow(strings.ToLower(address), now) && s.limits.mailAll.allow("", now)
}

// mailUse sets whether letters come besides the phones' notices.
func (s *Server) mailUse(p party) echo.HandlerFunc {
	return s.choicesForm(p, func(c echo.Context, who *coordinator.Person) error {
		f, err := parseForm(c.Request(), field{"also", "When", 3, false})
		if err != nil {
			return err
		}
		return s.o.House.DoPeople(c.Request().Context(), coordinator.SetMailUse{Person: who.ID, Also: f["also"] == "yes"})
	})
}

// endMail forgets the person's address.
func (s *Server) endMail(p party) echo.HandlerFunc {
	return s.choicesForm(p, func(c echo.Context, who *coordinator.Person) error {
		if _, err := parseForm(c.Request()); err != nil {
			return err
		}
		return s.o.House.DoPeople(c.Request().Context(), coordinator.EndMail{Person: who.ID})
	})
}

// letterView is the page that a link in a letter opens.
type letterView struct {
	// Kind is "confirm" or "off".
	Kind, Code, Address string
	Problem             string
	Done                bool
}

// confirmPage asks for the click that confirms: programs that look into letters
// open every link, but press no button.
func (s *Server) confirmPage(c echo.Context) error {
	v := letterView{Kind: "confirm", Code: c.QueryParam("code")}
	if len(v.Code) > 64 {
		v.Code = ""
	}
	if p, ok := s.o.House.People().MailAskedBy(mailHash(v.Code), s.o.House.Now()); ok {
		v.Address = p.Mail.Asked.Address
	}
	return s.renderLetter(c, http.StatusOK, v)
}

// confirmMail takes the address into use.
func (s *Server) confirmMail(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"code", "Code", 64, false})
	if err == nil && !s.limits.join.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	v := letterView{Kind: "confirm", Code: f["code"]}
	if err == nil {
		asked, _ := s.o.House.People().MailAskedBy(mailHash(v.Code), s.o.House.Now())
		v.Address = asked.Mail.Asked.Address
		err = s.takeMail(c.Request().Context(), v.Code)
	}
	if err != nil {
		return s.letterProblem(c, v, err)
	}
	v.Done = true
	return s.renderLetter(c, http.StatusOK, v)
}

func (s *Server) takeMail(ctx context.Context, code string) error {
	secret, _, err := s.newSecret()
	if err != nil {
		return err
	}
	return s.o.House.DoPeople(ctx, coordinator.ConfirmMail{Hash: mailHash(code), Off: secret})
}

// offPage asks for the click that ends letters.
func (s *Server) offPage(c echo.Context) error {
	v := letterView{Kind: "off", Code: c.QueryParam("of")}
	if p, ok := s.o.House.People().MailOff(v.Code); ok {
		v.Address = p.Mail.Address
	}
	v.Done = v.Address == ""
	return s.renderLetter(c, http.StatusOK, v)
}

// offMail ends letters to whoever has the link: by the page's button, or by a
// mail program's one click, which sends List-Unsubscribe=One-Click and no cookie
// (RFC 8058 section 3.2). The secret stands in the address in both.
func (s *Server) offMail(c echo.Context) error {
	if !s.limits.join.allow(limitKey(c.RealIP()), time.Now()) {
		return tooMany
	}
	if err := s.o.House.DoPeople(c.Request().Context(), coordinator.EndMail{Off: c.QueryParam("of")}); err != nil {
		return err
	}
	return s.renderLetter(c, http.StatusOK, letterView{Kind: "off", Done: true})
}

func (s *Server) letterProblem(c echo.Context, v letterView, err error) error {
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	v.Problem = text
	return s.renderLetter(c, status, v)
}

// renderLetter writes the page; nothing between here and the browser may keep it.
func (s *Server) renderLetter(c echo.Context, status int, v letterView) error {
	err := s.render(c, status, "mail", v)
	c.Response().Header().Set("Cache-Control", "no-store")
	return err
}

// mailCode sends one-time codes to whoever has confirmed the address that is
// typed. The answer is the same whether that is anybody: it is worked out behind it.
func (s *Server) mailCode(c echo.Context) error {
	f, err := parseForm(c.Request(), field{"address", "E-mail address", 254, false})
	address := ""
	if err == nil {
		address, err = coordinator.MailAddress(f["address"])
	}
	switch {
	case err != nil:
	case s.o.Letters == nil:
		err = noLetters
	case !s.limits.join.allow(limitKey(c.RealIP()), time.Now()), !s.mayMail(address):
		err = tooMany
	}
	if err != nil {
		status, text, known := refusal(s.lang(c), err)
		if !known {
			return err
		}
		return s.showCode(c, status, codeView{MailProblem: text})
	}
	go s.sendPasses(context.WithoutCancel(c.Request().Context()), address)
	return s.showCode(c, http.StatusOK, codeView{Sent: address})
}

// sendPasses makes a code for each resident with that address, and posts them.
func (s *Server) sendPasses(ctx context.Context, address string) {
	ctx, cancel := context.WithTimeout(ctx, writeTimeout)
	defer cancel()
	people := s.o.House.People()
	sent := 0
	for _, p := range people.ByMail(address) {
		if p.Manager || sent >= mailPasses {
			continue // a manager's way in is the passphrase
		}
		sent++
		code, err := s.newCode(invitationLetters)
		if err == nil {
			ev := coordinator.OfferPass{Person: p.ID, Hash: passHash(code), Expires: s.o.House.Now().Add(mailPassFor)}
			err = s.o.House.DoPeople(ctx, ev)
		}
		if err != nil {
			s.o.Log.Warn("no code by letter", "err", err)
			return
		}
		link := s.origin + s.base + "/code?code=" + url.QueryEscape(code)
		if !s.o.Letters.Return(p.Mail.Address, p.Lang, people.Homes[p.Home].Name, link, code, mailPassFor) {
			s.o.Log.Warn("no code by letter: too many letters are under way")
		}
	}
}
