package coordinator

import (
	"crypto/subtle"
	"slices"
	"strings"
	"time"
	"unicode/utf8"
)

// handleManagers dispatches the events about managers; known is false for others.
func (s *peopleStep) handleManagers(ev PeopleEvent) (known bool, err error) {
	switch e := ev.(type) {
	case SetFirstToken:
		err = s.setFirstToken(e)
	case FirstManager:
		err = s.firstManager(e)
	case InviteManager:
		err = s.inviteManager(e)
	case SeeNotices:
		err = s.seeNotices(e)
	case DropManagerInvite:
		err = s.dropManagerInvite(e)
	case TakeManagerInvite:
		err = s.takeManagerInvite(e)
	case RenameManager:
		err = s.renameManager(e)
	case ChangePassphrase:
		err = s.changePassphrase(e)
	case RemoveManager:
		err = s.removeManager(e)
	case SignInManager:
		err = s.signInManager(e)
	case AddPasskey:
		err = s.addPasskey(e)
	case NamePasskey:
		err = s.namePasskey(e)
	case DropPasskey:
		err = s.dropPasskey(e)
	case SuspectPasskey:
		err = s.suspectPasskey(e)
	default:
		return false, nil
	}
	return true, err
}

// manager finds a manager with their way in, or refuses.
func (s *peopleStep) manager(id PersonID) (Person, WayIn, error) {
	person, ok := s.next.Persons[id]
	way, in := s.next.WaysIn[id]
	if !ok || !person.Manager || !in {
		return Person{}, WayIn{}, Refuse(NotAllowed, "manager.unknown", "Only a manager of this building can do that.")
	}
	return person, way, nil
}

func (s *peopleStep) setFirstToken(e SetFirstToken) error {
	if s.next.HasManager() {
		return Refuse(Conflict, "first.done", "The building has a manager already.")
	}
	s.next.FirstToken = e.Hash
	s.putManager()
	return nil
}

// firstManager makes the first manager; the one-time link is used up by it.
func (s *peopleStep) firstManager(e FirstManager) error {
	if s.next.FirstToken == "" || subtle.ConstantTimeCompare([]byte(s.next.FirstToken), []byte(e.TokenHash)) != 1 {
		return Refuse(NotAllowed, "first.token", "This link has been used, or is not the one that was printed at the first start.")
	}
	if e.Name == "" {
		e.Name = "Building manager"
	}
	name, err := s.managerName(e.Name, "")
	if err != nil {
		return err
	}
	s.next.FirstToken = ""
	s.putManager()
	return s.makeManager(Person{ID: e.NewID, Name: name}, e.Passphrase, e.NewKey, e.NewSession)
}

// makeManager makes the person, their way in, and their first session.
func (s *peopleStep) makeManager(who Person, passphrase string, first NewKey, session NewSession) error {
	if passphrase == "" && first.Key.ID == "" {
		return Refuse(Invalid, "manager.no-way", "A manager needs a passphrase or a passkey to sign in with.")
	}
	who.Manager, who.Joined = true, s.now
	s.putPerson(who)
	way := WayIn{Person: who.ID, Passphrase: passphrase}
	way.knowAlso(first.Known, s.now)
	s.putWayIn(way)
	s.openSession(who.ID, session)
	s.fact(Fact{Kind: FactManagerMade, Person: who.ID, About: AboutPerson(who.ID)})
	if first.Key.ID == "" {
		return nil
	}
	return s.addPasskey(AddPasskey{By: who.ID, Handle: first.Handle, Key: first.Key})
}

// managerName is a name that no other manager has.
func (s *peopleStep) managerName(name string, of PersonID) (string, error) {
	name = strings.Join(strings.Fields(name), " ")
	if name == "" || len(name) > longestName || !utf8.ValidString(name) {
		return "", Refuse(Invalid, "manager.name", "A manager needs a name of up to {most} letters.", "most", longestName)
	}
	if other, taken := s.next.ManagerNamed(name); taken && other.ID != of {
		return "", Refuse(Conflict, "manager.name-taken", "Another manager is called that. Managers sign in by their names.")
	}
	return name, nil
}

func (s *peopleStep) inviteManager(e InviteManager) error {
	if _, _, err := s.manager(e.By); err != nil && !(e.Operator && e.By == "") {
		return err
	}
	name, err := s.managerName(e.Name, "")
	if err != nil {
		return err
	}
	if e.Hash == "" || !e.Expires.After(s.now) {
		return Refuse(Invalid, "invite.bad", "A one-time link needs a token and some time to be used in.")
	}
	s.dropInvites(func(v ManagerInvite) bool { return !s.now.Before(v.Expires) || strings.EqualFold(v.Name, name) })
	v := ManagerInvite{Hash: e.Hash, By: e.By, Name: name, Made: s.now, Expires: e.Expires}
	s.next.ManagerInvites = put(s.next.ManagerInvites, v.Hash, v)
	s.out.Put("manager-invite", v.Hash, v)
	s.fact(Fact{Kind: FactManagerInvited, Person: e.By, Note: name})
	return nil
}

// seeNotices notes that notices up to an instant were seen; it never goes back.
func (s *peopleStep) seeNotices(e SeeNotices) error {
	if _, _, err := s.manager(e.By); err != nil {
		return err
	}
	at := e.At
	if at.After(s.now) {
		at = s.now
	}
	if at.After(s.next.NoticesSeen) {
		s.next.NoticesSeen = at
		s.putManager()
		s.fact(Fact{Kind: FactNoticesSeen, Person: e.By})
	}
	return nil
}

// dropInvites takes away the one-time links that stale says.
func (s *peopleStep) dropInvites(stale func(ManagerInvite) bool) {
	s.next.ManagerInvites = dropStale(s, s.next.ManagerInvites, "manager-invite", stale)
}

func (s *peopleStep) dropManagerInvite(e DropManagerInvite) error {
	if _, _, err := s.manager(e.By); err != nil {
		return err
	}
	v, ok := s.next.ManagerInvites[e.Hash]
	if !ok {
		return nil
	}
	s.dropInvites(func(x ManagerInvite) bool { return x.Hash == v.Hash })
	s.fact(Fact{Kind: FactInviteDropped, Person: e.By, Note: v.Name})
	return nil
}

func (s *peopleStep) takeManagerInvite(e TakeManagerInvite) error {
	v, ok := s.next.InviteOf(e.Hash, s.now)
	if !ok {
		return Refuse(NotAllowed, "invite.over", "This one-time link was used, taken back, or has run out. Ask a manager for another.")
	}
	name, err := s.managerName(v.Name, "")
	if err != nil {
		return err
	}
	s.dropInvites(func(x ManagerInvite) bool { return x.Hash == v.Hash })
	return s.makeManager(Person{ID: e.NewID, Name: name}, e.Passphrase, e.NewKey, e.NewSession)
}

func (s *peopleStep) renameManager(e RenameManager) error {
	person, _, err := s.manager(e.By)
	if err != nil {
		return err
	}
	if person.Name, err = s.managerName(e.Name, e.By); err != nil {
		return err
	}
	s.putPerson(person)
	s.fact(Fact{Kind: FactManagerRenamed, Person: e.By, Note: person.Name})
	return nil
}

func (s *peopleStep) changePassphrase(e ChangePassphrase) error {
	_, way, err := s.manager(e.By)
	if err != nil {
		return err
	}
	if e.Passphrase == "" && way.usableKeys() == 0 {
		return Refuse(Conflict, "passphrase.last", "Without a passkey the passphrase is the only way in. Add a passkey first.")
	}
	way.Passphrase = e.Passphrase
	s.putWayIn(way)
	s.leaveOnly(e.By, e.Keep)
	note := "set anew"
	if e.Passphrase == "" {
		note = "removed"
	}
	s.fact(Fact{Kind: FactPassphrase, Person: e.By, Note: note})
	return nil
}

// removeManager takes a manager with everything of theirs away.
func (s *peopleStep) removeManager(e RemoveManager) error {
	if _, _, err := s.manager(e.By); err != nil {
		return err
	}
	gone, _, err := s.manager(e.Person)
	if err != nil {
		return err
	}
	if !s.othersSignIn(gone.ID) {
		return Refuse(Conflict, "manager.last", "The last manager cannot be removed. Invite another one first.")
	}
	s.dropInvites(func(v ManagerInvite) bool { return v.By == gone.ID })
	s.fact(Fact{Kind: FactManagerGone, Person: e.By, About: AboutPerson(gone.ID), Note: gone.Name})
	return s.forget(gone.ID)
}

// othersSignIn reports whether a manager but one can sign in: whose only passkey was
// copied cannot.
func (s *peopleStep) othersSignIn(but PersonID) bool {
	for id, way := range s.next.WaysIn {
		if id != but && (way.Passphrase != "" || way.usableKeys() > 0) {
			return true
		}
	}
	return false
}

func (s *peopleStep) signInManager(e SignInManager) error {
	_, way, err := s.manager(e.Person)
	if err != nil {
		return err
	}
	note := "passphrase"
	if e.Key != "" {
		i := slices.IndexFunc(way.Keys, func(k Passkey) bool { return k.ID == e.Key })
		if i < 0 || way.Keys[i].Suspect {
			return Refuse(NotAllowed, "passkey.unknown", "That passkey opens nothing here: it was removed, or never was added.")
		}
		way.Keys = slices.Clone(way.Keys)
		way.Keys[i].Used, way.Keys[i].Record = s.now, e.Record
		note = "passkey"
	}
	way.knowAlso(e.Known, s.now)
	s.putWayIn(way)
	s.dropSession(e.Old)
	s.openSession(e.Person, e.NewSession)
	s.fact(Fact{Kind: FactSignedIn, Person: e.Person, Note: note})
	return nil
}

// knowAlso notes a browser; the oldest goes when there are many.
func (w *WayIn) knowAlso(hash string, now time.Time) {
	if hash == "" || w.Knows(hash) {
		return
	}
	known := append(slices.Clone(w.Known), KnownBrowser{Hash: hash, Made: now})
	w.Known = known[max(0, len(known)-mostKnown):]
}
