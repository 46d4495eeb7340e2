package coordinator

import (
	"slices"
	"strings"
	"unicode/utf8"
)

// addPasskey gives a manager a passkey.
func (s *peopleStep) addPasskey(e AddPasskey) error {
	_, way, err := s.manager(e.By)
	if err != nil {
		return err
	}
	if e.Key.Name, err = passkeyName(e.Key.Name); err != nil {
		return err
	}
	switch {
	case e.Key.ID == "" || len(e.Key.Record) == 0 || e.Handle == "" || (way.Handle != "" && way.Handle != e.Handle):
		return Refuse(Invalid, "passkey.bad", "The browser sent no passkey that can be kept. Please try again.")
	case s.keyKnown(e.Key.ID):
		return Refuse(Conflict, "passkey.twice", "This passkey is known here already.")
	case len(way.Keys) >= mostPasskeys:
		return Refuse(OverLimit, "passkey.many", "A manager can have {most} passkeys. Remove one first.", "most", mostPasskeys)
	}
	e.Key.Made = s.now
	way.Handle = e.Handle
	way.Keys = append(slices.Clone(way.Keys), e.Key)
	s.putWayIn(way)
	s.fact(Fact{Kind: FactPasskeyAdded, Person: e.By, Note: e.Key.Name})
	return nil
}

// keyKnown reports whether any manager has the passkey.
func (s *peopleStep) keyKnown(id string) bool {
	for _, w := range s.next.WaysIn {
		if _, ok := w.Key(id); ok {
			return true
		}
	}
	return false
}

func passkeyName(name string) (string, error) {
	name = strings.Join(strings.Fields(name), " ")
	if name == "" || len(name) > longestName || !utf8.ValidString(name) {
		return "", Refuse(Invalid, "passkey.name", "A passkey needs a name of up to {most} letters, such as what device it is on.", "most", longestName)
	}
	return name, nil
}

// changeKey changes one passkey of a manager.
func (s *peopleStep) changeKey(who PersonID, id string, change func(way *WayIn, i int) error) error {
	_, way, err := s.manager(who)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(way.Keys, func(k Passkey) bool { return k.ID == id })
	if i < 0 {
		return Refuse(NotFound, "passkey.gone", "That passkey is not on the list any more.")
	}
	way.Keys = slices.Clone(way.Keys)
	if err := change(&way, i); err != nil {
		return err
	}
	s.putWayIn(way)
	return nil
}

func (s *peopleStep) namePasskey(e NamePasskey) error {
	name, err := passkeyName(e.Name)
	if err != nil {
		return err
	}
	return s.changeKey(e.By, e.ID, func(way *WayIn, i int) error {
		way.Keys[i].Name = name
		s.fact(Fact{Kind: FactPasskeyNamed, Person: e.By, Note: name})
		return nil
	})
}

func (s *peopleStep) dropPasskey(e DropPasskey) error {
	return s.changeKey(e.By, e.ID, func(way *WayIn, i int) error {
		name := way.Keys[i].Name
		way.Keys = slices.Delete(way.Keys, i, i+1)
		if way.Passphrase == "" && way.usableKeys() == 0 {
			return Refuse(Conflict, "passkey.last", "This is the only way in that is left. Set a passphrase or add another passkey first.")
		}
		if len(way.Keys) == 0 {
			way.Keys = nil
		}
		s.fact(Fact{Kind: FactPasskeyGone, Person: e.By, Note: name})
		return nil
	})
}

func (s *peopleStep) suspectPasskey(e SuspectPasskey) error {
	return s.changeKey(e.Person, e.ID, func(way *WayIn, i int) error {
		way.Keys[i].Suspect = true
		s.fact(Fact{Kind: FactPasskeyCopied, Person: e.Person, Note: way.Keys[i].Name})
		return nil
	})
}
