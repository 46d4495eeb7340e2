package coordinator

import (
	"cmp"
	"slices"
	"time"
)

// TokenScope is one thing that the bearer of a token may do.
type TokenScope string

// The scopes.
const (
	ScopeStatus   TokenScope = "status"          // read what rooms and machines do
	ScopeUse      TokenScope = "use"             // read the figures of use
	ScopeEvents   TokenScope = "events"          // be told of events as they happen
	ScopeWebhooks TokenScope = "manage-webhooks" // say where events are posted to
	ScopeMetrics  TokenScope = "metrics"         // read how the program does
)

// TokenScopes lists them.
func TokenScopes() []TokenScope {
	return []TokenScope{ScopeStatus, ScopeUse, ScopeEvents, ScopeWebhooks, ScopeMetrics}
}

// Token lets another program in. The secret itself is stored nowhere.
type Token struct {
	// ID names it on the manager's page; it is the beginning of Hash.
	ID   string
	Name string
	// Hash is the SHA-256, in hex, of the secret.
	Hash   string
	Scopes []TokenScope
	Made   time.Time
	// Used is when it was last used, to the hour; zero: never.
	Used time.Time `json:",omitzero"`
}

// May reports whether the token has the scope.
func (t *Token) May(s TokenScope) bool { return slices.Contains(t.Scopes, s) }

// Webhook is an address that events are posted to.
type Webhook struct {
	ID  string
	URL string
	// Secret signs what is posted.
	Secret string
	// Kinds are the kinds of event that are wanted; none: all.
	Kinds []FactKind `json:",omitempty"`
	Made  time.Time
}

// Wants reports whether events of the kind are posted to it.
func (w *Webhook) Wants(kind FactKind) bool {
	return len(w.Kinds) == 0 || slices.Contains(w.Kinds, kind)
}

// Host is the address without its path, which may be secret.
func (w *Webhook) Host() string { return Subscription{Endpoint: w.URL}.Host() }

// HookState is how far a webhook has come. What it was told of is behind After;
// what comes after it in the history of each room is still to be told, so that
// the history itself is the outbox.
type HookState struct {
	ID string
	// After is the last event of each room that is settled: taken, or given up. A
	// room that is not there begins when the webhook was made.
	After map[RoomID]FactID
	// Fails counts the failures in a row, NextAt is when to try again.
	Fails  int       `json:",omitempty"`
	NextAt time.Time `json:",omitzero"`
	// Ended: the address said that it is gone for good; nothing is posted any more.
	Ended bool `json:",omitempty"`
	// Calls are the last deliveries, newest first.
	Calls []HookCall
}

// HookOutcome is what became of a delivery.
type HookOutcome string

// The outcomes.
const (
	HookTaken   HookOutcome = "taken"
	HookAgain   HookOutcome = "again"    // it is tried again
	HookGivenUp HookOutcome = "given-up" // too old to be of use
	HookEnded   HookOutcome = "ended"    // the address is gone for good
)

// HookCall is one delivery.
type HookCall struct {
	At      time.Time
	Room    RoomID
	Event   FactID
	Kind    FactKind
	Outcome HookOutcome
	// Status is the answer's, 0 for none; Error is why there was none.
	Status int    `json:",omitempty"`
	Error  string `json:",omitempty"`
	Tries  int
}

// The events about other programs.
type (
	// MakeToken lets another program in. Its caller has made Hash and ID.
	// By, here and below, is the manager who did it; empty for another program.
	MakeToken struct {
		Token Token
		By    PersonID
	}
	// RevokeToken ends a token.
	RevokeToken struct {
		ID string
		By PersonID
	}
	// UseToken notes that a token was used.
	UseToken struct{ ID string }
	// AddWebhook adds an address, whose URL the caller has checked.
	AddWebhook struct {
		Webhook Webhook
		By      PersonID
		// Token, here and below, is the id of the token of the program that did it, where no manager did.
		Token string
	}
	// RemoveWebhook ends it; what is unsent is not sent.
	RemoveWebhook struct {
		ID    string
		By    PersonID
		Token string
	}
	// MoveWebhook notes how far it has come.
	MoveWebhook struct{ State HookState }
)

func (MakeToken) peopleEvent()     {}
func (RevokeToken) peopleEvent()   {}
func (UseToken) peopleEvent()      {}
func (AddWebhook) peopleEvent()    {}
func (RemoveWebhook) peopleEvent() {}
func (MoveWebhook) peopleEvent()   {}

// TokenByHash finds the token whose secret has the hash; ok is false when there
// is none.
func (p *People) TokenByHash(hash string) (Token, bool) {
	t, ok := p.Tokens[tokenID(hash)]
	return t, ok && t.Hash == hash
}

// tokenID is the id of the token with a hash.
func tokenID(hash string) string { return hash[:min(len(hash), 16)] }

// TokensByAge lists the tokens, oldest first.
func (p *People) TokensByAge() []Token {
	var out []Token
	for _, t := range p.Tokens {
		out = append(out, t)
	}
	slices.SortFunc(out, func(a, b Token) int { return byAge(a.Made, b.Made, a.ID, b.ID) })
	return out
}

// WebhooksByAge lists the webhooks, oldest first.
func (p *People) WebhooksByAge() []Webhook {
	var out []Webhook
	for _, w := range p.Webhooks {
		out = append(out, w)
	}
	slices.SortFunc(out, func(a, b Webhook) int { return byAge(a.Made, b.Made, a.ID, b.ID) })
	return out
}

func byAge(a, b time.Time, idA, idB string) int {
	return cmp.Or(a.Compare(b), cmp.Compare(idA, idB))
}
