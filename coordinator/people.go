package coordinator

import (
	"cmp"
	"net/url"
	"slices"
	"time"
)

// Person is a resident or manager.
type Person struct {
	ID PersonID
	// Former are the ids of those who became one with this person, sorted: notices,
	// facts and deliveries from before name them still.
	Former []PersonID `json:",omitempty"`
	Home   HomeID     `json:",omitempty"`
	// Name is what the person calls themselves; optional, seen by managers only.
	Name    string `json:",omitempty"`
	Manager bool   `json:",omitempty"`
	// Lang is a BCP 47 tag; empty follows the browser.
	Lang   string `json:",omitempty"`
	Joined time.Time
	// TellForHome: also be told about the loads of the others of the home.
	TellForHome bool `json:",omitempty"`
	// Off are the kinds of notice that the person does not want.
	Off []NoticeKind `json:",omitempty"`
	// Quiet are the hours in which what can wait does.
	Quiet Quiet `json:",omitzero"`
	// MutedUntil is when the person wants to hear of anything again.
	MutedUntil time.Time `json:",omitzero"`
	Mail       Mail      `json:",omitzero"`
	// Blocked: takes no turn until a manager says otherwise.
	Blocked bool `json:",omitempty"`
	// Guest is until when a guest of the home is one; zero for who lives here.
	Guest time.Time `json:",omitzero"`
}

// Wants reports whether the person takes notices of the kind.
func (p *Person) Wants(kind NoticeKind) bool { return !slices.Contains(p.Off, kind) }

// Home is a household.
type Home struct {
	ID   HomeID
	Name string // "12", "2nd floor left": what the residents call it
	// Code is the printed code, where homes are not open.
	Code   string `json:",omitempty"`
	Joined time.Time
	// Also are other names that residents gave it when they joined.
	Also []string `json:",omitempty"`
	// Blocked: nobody of the home takes a turn until a manager says otherwise.
	Blocked bool `json:",omitempty"`
}

// Invitation is the code on a room's wall.
type Invitation struct {
	Room RoomID
	Code string
	Made time.Time
	// Most is how many may join by it; 0: any number. Used is how many did.
	Most int `json:",omitempty"`
	Used int `json:",omitempty"`
	// Expires is when it ends; zero: it does not.
	Expires time.Time `json:",omitzero"`
}

// Holds reports whether somebody can join by it now.
func (v *Invitation) Holds(now time.Time) bool {
	return v.Code != "" && (v.Most == 0 || v.Used < v.Most) && (v.Expires.IsZero() || now.Before(v.Expires))
}

// Subscription is a device's Web Push subscription.
type Subscription struct {
	// ID is derived from the endpoint.
	ID       string
	Person   PersonID
	Endpoint string
	P256dh   string // base64url, no padding: 65 octets
	Auth     string // base64url, no padding: 16 octets
	Made     time.Time
}

// MailHost stands for the house's mail server where push services are named by their hosts.
const MailHost = "e-mail"

// Host is the push service that the device is reached by, MailHost for an address
// that begins with mailto:, and empty when the endpoint is no address.
func (s Subscription) Host() string {
	u, err := url.Parse(s.Endpoint)
	switch {
	case err != nil:
		return ""
	case u.Scheme == "mailto":
		return MailHost
	}
	return u.Host
}

// People is the building's people at one instant. It is immutable: StepPeople
// answers with the next one, which shares what did not change.
type People struct {
	Seq           uint64
	Persons       map[PersonID]Person
	Homes         map[HomeID]Home
	Sessions      map[string]Session // by Hash
	Invitations   map[RoomID]Invitation
	Subscriptions map[string]Subscription // by ID
	MachineCodes  map[Place]MachineCode
	Passes        map[string]Pass // by Hash
	// WaysIn are the managers' ways to sign in; none before the first start is done.
	WaysIn         map[PersonID]WayIn
	ManagerInvites map[string]ManagerInvite // by Hash
	Guests         map[string]GuestInvitation
	// Departures are those who left while rooms have not been told of it.
	Departures map[string]Departure
	// FirstToken is the SHA-256, in hex, of the one-time link's token; empty once used.
	FirstToken string
	// NoticesSeen is until when a manager has seen which notices reached nobody.
	NoticesSeen time.Time
	// Tariffs are the prices of energy, all that were ever set.
	Tariffs Tariffs
	// Tokens and Webhooks, with how far these have come, are for other programs; by ID.
	Tokens     map[string]Token
	Webhooks   map[string]Webhook
	HookStates map[string]HookState
	// old: the store still holds the only passphrase as it did before managers had names.
	old bool
}

// PeopleEvent is something that People is told.
type PeopleEvent interface{ peopleEvent() }

// The events of the building's people. Ids, codes and hashes are made by the
// caller, from a source of randomness.
type (
	// JoinBuilding makes a person (and, in open homes, the home) and a session.
	JoinBuilding struct {
		Room     RoomID
		Code     string // the invitation code as typed
		HomeName string
		HomeCode string // where homes are not open
		Open     bool   // the room's house rules: homes are open
		Name     string
		Lang     string
		NewID    PersonID
		// NewHomeCode is the code printed for the home if it is made now.
		NewHomeCode string
		// SessionHash is empty for no session.
		SessionHash string
		Expires     time.Time
		// Inside: somebody in the room, or the manager, vouches for the person; the
		// code on the wall is not asked for, nor counted.
		Inside bool
	}
	// Subscribe adds or renews a device. Old, where it is not empty, is the id of
	// a subscription of the same person that this one replaces.
	Subscribe struct {
		Subscription Subscription
		Old          string
	}
	// Unsubscribe removes a device: of Person by its endpoint's id, or by push when it is gone (Person empty).
	Unsubscribe struct {
		Person PersonID
		ID     string
	}
	// SetLanguage sets a person's language.
	SetLanguage struct {
		Person PersonID
		Lang   string
	}
	// SetChoices sets what a person is told of, and when.
	SetChoices struct {
		Person      PersonID
		Off         []NoticeKind
		Quiet       Quiet
		TellForHome bool
	}
	// Mute keeps a person from being told of anything until an instant; zero ends it.
	Mute struct {
		Person PersonID
		Until  time.Time
	}
	// SetInvitation sets a room's code (first start, rotation).
	SetInvitation struct {
		By      PersonID // empty: the program itself
		Room    RoomID
		Code    string
		Most    int
		Expires time.Time
	}
	// SetTariff adds a price of energy; the building file seeds the first.
	SetTariff struct {
		Tariff Tariff
		By     PersonID // empty: the program itself
	}
	// Forget removes a person with sessions and devices; a home that nobody is left
	// in stays. By is the manager who does it; empty: the person. Erase: the person
	// is to be taken out of the history as well.
	Forget struct {
		Person PersonID
		By     PersonID
		Erase  bool
	}
)

func (JoinBuilding) peopleEvent()  {}
func (Subscribe) peopleEvent()     {}
func (Unsubscribe) peopleEvent()   {}
func (SetLanguage) peopleEvent()   {}
func (SetChoices) peopleEvent()    {}
func (Mute) peopleEvent()          {}
func (SetInvitation) peopleEvent() {}
func (SetTariff) peopleEvent()     {}
func (Forget) peopleEvent()        {}

// Devices lists a person's subscriptions, the oldest first.
func (p *People) Devices(id PersonID) []Subscription {
	var out []Subscription
	for _, s := range p.Subscriptions {
		if s.Person == id {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Subscription) int { return cmp.Or(a.Made.Compare(b.Made), cmp.Compare(a.ID, b.ID)) })
	return out
}

// HomeName is what a home is called, when it is known.
func (p *People) HomeName(id HomeID) (string, bool) {
	h, ok := p.Homes[id]
	return h.Name, ok && h.Name != ""
}
