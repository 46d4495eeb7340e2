package coordinator

import (
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func (w *town) session(hash string) NewSession {
	return NewSession{SessionHash: hash, Expires: w.now.Add(30 * 24 * time.Hour), Idle: 14 * 24 * time.Hour, Device: "firefox linux", Where: "192.0.2.7"}
}

// managed is a building with the manager "boss".
func managed(t *testing.T) *town {
	w := newTown(t)
	w.do(SetFirstToken{Hash: "t1"})
	w.do(FirstManager{TokenHash: "t1", Name: "Ada", Passphrase: "$argon2id$", NewID: "boss", NewSession: w.session("m1")})
	return w
}

// second adds the manager "ben".
func (w *town) second() *town {
	w.do(InviteManager{By: "boss", Hash: "i1", Name: "Ben", Expires: w.now.Add(time.Hour)})
	w.do(TakeManagerInvite{Hash: "i1", Passphrase: "$argon2id$b", NewID: "ben", NewSession: w.session("b1")})
	return w
}

func (w *town) in(hash string) bool {
	_, ok := w.people.SessionPerson(hash, w.now)
	return ok
}

func TestFirstManager(t *testing.T) {
	w := newTown(t)
	w.refused(SignInManager{Person: "boss", NewSession: w.session("m")}, "manager.unknown")
	w.refused(FirstManager{TokenHash: "", Passphrase: "x"}, "first.token")
	w.do(SetFirstToken{Hash: "t1"})
	w.refused(FirstManager{TokenHash: "t2", Passphrase: "x"}, "first.token")
	w.refused(FirstManager{TokenHash: "t1", NewID: "boss", NewSession: w.session("m1")}, "manager.no-way")
	first := FirstManager{TokenHash: "t1", Passphrase: "$argon2id$", NewID: "boss", NewSession: w.session("m1")}
	w.do(first)
	w.refused(first, "first.token")
	w.refused(SetFirstToken{Hash: "t3"}, "first.done")
	w.do(SignInManager{Person: "boss", Old: "m1", NewSession: w.session("m2")})
	person, ok := w.people.SessionPerson("m2", w.now)
	if !ok || !person.Manager || person.ID != "boss" || person.Name != "Building manager" {
		t.Fatalf("the session leads to %+v", person)
	}
	if w.in("m1") {
		t.Fatal("the browser's old session outlives signing in again")
	}
	w.reload()
}

// TestInviteManager: a link makes one manager, once, in its time.
func TestInviteManager(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	w.refused(InviteManager{By: "anna", Hash: "i", Name: "Ben", Expires: w.now.Add(time.Hour)}, "manager.unknown")
	w.refused(InviteManager{By: "boss", Hash: "i", Name: " ada ", Expires: w.now.Add(time.Hour)}, "manager.name-taken")
	w.refused(InviteManager{By: "boss", Hash: "i", Name: "", Expires: w.now.Add(time.Hour)}, "manager.name")
	w.refused(InviteManager{By: "boss", Hash: "i", Name: "Ben", Expires: w.now}, "invite.bad")
	w.second()
	w.refused(TakeManagerInvite{Hash: "i1", NewID: "eve"}, "invite.over")
	if !w.in("b1") || len(w.people.Managers()) != 2 || w.people.Persons["ben"].Name != "Ben" {
		t.Fatalf("managers: %+v", w.people.Managers())
	}
	w.do(InviteManager{By: "ben", Hash: "i2", Name: "Cleo", Expires: w.now.Add(time.Hour)})
	w.do(DropManagerInvite{By: "boss", Hash: "i2"})
	w.refused(TakeManagerInvite{Hash: "i2", NewID: "eve"}, "invite.over")
	w.do(InviteManager{By: "ben", Hash: "i3", Name: "Cleo", Expires: w.now.Add(time.Hour)})
	w.now = w.now.Add(time.Hour)
	w.refused(TakeManagerInvite{Hash: "i3", NewID: "eve"}, "invite.over")
	w.reload()
}

// TestManagersByPasskeyAlone: the first one and one who is invited need no
// passphrase, and cannot take away what is then their only way in.
func TestManagersByPasskeyAlone(t *testing.T) {
	w := newTown(t)
	key := func(id string) NewKey {
		return NewKey{Handle: "of " + id, Key: Passkey{ID: id, Name: "phone", Record: []byte("{}")}, Known: "browser " + id}
	}
	w.do(SetFirstToken{Hash: "t1"})
	nameless := key("k1")
	nameless.Key.Name = " "
	w.refused(FirstManager{TokenHash: "t1", NewKey: nameless, NewID: "boss", NewSession: w.session("m1")}, "passkey.name")
	w.do(FirstManager{TokenHash: "t1", NewKey: key("k1"), NewID: "boss", NewSession: w.session("m1")})
	w.do(InviteManager{By: "boss", Hash: "i1", Name: "Ben", Expires: w.now.Add(time.Hour)})
	w.refused(TakeManagerInvite{Hash: "i1", NewKey: key("k1"), NewID: "ben", NewSession: w.session("b1")}, "passkey.twice")
	if w.in("b1") || len(w.people.Managers()) != 1 {
		t.Fatal("a refused passkey makes a manager")
	}
	w.do(TakeManagerInvite{Hash: "i1", NewKey: key("k2"), NewID: "ben", NewSession: w.session("b1")})
	for who, id := range map[PersonID]string{"boss": "k1", "ben": "k2"} {
		way := w.people.WaysIn[who]
		if way.OnlyKeys() != 1 || way.Handle != "of "+id || !way.Knows("browser "+id) || !way.Keys[0].Made.Equal(w.now) {
			t.Errorf("%s came in as %+v", who, way)
		}
		w.refused(DropPasskey{By: who, ID: id}, "passkey.last")
		w.do(SignInManager{Person: who, Key: id, Record: []byte("{}"), NewSession: w.session("again " + id)})
	}
	w.do(ChangePassphrase{By: "boss", Passphrase: "$argon2id$"})
	if way := w.people.WaysIn["boss"]; way.OnlyKeys() != 0 {
		t.Error("with a passphrase the passkey is not all there is")
	}
	w.reload()
}

// TestRemoveManager: with everything of theirs, but never the last.
func TestRemoveManager(t *testing.T) {
	w := managed(t)
	w.refused(RemoveManager{By: "boss", Person: "boss"}, "manager.last")
	w.second()
	w.do(InviteManager{By: "boss", Hash: "i2", Name: "Cleo", Expires: w.now.Add(time.Hour)})
	w.do(Subscribe{Subscription: Subscription{ID: "d", Person: "boss"}})
	w.do(RemoveManager{By: "ben", Person: "boss"})
	if w.in("m1") || len(w.people.Subscriptions) != 0 || len(w.people.WaysIn) != 1 || len(w.people.ManagerInvites) != 0 {
		t.Fatalf("left of the manager: %+v", w.people)
	}
	w.refused(RemoveManager{By: "boss", Person: "ben"}, "manager.unknown")
	w.refused(RemoveManager{By: "ben", Person: "ben"}, "manager.last")
	w.refused(Forget{Person: "ben"}, "person.manager")
	w.reload()
}

func TestPasskeys(t *testing.T) {
	w := managed(t)
	key := Passkey{ID: "k1", Name: "phone", Record: []byte("{}")}
	w.refused(AddPasskey{By: "boss", Handle: "", Key: key}, "passkey.bad")
	w.refused(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k1", Name: "phone"}}, "passkey.bad")
	w.refused(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k1", Record: []byte("{}")}}, "passkey.name")
	w.do(AddPasskey{By: "boss", Handle: "h", Key: key})
	w.refused(AddPasskey{By: "boss", Handle: "h", Key: key}, "passkey.twice")
	w.refused(AddPasskey{By: "boss", Handle: "other", Key: Passkey{ID: "k2", Name: "x", Record: []byte("{}")}}, "passkey.bad")
	w.second()
	w.refused(AddPasskey{By: "ben", Handle: "hb", Key: key}, "passkey.twice")
	w.refused(SignInManager{Person: "ben", Key: "k1", NewSession: w.session("x")}, "passkey.unknown")
	w.do(SignInManager{Person: "boss", Key: "k1", Record: []byte(`{"n":2}`), NewSession: w.session("m2")})
	way, ok := w.people.ByHandle("h")
	if got, _ := way.Key("k1"); !ok || string(got.Record) != `{"n":2}` || !got.Used.Equal(w.now) || !w.in("m2") {
		t.Fatalf("after signing in: %+v", got)
	}
	w.do(NamePasskey{By: "boss", ID: "k1", Name: " old  phone "})
	w.refused(NamePasskey{By: "ben", ID: "k1", Name: "mine"}, "passkey.gone")
	w.refused(DropPasskey{By: "ben", ID: "k1"}, "passkey.gone")
	w.do(ChangePassphrase{By: "boss", Passphrase: "", Keep: "m2"})
	w.refused(DropPasskey{By: "boss", ID: "k1"}, "passkey.last")
	w.do(ChangePassphrase{By: "boss", Passphrase: "$argon2id$2", Keep: "m2"})
	w.do(DropPasskey{By: "boss", ID: "k1"})
	w.refused(SignInManager{Person: "boss", Key: "k1", NewSession: w.session("m3")}, "passkey.unknown")
	w.refused(ChangePassphrase{By: "boss", Passphrase: ""}, "passphrase.last")
	w.reload()
}

// TestACopiedPasskeyOpensNothing: and does not count as a way in.
func TestACopiedPasskeyOpensNothing(t *testing.T) {
	w := managed(t)
	w.do(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k1", Name: "phone", Record: []byte("{}")}})
	w.do(SuspectPasskey{Person: "boss", ID: "k1"})
	w.refused(SignInManager{Person: "boss", Key: "k1", NewSession: w.session("m2")}, "passkey.unknown")
	w.refused(ChangePassphrase{By: "boss"}, "passphrase.last")
	w.do(DropPasskey{By: "boss", ID: "k1"})
	w.reload()
}

// TestChangingThePassphrase signs every other browser out.
func TestChangingThePassphrase(t *testing.T) {
	w := managed(t)
	for _, hash := range []string{"m2", "m3"} {
		w.do(SignInManager{Person: "boss", Known: "known " + hash, NewSession: w.session(hash)})
	}
	w.do(ChangePassphrase{By: "boss", Passphrase: "$new", Keep: "m3"})
	way := w.people.WaysIn["boss"]
	if w.in("m1") || w.in("m2") || !w.in("m3") || way.Passphrase != "$new" || way.Knows("known m2") || way.Knows("") {
		t.Fatalf("in: %v %v %v, %+v", w.in("m1"), w.in("m2"), w.in("m3"), way)
	}
	w.reload()
}

// TestSessionsEnd: at their time, when they lie idle, one by one, all but one.
func TestSessionsEnd(t *testing.T) {
	w := managed(t)
	idle, most := 14*24*time.Hour, 30*24*time.Hour
	w.now = noon.Add(idle)
	if w.in("m1") {
		t.Fatal("an idle session holds")
	}
	w.now = noon
	for day := 7; day < 30; day += 7 {
		w.now = noon.Add(time.Duration(day) * 24 * time.Hour)
		w.do(SawSession{SessionHash: "m1", Where: "192.0.2.8"})
		if seq := w.people.Seq; !w.in("m1") {
			t.Fatalf("a session in use ended on day %d", day)
		} else if w.do(SawSession{SessionHash: "m1"}); w.people.Seq != seq {
			t.Fatal("each use is written")
		}
	}
	if got := w.people.Sessions["m1"]; got.Where != "192.0.2.8" {
		t.Fatalf("last used at %q", got.Where)
	}
	w.now = noon.Add(most)
	if w.in("m1") {
		t.Fatal("a session in use holds for ever")
	}
	w.now = noon
	w.do(SignInManager{Person: "boss", NewSession: w.session("m2")})
	w.do(SignInManager{Person: "boss", NewSession: w.session("m3")})
	w.second()
	w.refused(EndSession{Person: "ben", Hash: "m2"}, "session.gone")
	w.do(EndSession{Person: "boss", Hash: "m2"})
	w.do(SignOutOthers{Person: "boss", Keep: "m3"})
	if w.in("m1") || w.in("m2") || !w.in("m3") || !w.in("b1") {
		t.Fatal("the wrong browsers are signed out")
	}
	w.reload()
}

// TestOneManagerOfOld: a store of the time when there was one manager without
// a name reads, and goes over to the new form with the first change.
func TestOneManagerOfOld(t *testing.T) {
	changes := map[string]func(w *town){
		"nothing":       func(*town) {},
		"an invitation": func(w *town) { w.second() },
		"a passkey": func(w *town) {
			w.do(AddPasskey{By: "boss", Handle: "h", Key: Passkey{ID: "k", Name: "n", Record: []byte("{}")}})
		},
		"another, and gone": func(w *town) { w.second(); w.do(RemoveManager{By: "ben", Person: "boss"}) },
	}
	for name, change := range changes {
		w := newTown(t)
		var set ChangeSet
		set.Put("person", "boss", Person{ID: "boss", Name: "Building manager", Manager: true, Joined: noon})
		set.Put("manager", "way-in", map[string]string{"Passphrase": "$argon2id$old", "FirstToken": ""})
		set.Put("session", "m1", map[string]any{"Hash": "m1", "Person": "boss", "Made": noon, "Expires": noon.Add(time.Hour)})
		for _, row := range set.Rows {
			w.rows[[2]string{row.Table, row.Key}] = row
		}
		w.restart()
		if way := w.people.WaysIn["boss"]; way.Passphrase != "$argon2id$old" || !w.people.HasManager() || !w.in("m1") {
			t.Fatalf("read as %+v", way)
		}
		w.refused(SetFirstToken{Hash: "x"}, "first.done")
		change(w)
		w.reload()
		want := w.people.WaysIn["boss"].Passphrase
		w.restart()
		if got := w.people.WaysIn["boss"].Passphrase; got != want || name != "another, and gone" && got == "" {
			t.Errorf("%s: the passphrase is %q after a restart, was %q", name, got, want)
		}
	}
}

// restart reads the people back from what was stored.
func (w *town) restart() {
	w.Helper()
	stored := Stored{Seq: w.people.Seq}
	for _, row := range w.rows {
		stored.Rows = append(stored.Rows, row)
	}
	people, err := RestorePeople(stored)
	if err != nil {
		w.Fatal(err)
	}
	w.people = people
}

// TestManagersOverTime: whatever happens, there is a manager who can sign in,
// names are unique, no session leads to somebody who is gone, and what is stored
// is what is in memory.
func TestManagersOverTime(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		w := managed(t)
		ids := []PersonID{"boss", "ben", "cleo", "dora", "nobody"}
		id := rapid.SampledFrom(ids)
		hash := rapid.SampledFrom([]string{"a", "b", "c", "d"})
		try := func(ev PeopleEvent) {
			var refused *Error
			if err := w.try(ev); err != nil && !errors.As(err, &refused) {
				rt.Fatalf("%T: %v", ev, err)
			}
		}
		rt.Repeat(map[string]func(*rapid.T){
			"invite": func(rt *rapid.T) {
				name := rapid.SampledFrom([]string{"Ada", "Ben", "ben", "Cleo"}).Draw(rt, "name")
				try(InviteManager{By: id.Draw(rt, "by"), Hash: hash.Draw(rt, "hash"), Name: name, Expires: w.now.Add(time.Hour)})
			},
			"take": func(rt *rapid.T) {
				who := id.Draw(rt, "who")
				if _, known := w.people.Persons[who]; known {
					rt.Skip("ids are new")
				}
				key := NewKey{Handle: "of " + string(who), Key: Passkey{ID: rapid.SampledFrom([]string{"", "a", "b", "c", "d"}).Draw(rt, "key"), Name: "n", Record: []byte("{}")}}
				try(TakeManagerInvite{Hash: hash.Draw(rt, "hash"), Passphrase: rapid.SampledFrom([]string{"", "$"}).Draw(rt, "passphrase"), NewKey: key, NewID: who, NewSession: w.session("s" + hash.Draw(rt, "session"))})
			},
			"remove": func(rt *rapid.T) { try(RemoveManager{By: id.Draw(rt, "by"), Person: id.Draw(rt, "who")}) },
			"key": func(rt *rapid.T) {
				who := id.Draw(rt, "who")
				try(AddPasskey{By: who, Handle: "of " + string(who), Key: Passkey{ID: hash.Draw(rt, "key"), Name: "n", Record: []byte("{}")}})
			},
			"drop key": func(rt *rapid.T) { try(DropPasskey{By: id.Draw(rt, "who"), ID: hash.Draw(rt, "key")}) },
			"passphrase": func(rt *rapid.T) {
				try(ChangePassphrase{By: id.Draw(rt, "who"), Passphrase: rapid.SampledFrom([]string{"", "$"}).Draw(rt, "new")})
			},
			"sign in": func(rt *rapid.T) {
				try(SignInManager{Person: id.Draw(rt, "who"), Key: rapid.SampledFrom([]string{"", "a", "b"}).Draw(rt, "key"), Record: []byte("{}"), NewSession: w.session("s" + hash.Draw(rt, "session"))})
			},
			"others": func(rt *rapid.T) { try(SignOutOthers{Person: id.Draw(rt, "who"), Keep: "sa"}) },
			"time": func(rt *rapid.T) {
				w.now = w.now.Add(time.Duration(rapid.IntRange(1, 400).Draw(rt, "hours")) * time.Hour)
			},
			"": func(rt *rapid.T) {
				names := map[string]bool{}
				for _, m := range w.people.Managers() {
					way := w.people.WaysIn[m.ID]
					if names[m.Name] || way.Passphrase == "" && way.usableKeys() == 0 {
						rt.Fatalf("manager %+v has no way in, or the name of another", m)
					}
					names[m.Name] = true
				}
				if len(names) == 0 || len(names) != len(w.people.WaysIn) {
					rt.Fatalf("%d managers, %d ways in", len(names), len(w.people.WaysIn))
				}
				for _, s := range w.people.Sessions {
					if _, ok := w.people.Persons[s.Person]; !ok {
						rt.Fatalf("a session of %s, who is gone", s.Person)
					}
				}
				w.reload()
			},
		})
	})
}
