package coordinator

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// porter keeps a building's people on paper beside the program, from the events
// alone: who is blocked, who was let in by which code, who is gone.
type porter struct {
	rt     *rapid.T
	people *People
	rows   map[[2]string]Row
	now    time.Time
	fresh  int
	did    map[string]int

	blockedPersons map[PersonID]bool
	blockedHomes   map[HomeID]bool
	joinedBy       map[RoomID]int // by the code on the wall that holds now
	gone           map[PersonID]bool
	became         map[PersonID]PersonID // with whom somebody became one
	hadManager     bool
	seen           time.Time
}

func newPorter(rt *rapid.T, did map[string]int) *porter {
	people, err := RestorePeople(Stored{})
	if err != nil {
		rt.Fatal(err)
	}
	w := &porter{
		rt: rt, people: people, rows: map[[2]string]Row{}, now: noon, did: did,
		blockedPersons: map[PersonID]bool{}, blockedHomes: map[HomeID]bool{}, joinedBy: map[RoomID]int{}, gone: map[PersonID]bool{},
		became: map[PersonID]PersonID{},
	}
	w.tell(SetInvitation{Room: "cellar", Code: "K7QM-2XRT", Most: 6, Expires: noon.Add(2000 * time.Hour)})
	w.tell(SetFirstToken{Hash: "t1"})
	w.tell(FirstManager{TokenHash: "t1", Name: "Ada", Passphrase: "$argon2id$", NewID: w.newID()})
	for _, home := range []string{"1", "2"} {
		w.tell(JoinBuilding{Room: "cellar", Code: "K7QM2XRT", HomeName: home, NewHomeCode: "CODE" + home, Open: true, NewID: w.newID(), SessionHash: "s" + home, Expires: noon.Add(900 * time.Hour)})
	}
	return w
}

// newID is one that nobody ever had, and that is no part of another.
func (w *porter) newID() PersonID {
	w.fresh++
	return PersonID(fmt.Sprintf("p-%04d", w.fresh))
}

// tell steps an event, twice: what it gives must be the same, byte for byte, and
// the People that others read meanwhile stay as they are.
func (w *porter) tell(ev PeopleEvent) error {
	before, was := w.people, bytesOf(w.rt, w.people)
	next, set, err := before.Step(w.now, ev)
	_, again, _ := before.Step(w.now, ev)
	if a, b := bytesOf(w.rt, set), bytesOf(w.rt, again); !bytes.Equal(a, b) {
		w.rt.Fatalf("%s gave once\n%s\nand once\n%s", described(ev), a, b)
	}
	if is := bytesOf(w.rt, before); !bytes.Equal(was, is) {
		w.rt.Fatalf("%s changed the People that others read:\n%s\nbecame\n%s", described(ev), was, is)
	}
	var refusal *Error
	if err != nil && (!errors.As(err, &refusal) || refusal.Key == "" || refusal.Text == "" || set.Moves() || next != before) {
		w.rt.Fatalf("%s was refused by %v, and gave %+v", described(ev), err, set)
	}
	w.did[reflect.TypeOf(ev).Name()]++
	if err != nil {
		w.did["refused "+reflect.TypeOf(ev).Name()]++
		return err
	}
	for _, row := range set.Rows {
		key := [2]string{row.Table, row.Key}
		if w.rows[key] = row; row.Value == nil {
			delete(w.rows, key)
		}
	}
	w.people = next
	w.write(ev, before)
	w.acts(ev, set)
	return nil
}

func bytesOf(rt *rapid.T, v any) []byte {
	if p, ok := v.(*People); ok { // places are no keys of JSON
		return fmt.Appendf(nil, "%+v", *p)
	}
	data, err := json.Marshal(v)
	if err != nil {
		rt.Fatal(err)
	}
	return data
}

// write takes down what an event that was taken means.
func (w *porter) write(ev PeopleEvent, before *People) {
	switch e := ev.(type) {
	case SetInvitation:
		w.joinedBy[e.Room] = 0
	case JoinBuilding:
		if _, guest := before.GuestByCode(e.Room, e.Code); !e.Inside && !guest {
			w.joinedBy[e.Room]++
		}
	case Block:
		if e.Person != "" {
			w.blockedPersons[e.Person] = e.On
		} else {
			w.blockedHomes[e.Home] = e.On
		}
	case MergePersons:
		w.became[e.From] = e.Into
		w.blockedPersons[e.Into] = w.blockedPersons[e.Into] || w.blockedPersons[e.From]
	case MergeHomes:
		w.blockedHomes[e.Into] = w.blockedHomes[e.Into] || w.blockedHomes[e.From]
		delete(w.blockedHomes, e.From)
	case MoveOut:
		delete(w.blockedHomes, e.Home)
	}
	for id := range before.Persons {
		if _, there := w.people.Persons[id]; !there {
			w.gone[id] = true
		}
	}
	w.hadManager = w.hadManager || w.people.HasManager()
}

// acts: what is noted is an act that the log knows, at this time, by somebody or by the operator.
func (w *porter) acts(ev PeopleEvent, set ChangeSet) {
	for _, f := range set.Facts {
		if !slices.Contains(ActKinds(), f.Kind) || !f.At.Equal(w.now) {
			w.rt.Fatalf("%s is noted as %+v", described(ev), f)
		}
		if invited := f.Kind == FactManagerInvited; f.Person == "" && !invited {
			w.rt.Fatalf("%s is noted as %+v, by nobody", described(ev), f)
		}
	}
}

// guess is any event with anything in it, and with what is known more often than not.
func (w *porter) guess() PeopleEvent {
	g := newGuesser(w.rt, w.now)
	persons := append(slices.Sorted(maps.Keys(w.people.Persons)), "nobody")
	among(g, persons...)
	among(g, append(slices.Sorted(maps.Keys(w.people.Homes)), "other")...)
	among[RoomID](g, "cellar", "cellar", "attic", "")
	among[MachineID](g, "w1", "w2", "")
	among(g, append(append(ResidentKinds(), ManagerKinds()...), "none")...)
	among(g, append(TokenScopes(), "none")...)
	among(g, append(PublicKinds(), "none")...)
	words := func(names string, list ...any) {
		for name := range strings.FieldsSeq(names) {
			g.words[name] = list
		}
	}
	hash := strings.Repeat("ab", 32)
	words("Code", "K7QM-2XRT", "GUEST", "NEW", " - ", "k7qm 2xrt")
	words("HomeName", "1", "2", "flat 2", "İ1", "i1", " I1 ", "\xff", "")
	words("Hash TokenHash", hash, "h1", "h2", "")
	words("SessionHash Keep Old Known", "s1", "s2", "s3", "s4", "")
	words("ID Key", "a", "b", "c", hash[:16], "")
	w.fresh++
	words("NewID", w.newID(), w.newID())
	words("Passphrase", "$argon2id$", "")
	words("Handle", "of it", "of another", "")
	words("Address", "anna@example.org", "Ben@EXAMPLE.org", "nobody", "")
	words("Off", "off-1", "off-2", "")
	among(g, SetTariff{}.Tariff, Tariff{Currency: "EUR", MicrosPerKWh: 300_000}, Tariff{Currency: "euro"})
	among(g, FactID{}, FactID{At: noon, N: 3})
	words("URL Endpoint", "https://a.example/x", "mailto:anna@example.org", "")
	if next := w.next(); len(next) > 0 && !w.mostly("anything") {
		return guessed(g, next)
	}
	return guessed(g, peopleEvents)
}

// next are the events that what is there waits for.
func (w *porter) next() (all []PeopleEvent) {
	p := w.people
	for _, c := range []struct {
		there bool
		ev    PeopleEvent
	}{
		{len(p.Departures) > 0, Departed{}}, {len(p.Passes) > 0, UsePass{}}, {len(p.ManagerInvites) > 0, TakeManagerInvite{}},
		{len(p.Tokens) > 0, RevokeToken{}}, {len(p.Webhooks) > 0, MoveWebhook{}}, {len(p.Webhooks) > 0, RemoveWebhook{}}, {len(p.WaysIn) > 1, RemoveManager{}},
	} {
		if c.there {
			all = append(all, c.ev)
		}
	}
	for _, id := range sortedKeys(p.Persons) {
		if p.Persons[id].Mail.Asked.Hash != "" {
			all = append(all, ConfirmMail{})
		}
		if len(p.WaysIn[id].Keys) > 0 {
			all = append(all, NamePasskey{}, SuspectPasskey{}, DropPasskey{})
		}
	}
	return all
}

// name lets events that must name something name what is there, mostly.
func (w *porter) name(ev PeopleEvent) PeopleEvent {
	v := reflect.New(reflect.TypeOf(ev)).Elem()
	v.Set(reflect.ValueOf(ev))
	if by := v.FieldByName("By"); by.IsValid() && w.mostly("by a manager") {
		by.SetString(string(w.manager()))
	}
	ev = v.Interface().(PeopleEvent)
	if !w.mostly("known") {
		return w.nameCodes(ev)
	}
	switch e := ev.(type) {
	case Departed:
		e.ID = w.pick(sortedKeys(w.people.Departures))
		return e
	case UsePass:
		e.Hash = w.pick(sortedKeys(w.people.Passes))
		return e
	case ConfirmMail:
		for _, id := range sortedKeys(w.people.Persons) {
			if asked := w.people.Persons[id].Mail.Asked; asked.Hash != "" {
				e.Hash, e.Off = asked.Hash, "off of "+string(id)
			}
		}
		return e
	case EndSession:
		e.Hash = w.pick(sortedKeys(w.people.Sessions))
		e.Person = w.people.Sessions[e.Hash].Person
		return e
	case Subscribe:
		e.Subscription.ID = fmt.Sprint("device ", rapid.IntRange(0, 20).Draw(w.rt, "device"))
		return e
	case RevokeToken:
		e.ID = w.pick(sortedKeys(w.people.Tokens))
		return e
	case RemoveWebhook:
		e.ID = w.pick(sortedKeys(w.people.Webhooks))
		return e
	case AddWebhook:
		e.Webhook.ID, e.Webhook.URL, e.Webhook.Secret, e.Webhook.Kinds = fmt.Sprint("hook ", w.fresh%4), "https://a.example/x", "secret", nil
		return e
	case MakeToken:
		e.Token.Hash, e.Token.Scopes = fmt.Sprintf("%064d", w.fresh), TokenScopes()
		return e
	}
	return w.nameCodes(w.nameManagers(ev))
}

// nameManagers does that for the events about managers.
func (w *porter) nameManagers(ev PeopleEvent) PeopleEvent {
	key := func(who PersonID) string {
		var all []string
		for _, k := range w.people.WaysIn[who].Keys {
			all = append(all, k.ID)
		}
		return w.pick(all)
	}
	switch e := ev.(type) {
	case InviteManager:
		e.Hash, e.Name, e.Expires = fmt.Sprint("invite ", w.fresh), fmt.Sprint("Manager ", w.fresh%4), w.now.Add(100*time.Hour)
		return e
	case TakeManagerInvite:
		e.Hash, e.Passphrase = w.pick(sortedKeys(w.people.ManagerInvites)), "$argon2id$"
		return e
	case RemoveManager:
		e.Person = w.manager()
		return e
	case AddPasskey:
		e.Handle, e.Key.Record, e.Key.Name = "of "+string(e.By), []byte("{}"), "phone"
		return e
	case NamePasskey:
		e.ID = key(e.By)
		return e
	case DropPasskey:
		e.ID = key(e.By)
		return e
	case SuspectPasskey:
		e.Person = w.manager()
		e.ID = key(e.Person)
		return e
	case SignInManager:
		e.Person = w.manager()
		if w.mostly("by a passkey") {
			e.Key = key(e.Person)
		}
		return e
	}
	return ev
}

// nameCodes does that for the events that codes are made or used by. They come from
// a source of randomness: no two are the same.
func (w *porter) nameCodes(ev PeopleEvent) PeopleEvent {
	w.fresh++
	code := fmt.Sprintf("CODE-%04d", w.fresh)
	switch e := ev.(type) {
	case AddHome:
		e.Code = code
		return e
	case SetHomeCode:
		e.Code = code
		return e
	case MoveOut:
		e.Code = code
		return e
	case InviteGuests:
		e.Code, e.Until = code, w.now.Add(time.Duration(rapid.IntRange(1, 200).Draw(w.rt, "hours"))*time.Hour)
		return e
	case JoinBuilding:
		e.NewHomeCode, e.HomeCode = code, w.pick(w.homeCodes())
		if guests := w.guestCodes(); !w.mostly("a resident") && len(guests) > 0 {
			e.Code, e.Inside = w.pick(guests), false
		}
		return e
	case ReturnHome:
		e.HomeCode = w.pick(w.homeCodes())
		return e
	}
	return ev
}

func (w *porter) mostly(what string) bool { return rapid.IntRange(0, 3).Draw(w.rt, what) < 3 }

func (w *porter) pick(keys []string) string {
	if slices.Sort(keys); len(keys) == 0 {
		return ""
	}
	return rapid.SampledFrom(keys).Draw(w.rt, "known")
}

func (w *porter) manager() PersonID {
	var all []string
	for _, m := range w.people.Managers() {
		all = append(all, string(m.ID))
	}
	return PersonID(w.pick(all))
}

func (w *porter) homeCodes() (all []string) {
	for _, h := range w.people.Homes {
		all = append(all, h.Code)
	}
	return all
}

func (w *porter) guestCodes() (all []string) {
	for _, g := range w.people.Guests {
		all = append(all, g.Code)
	}
	return all
}

// TestPeopleOnPaper holds a building's people to what a porter keeps on paper, over
// histories in which any event comes with anything in it.
func TestPeopleOnPaper(t *testing.T) {
	did := map[string]int{}
	histories(t, 2, func(rt *rapid.T) {
		w := newPorter(rt, did)
		for range rapid.IntRange(20, 80).Draw(rt, "events") {
			w.now = w.now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 5, 60, 2000}).Draw(rt, "minutes")) * time.Minute)
			before := w.people
			if w.tell(w.name(w.guess())) == nil {
				checkLeft(rt, before, w.people)
			}
			if rapid.IntRange(0, 3).Draw(rt, "rooms are told") == 3 {
				for _, id := range slices.Sorted(maps.Keys(w.people.Departures)) {
					w.tell(Departed{ID: id})
				}
			}
			w.mustHold()
		}
	}, func() []string {
		var never []string
		for _, ev := range peopleEvents {
			if name := reflect.TypeOf(ev).Name(); did[name] <= did["refused "+name] {
				never = append(never, name+" that is not refused")
			}
		}
		return never
	})
}
