package api

import (
	"crypto/rand"
	"encoding/base64"
	"encoding/json"
	"errors"
	"io"
	"net/http"

	"drumturn/coordinator"
)

// longestBody is that of a request, bytes.
const longestBody = 8 << 10

// Webhook is an address that events are posted to.
type Webhook struct {
	ID    string                 `json:"id"`
	URL   string                 `json:"url"`
	Kinds []coordinator.FactKind `json:"kinds"`
	Made  instant                `json:"made"`
	// Secret signs what is posted; it is told once, when the webhook is made.
	Secret string `json:"secret,omitempty"`
	// Fails counts the failures in a row; Ended: the address said that it is gone.
	Fails int  `json:"fails"`
	Ended bool `json:"ended"`
}

// Webhooks is the list of them.
type Webhooks struct {
	Webhooks []Webhook `json:"webhooks"`
}

// NewSecret is a secret that begins so that whoever finds it knows what it is.
func NewSecret(random io.Reader, begin string) (string, error) {
	if random == nil {
		random = rand.Reader
	}
	b := make([]byte, 32)
	if _, err := io.ReadFull(random, b); err != nil {
		return "", err
	}
	return begin + base64.RawURLEncoding.EncodeToString(b), nil
}

// The beginnings of secrets.
const (
	TokenSecret   = "drumturn_token_"
	WebhookSecret = "drumturn_hook_"
)

func (s *Server) webhooks(*http.Request) (Webhooks, error) {
	people := s.o.House.People()
	out := Webhooks{Webhooks: []Webhook{}}
	for _, hook := range people.WebhooksByAge() {
		out.Webhooks = append(out.Webhooks, webhookOf(&hook, people.HookStates[hook.ID]))
	}
	return out, nil
}

func webhookOf(hook *coordinator.Webhook, st coordinator.HookState) Webhook {
	kinds := hook.Kinds
	if len(kinds) == 0 {
		kinds = coordinator.PublicKinds()
	}
	return Webhook{ID: hook.ID, URL: hook.URL, Kinds: kinds, Made: instant(hook.Made), Fails: st.Fails, Ended: st.Ended}
}

// addWebhook makes one. The answer alone has its secret.
func (s *Server) addWebhook(w http.ResponseWriter, r *http.Request, token *coordinator.Token) error {
	var wish struct {
		URL   string                 `json:"url"`
		Kinds []coordinator.FactKind `json:"kinds"`
	}
	body := json.NewDecoder(http.MaxBytesReader(w, r.Body, longestBody))
	body.DisallowUnknownFields()
	if err := body.Decode(&wish); err != nil {
		return coordinator.Refuse(coordinator.Invalid, "webhook.body", "The body is to be JSON with “url” and, if not all are wanted, “kinds”: {why}.", "why", err)
	}
	if _, err := body.Token(); !errors.Is(err, io.EOF) {
		return coordinator.Refuse(coordinator.Invalid, "webhook.body", "The body is to be JSON with “url” and, if not all are wanted, “kinds”: {why}.", "why", "there is more behind it")
	}
	hook, err := NewWebhook(s.o.Random, wish.URL, wish.Kinds, s.o.CheckURL)
	if err != nil {
		return err
	}
	if err := s.o.House.DoPeople(r.Context(), coordinator.AddWebhook{Webhook: hook, Token: token.ID}); err != nil {
		return err
	}
	out := webhookOf(&hook, coordinator.HookState{})
	out.Secret, out.Made = hook.Secret, instant(s.o.House.Now())
	writeJSON(w, http.StatusCreated, "application/json", out)
	return nil
}

// NewWebhook makes a webhook with its id and secret for an address that passes the check.
func NewWebhook(random io.Reader, address string, kinds []coordinator.FactKind, check func(string) error) (coordinator.Webhook, error) {
	if err := check(address); err != nil {
		return coordinator.Webhook{}, err
	}
	id, err := NewSecret(random, "")
	if err != nil {
		return coordinator.Webhook{}, err
	}
	secret, err := NewSecret(random, WebhookSecret)
	return coordinator.Webhook{ID: id[:12], URL: address, Secret: secret, Kinds: kinds}, err
}

func (s *Server) removeWebhook(w http.ResponseWriter, r *http.Request, token *coordinator.Token) error {
	if err := s.o.House.DoPeople(r.Context(), coordinator.RemoveWebhook{ID: r.PathValue("webhook"), Token: token.ID}); err != nil {
		return err
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
