package coordinator

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// WayIn is how a manager signs in: by a passphrase, by passkeys, or by both.
// It is apart from the Person, who may be shown to others.
type WayIn struct {
	Person PersonID
	// Passphrase is an argon2id hash in PHC form; empty for none.
	Passphrase string `json:",omitempty"`
	// Handle is the user handle of WebAuthn: random octets, base64url without padding.
	Handle string    `json:",omitempty"`
	Keys   []Passkey `json:",omitempty"`
	// Known are browsers that the manager signed in on: guesses made elsewhere do
	// not keep these out.
	Known []KnownBrowser `json:",omitempty"`
}

// Passkey is a WebAuthn credential of a manager.
type Passkey struct {
	// ID is the credential's id, base64url without padding.
	ID string
	// Name is what the manager calls it.
	Name string
	Made time.Time
	// Used is when it last opened a session; zero for never.
	Used time.Time `json:",omitzero"`
	// Record is what the WebAuthn library keeps of it; the core does not look inside.
	Record []byte
	// Suspect: its counter went back, as that of a copy does. It opens nothing any more.
	Suspect bool `json:",omitempty"`
}

// KnownBrowser is the SHA-256, in hex, of a cookie that outlives sessions.
type KnownBrowser struct {
	Hash string
	Made time.Time
}

// ManagerInvite is a one-time link by which somebody becomes a manager. Its key
// is the SHA-256 of the link's token, in hex.
type ManagerInvite struct {
	Hash    string
	By      PersonID
	Name    string // what the new manager is to be called
	Made    time.Time
	Expires time.Time
}

// How many of these a manager may have, and the shortest time that is noted
// between two visits.
const (
	mostPasskeys = 12
	mostKnown    = 10
	seenEvery    = 10 * time.Minute
)

// NewKey is the passkey that somebody becomes a manager with; one without an id is none.
type NewKey struct {
	Handle string // what the passkey knows the manager by
	Key    Passkey
	Known  string // hash of the browser's cookie that outlives the session
}

// The events about managers. By is the manager who does it.
type (
	// SetFirstToken offers the one-time link of the first start; refused once there is a manager.
	SetFirstToken struct{ Hash string }
	// FirstManager makes the first manager by the one-time link, with a passphrase,
	// a passkey, or both.
	FirstManager struct {
		TokenHash  string
		Name       string // empty: "Building manager"
		Passphrase string // argon2id hash in PHC form; empty for none
		NewKey
		NewID PersonID
		NewSession
	}
	// InviteManager offers a one-time link.
	InviteManager struct {
		By PersonID // empty with Operator: whoever runs the program on its computer
		// Operator is the way back when no manager can sign in any more.
		Operator bool
		Hash     string
		Name     string
		Expires  time.Time
	}
	// SeeNotices says that a manager has seen which notices reached nobody, up to an instant.
	SeeNotices struct {
		By PersonID
		At time.Time
	}
	// DropManagerInvite takes an offered link back.
	DropManagerInvite struct {
		By   PersonID
		Hash string
	}
	// TakeManagerInvite makes a manager by such a link, which is used up.
	TakeManagerInvite struct {
		Hash       string
		Passphrase string // empty for none
		NewKey
		NewID PersonID
		NewSession
	}
	// RenameManager says what a manager is called, and signs in as.
	RenameManager struct {
		By   PersonID
		Name string
	}
	// ChangePassphrase gives a manager another passphrase; an empty one takes it
	// away, where a passkey is left. Every other browser of theirs is signed out.
	ChangePassphrase struct {
		By         PersonID
		Passphrase string
		Keep       string // hash of the session that stays
	}
	// RemoveManager takes a manager away, but not the last.
	RemoveManager struct{ By, Person PersonID }
	// SignInManager opens a session. The caller has checked the passphrase, or
	// the signature of the passkey that Key names.
	SignInManager struct {
		Person PersonID
		Key    string
		Record []byte // what is to be kept of the passkey from now on
		Known  string // hash of the browser's cookie that outlives the session
		Old    string // hash of the session that the browser had before; it ends
		NewSession
	}
	// AddPasskey gives a manager a passkey. Handle is what the passkey knows the manager by.
	AddPasskey struct {
		By     PersonID
		Handle string
		Key    Passkey
	}
	// NamePasskey calls it something else.
	NamePasskey struct {
		By       PersonID
		ID, Name string
	}
	// DropPasskey takes it away, but not the last way in.
	DropPasskey struct {
		By PersonID
		ID string
	}
	// SuspectPasskey notes that a passkey may have been copied.
	SuspectPasskey struct {
		Person PersonID
		ID     string
	}
)

func (SetFirstToken) peopleEvent()     {}
func (SeeNotices) peopleEvent()        {}
func (FirstManager) peopleEvent()      {}
func (InviteManager) peopleEvent()     {}
func (DropManagerInvite) peopleEvent() {}
func (TakeManagerInvite) peopleEvent() {}
func (RenameManager) peopleEvent()     {}
func (ChangePassphrase) peopleEvent()  {}
func (RemoveManager) peopleEvent()     {}
func (SignInManager) peopleEvent()     {}
func (AddPasskey) peopleEvent()        {}
func (NamePasskey) peopleEvent()       {}
func (DropPasskey) peopleEvent()       {}
func (SuspectPasskey) peopleEvent()    {}

// HasManager reports whether anybody can sign in as a manager.
func (p *People) HasManager() bool { return len(p.WaysIn) > 0 }

// Managers lists the managers, the longest first.
func (p *People) Managers() []Person {
	var out []Person
	for _, person := range p.Persons {
		if person.Manager {
			out = append(out, person)
		}
	}
	slices.SortFunc(out, func(a, b Person) int {
		return cmp.Or(a.Joined.Compare(b.Joined), cmp.Compare(a.ID, b.ID))
	})
	return out
}

// ManagerNamed finds a manager by name, whatever its case; ok is false when there is none.
func (p *People) ManagerNamed(name string) (Person, bool) {
	for _, m := range p.Managers() {
		if strings.EqualFold(m.Name, strings.TrimSpace(name)) {
			return m, true
		}
	}
	return Person{}, false
}

// ByHandle finds the manager whose passkeys carry a user handle; ok is false when there is none.
func (p *People) ByHandle(handle string) (WayIn, bool) {
	for _, w := range p.WaysIn {
		if handle != "" && w.Handle == handle {
			return w, true
		}
	}
	return WayIn{}, false
}

// Key finds a passkey by its id; ok is false when the manager has none of it.
func (w *WayIn) Key(id string) (Passkey, bool) {
	for _, k := range w.Keys {
		if k.ID == id {
			return k, true
		}
	}
	return Passkey{}, false
}

// Knows reports whether a browser's lasting cookie is one of the manager's.
func (w *WayIn) Knows(hash string) bool {
	return hash != "" && slices.ContainsFunc(w.Known, func(k KnownBrowser) bool { return k.Hash == hash })
}

// OnlyKeys counts the passkeys that are all that lets the manager in; 0 where
// there is a passphrase as well.
func (w *WayIn) OnlyKeys() int {
	if w.Passphrase != "" {
		return 0
	}
	return w.usableKeys()
}

// HasKey reports whether the manager has a passkey that opens something.
func (w *WayIn) HasKey() bool { return w.usableKeys() > 0 }

// usableKeys counts the passkeys that open something.
func (w *WayIn) usableKeys() int {
	n := 0
	for _, k := range w.Keys {
		if !k.Suspect {
			n++
		}
	}
	return n
}

// InviteOf finds a one-time link that holds now; ok is false when there is none.
func (p *People) InviteOf(hash string, now time.Time) (ManagerInvite, bool) {
	v, ok := p.ManagerInvites[hash]
	return v, ok && now.Before(v.Expires)
}
