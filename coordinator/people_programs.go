package coordinator

import (
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

const (
	// mostTokens and mostWebhooks bound what a building has of them.
	mostTokens   = 50
	mostWebhooks = 20
	// longestURL is that of a webhook, bytes.
	longestURL = 500
	// tokenUsedEvery is how exactly it is kept when a token was last used.
	tokenUsedEvery = time.Hour
	// hookCallsKept is how many deliveries of a webhook are kept.
	hookCallsKept = 30
)

// programs handles the events about other programs; known is false for others.
func (s *peopleStep) programs(ev PeopleEvent) (known bool, err error) {
	switch e := ev.(type) {
	case MakeToken:
		return true, s.makeToken(e)
	case RevokeToken:
		return true, s.revokeToken(e)
	case UseToken:
		s.useToken(e.ID)
		return true, nil
	case AddWebhook:
		return true, s.addWebhook(e)
	case RemoveWebhook:
		return true, s.removeWebhook(e)
	case MoveWebhook:
		s.moveWebhook(e.State)
		return true, nil
	}
	return false, nil
}

func (s *peopleStep) makeToken(e MakeToken) error {
	t := e.Token
	t.Name = strings.TrimSpace(t.Name)
	switch {
	case t.Name == "" || len(t.Name) > longestName || !utf8.ValidString(t.Name):
		return Refuse(Invalid, "token.name", "Give the token a name of up to {most} letters, such as what it is for.", "most", longestName)
	case len(t.Hash) != 64:
		return Refuse(Invalid, "token.hash", "A token needs a secret.")
	case len(t.Scopes) == 0 || !all(t.Scopes, TokenScopes()):
		return Refuse(Invalid, "token.scopes", "Choose what the token is good for.")
	case len(s.next.Tokens) >= mostTokens:
		return Refuse(OverLimit, "token.many", "There are {most} tokens already. Revoke one that is not used.", "most", mostTokens)
	}
	t.ID, t.Made, t.Used = tokenID(t.Hash), s.now, time.Time{}
	s.putToken(t)
	s.act(e.By, FactTokenMade, "", t.Name)
	return nil
}

func (s *peopleStep) putToken(t Token) {
	s.next.Tokens = put(s.next.Tokens, t.ID, t)
	s.out.Put("token", t.ID, t)
}

func (s *peopleStep) revokeToken(e RevokeToken) error {
	t, there := s.next.Tokens[e.ID]
	if !there {
		return Refuse(NotFound, "token.unknown", "There is no such token any more.")
	}
	s.next.Tokens = drop(s.next.Tokens, e.ID)
	s.out.Drop("token", e.ID)
	s.act(e.By, FactTokenRevoked, "", t.Name)
	return nil
}

// useToken is about a token that may have been revoked meanwhile.
func (s *peopleStep) useToken(id string) {
	if t, there := s.next.Tokens[id]; there && s.now.Sub(t.Used) >= tokenUsedEvery {
		t.Used = s.now
		s.putToken(t)
	}
}

func (s *peopleStep) addWebhook(e AddWebhook) error {
	w := e.Webhook
	switch {
	case w.ID == "" || w.Secret == "":
		return Refuse(Invalid, "webhook.secret", "A webhook needs a secret.")
	case w.URL == "" || len(w.URL) > longestURL:
		return Refuse(Invalid, "webhook.url", "Give an address that begins with https:// and has at most {most} letters.", "most", longestURL)
	case !all(w.Kinds, PublicKinds()):
		return Refuse(Invalid, "webhook.kinds", "One of these is no kind of event.")
	case len(s.next.Webhooks) >= mostWebhooks:
		return Refuse(OverLimit, "webhook.many", "There are {most} webhooks already. Remove one first.", "most", mostWebhooks)
	}
	if _, there := s.next.Webhooks[w.ID]; there {
		return Refuse(Conflict, "webhook.twice", "There is a webhook of that id already.")
	}
	w.Made = s.now
	s.next.Webhooks = put(s.next.Webhooks, w.ID, w)
	s.out.Put("webhook", w.ID, w)
	s.actOfProgram(e.By, e.Token, FactHookAdded, w.Host())
	return nil
}

func (s *peopleStep) removeWebhook(e RemoveWebhook) error {
	id := e.ID
	w, there := s.next.Webhooks[id]
	if !there {
		return Refuse(NotFound, "webhook.unknown", "There is no such webhook any more.")
	}
	s.next.Webhooks, s.next.HookStates = drop(s.next.Webhooks, id), drop(s.next.HookStates, id)
	s.out.Drop("webhook", id)
	s.out.Drop("webhook-state", id)
	s.actOfProgram(e.By, e.Token, FactHookRemoved, w.Host())
	return nil
}

// actOfProgram notes what a manager did or, where none did, the program of a token.
func (s *peopleStep) actOfProgram(by PersonID, token string, kind FactKind, note string) {
	if by != "" || token == "" {
		s.act(by, kind, "", note)
		return
	}
	s.fact(Fact{Kind: kind, About: AboutToken(token), Note: note})
}

// moveWebhook is about a webhook that may have been removed meanwhile.
func (s *peopleStep) moveWebhook(st HookState) {
	if _, there := s.next.Webhooks[st.ID]; !there {
		return
	}
	st.Calls = slices.Clone(st.Calls[:min(len(st.Calls), hookCallsKept)])
	s.next.HookStates = put(s.next.HookStates, st.ID, st)
	s.out.Put("webhook-state", st.ID, st)
}

// all reports whether each of some is one of those there are.
func all[T comparable](some, there []T) bool {
	for _, v := range some {
		if !slices.Contains(there, v) {
			return false
		}
	}
	return true
}
