package ui

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/ui/api"
)

// programsPath is the page for other programs: tokens, and where events are posted to.
const programsPath = "/manager/tokens"

// programsView is that page.
type programsView struct {
	Document htmlText // a link to what programs can ask
	Tokens   []tokenLine
	Scopes   []pick
	Hooks    []hookLine
	Kinds    []pick
	CanPost  bool
	CanTry   bool
	// Tried is what came of a trial, by the webhook's id.
	Tried map[string]string
	// Secret is shown once, after it was made; ForHook: it is a webhook's.
	Secret  string
	ForHook bool
	Problem *problem
	Typed   form
}

// pick is a box to tick.
type pick struct {
	Name, Words string
	On          bool
}

type tokenLine struct {
	ID, Name, Made, Used string
	Scopes               []string
}

type hookLine struct {
	ID, URL, Made, Next string
	Kinds               []string
	Fails               int
	Ended               bool
	Calls               []callLine
}

type callLine struct {
	At, What, Room, Outcome, Status string
	Tries                           int
	Failed                          bool
}

func (s *Server) programsPage(c echo.Context) error {
	if s.manager(c) == nil {
		return s.redirect(c, "/manager")
	}
	return s.showPrograms(c, http.StatusOK, programsView{})
}

// showPrograms completes the page and shows it; nothing may keep a secret in it.
func (s *Server) showPrograms(c echo.Context, status int, v programsView) error {
	l, people := s.lang(c), s.o.House.People()
	tell := teller{now: s.o.House.Now(), zone: s.anyZone(), lang: l}
	v.Document = linkTo(s.base+"/api/v1/openapi.json", l.Say("programs.document"))
	v.CanPost, v.CanTry = s.o.CheckHook != nil, s.o.TryHook != nil
	for _, t := range people.TokensByAge() {
		v.Tokens = append(v.Tokens, tell.token(&t))
	}
	for _, scope := range coordinator.TokenScopes() {
		v.Scopes = append(v.Scopes, pick{"scope-" + string(scope), l.Say("token-scope." + string(scope)), v.Typed["scope-"+string(scope)] != ""})
	}
	for _, hook := range people.WebhooksByAge() {
		v.Hooks = append(v.Hooks, s.hook(tell, &hook, people.HookStates[hook.ID]))
	}
	for _, kind := range coordinator.PublicKinds() {
		v.Kinds = append(v.Kinds, pick{"kind-" + string(kind), happening(l, kind), v.Typed["kind-"+string(kind)] != ""})
	}
	err := s.render(c, status, "programs", v)
	c.Response().Header().Set("Cache-Control", "no-store")
	return err
}

func happening(l *words.Language, kind coordinator.FactKind) string {
	return l.Say("happening." + string(kind))
}

func (t teller) token(k *coordinator.Token) tokenLine {
	line := tokenLine{ID: k.ID, Name: k.Name, Made: t.at(k.Made), Used: t.lang.Say("programs.never")}
	if !k.Used.IsZero() {
		line.Used = t.at(k.Used)
	}
	for _, scope := range k.Scopes {
		line.Scopes = append(line.Scopes, t.lang.Say("token-scope."+string(scope)))
	}
	return line
}

func (s *Server) hook(t teller, h *coordinator.Webhook, st coordinator.HookState) hookLine {
	line := hookLine{ID: h.ID, URL: h.URL, Made: t.at(h.Made), Fails: st.Fails, Ended: st.Ended}
	if st.Fails > 0 {
		line.Next = t.at(st.NextAt)
	}
	for _, kind := range h.Kinds {
		line.Kinds = append(line.Kinds, happening(t.lang, kind))
	}
	for i := range st.Calls {
		c := &st.Calls[i]
		call := callLine{At: t.at(c.At), What: happening(t.lang, c.Kind), Outcome: t.lang.Say("hook-outcome." + string(c.Outcome)), Status: c.Error, Tries: c.Tries}
		call.Room, _ = s.tellOf(t.lang, c.Room)
		if c.Status != 0 {
			call.Status = t.lang.Say("programs.status", "status", c.Status)
		}
		call.Failed = c.Outcome != coordinator.HookTaken
		line.Calls = append(line.Calls, call)
	}
	return line
}

// programForm answers a form of the page: back to it, or the page with a secret
// that was made, or with what is wrong.
func (s *Server) programForm(fields []field, name string, do func(echo.Context, form) (programsView, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		if s.manager(c) == nil {
			return notManager
		}
		f, err := parseForm(c.Request(), fields...)
		var v programsView
		if err == nil {
			v, err = do(c, f)
		}
		status, text, known := refusal(s.lang(c), err)
		switch {
		case err == nil && v.Secret == "":
			return s.redirect(c, programsPath)
		case err == nil:
			return s.showPrograms(c, http.StatusOK, v)
		case !known:
			return err
		}
		return s.showPrograms(c, status, programsView{Problem: &problem{Form: name, Text: text}, Typed: f})
	}
}

// makeToken makes a token, whose secret this one answer shows.
func (s *Server) makeToken() echo.HandlerFunc {
	fields := []field{{"name", "What it is for", 60, false}}
	for _, scope := range coordinator.TokenScopes() {
		fields = append(fields, field{"scope-" + string(scope), "What it is good for", 3, false})
	}
	return s.programForm(fields, "token", func(c echo.Context, f form) (v programsView, err error) {
		if v.Secret, err = api.NewSecret(s.o.Random, api.TokenSecret); err != nil {
			return v, err
		}
		t := coordinator.Token{Name: f["name"], Hash: api.Hash(v.Secret)}
		for _, scope := range coordinator.TokenScopes() {
			if f["scope-"+string(scope)] != "" {
				t.Scopes = append(t.Scopes, scope)
			}
		}
		return v, s.o.House.DoPeople(c.Request().Context(), coordinator.MakeToken{Token: t, By: s.manager(c).ID})
	})
}

func (s *Server) revokeToken() echo.HandlerFunc {
	return s.programForm([]field{{"id", "Token", 64, false}}, "token", func(c echo.Context, f form) (programsView, error) {
		return programsView{}, s.o.House.DoPeople(c.Request().Context(), coordinator.RevokeToken{ID: f["id"], By: s.manager(c).ID})
	})
}

// addHook adds an address, whose secret this one answer shows.
func (s *Server) addHook() echo.HandlerFunc {
	fields := []field{{"url", "Address", 500, false}}
	for _, kind := range coordinator.PublicKinds() {
		fields = append(fields, field{"kind-" + string(kind), "What to post", 3, false})
	}
	return s.programForm(fields, "hook", func(c echo.Context, f form) (programsView, error) {
		if s.o.CheckHook == nil {
			return programsView{}, echo.ErrNotFound
		}
		var kinds []coordinator.FactKind
		for _, kind := range coordinator.PublicKinds() {
			if f["kind-"+string(kind)] != "" {
				kinds = append(kinds, kind)
			}
		}
		hook, err := api.NewWebhook(s.o.Random, f["url"], kinds, s.o.CheckHook)
		if err != nil {
			return programsView{}, err
		}
		return programsView{Secret: hook.Secret, ForHook: true}, s.o.House.DoPeople(c.Request().Context(), coordinator.AddWebhook{Webhook: hook, By: s.manager(c).ID})
	})
}

func (s *Server) removeHook() echo.HandlerFunc {
	return s.programForm([]field{{"id", "Webhook", 64, false}}, "hook", func(c echo.Context, f form) (programsView, error) {
		return programsView{}, s.o.House.DoPeople(c.Request().Context(), coordinator.RemoveWebhook{ID: f["id"], By: s.manager(c).ID})
	})
}

// tryHook posts a trial to a webhook, and says beside it what was answered.
func (s *Server) tryHook(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	f, err := parseForm(c.Request(), field{"id", "Webhook", 64, false})
	if err == nil && !s.limits.act.allow(limitKey(c.RealIP()), time.Now()) {
		err = tooMany
	}
	if err == nil && s.o.TryHook == nil {
		err = echo.ErrNotFound
	}
	var code int
	var why string
	if err == nil {
		code, why, err = s.o.TryHook(c.Request().Context(), f["id"])
	}
	if err == nil {
		return s.showPrograms(c, http.StatusOK, programsView{Tried: map[string]string{f["id"]: trialWords(s.lang(c), code, why)}})
	}
	status, text, known := refusal(s.lang(c), err)
	if !known {
		return err
	}
	return s.showPrograms(c, status, programsView{Problem: &problem{Form: "hook", Text: text}})
}

// trialWords says what came of a trial, and what to do about it.
func trialWords(l *words.Language, status int, why string) string {
	switch {
	case status == 0:
		return l.Say("hook-trial.silent", "why", why)
	case status == http.StatusGone:
		return l.Say("hook-trial.gone")
	case status >= 200 && status < 300:
		return l.Say("hook-trial.taken", "status", status)
	case status >= 300 && status < 400:
		return l.Say("hook-trial.moved", "status", status)
	case status == http.StatusUnauthorized || status == http.StatusForbidden:
		return l.Say("hook-trial.closed", "status", status)
	}
	return l.Say("hook-trial.refused", "status", status)
}
