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

// mustHold checks what is so whatever was done.
func (w *porter) mustHold() {
	p := w.people
	w.reload()
	w.managersStay()
	w.blocksHold()
	w.invitationsHold()
	w.allIsOfSomebody()
	w.formerHold()
	checkPeople(w.rt, p)
	for i, v := range p.Tariffs {
		if v.Version != i+1 {
			w.rt.Fatalf("version %d of the tariff is the %dth", v.Version, i+1)
		}
	}
	if p.NoticesSeen.Before(w.seen) || p.NoticesSeen.After(w.now) {
		w.rt.Fatalf("notices were seen until %s, and are until %s", w.seen, p.NoticesSeen)
	}
	w.seen = p.NoticesSeen
	if len(p.Departures) == 0 {
		w.leftNoTrace()
	}
}

// reload checks that what was stored reads as what is in memory.
func (w *porter) reload() {
	stored := Stored{Seq: w.people.Seq}
	for _, key := range slices.SortedFunc(maps.Keys(w.rows), func(a, b [2]string) int { return slices.Compare(a[:], b[:]) }) {
		stored.Rows = append(stored.Rows, w.rows[key])
	}
	again, err := RestorePeople(stored)
	if err != nil {
		w.rt.Fatal(err)
	}
	if a, b := bytesOf(w.rt, again), bytesOf(w.rt, w.people); !bytes.Equal(a, b) {
		from := max(0, commonPrefix(a, b)-100)
		w.rt.Fatalf("stored: ...%.300s\nin memory: ...%.300s", a[from:], b[from:])
	}
}

// managersStay: a building that has a manager always has one who can sign in, each
// by a name of their own; but who copies the only passkey locks its manager out.
func (w *porter) managersStay() {
	names := map[string]bool{}
	for _, m := range w.people.Managers() {
		way, in := w.people.WaysIn[m.ID]
		copied := len(way.Keys) > 0 && way.usableKeys() == 0
		if key := strings.ToLower(m.Name); names[key] || !in || m.Home != "" || way.Passphrase == "" && way.usableKeys() == 0 && !copied {
			w.rt.Fatalf("manager %+v signs in by %+v", m, way)
		} else {
			names[key] = true
		}
	}
	if len(names) != len(w.people.WaysIn) || w.hadManager && len(names) == 0 {
		w.rt.Fatalf("%d managers, %d ways in", len(names), len(w.people.WaysIn))
	}
}

// blocksHold: exactly those take no turn who were blocked, they or their home.
func (w *porter) blocksHold() {
	for id, person := range w.people.Persons {
		want := w.blockedPersons[id] || w.blockedHomes[person.Home]
		if got := w.people.MayTakeTurn(id, person.Home) != nil; got != want {
			w.rt.Fatalf("%s of home %s is blocked: %v, want %v", id, person.Home, got, want)
		}
	}
}

// invitationsHold: as many came in by a code as the paper says, no more than it is for.
func (w *porter) invitationsHold() {
	for room, v := range w.people.Invitations {
		if v.Used != w.joinedBy[room] || v.Most > 0 && v.Used > v.Most {
			w.rt.Fatalf("by the code of %s %d came in, it says %d of %d", room, w.joinedBy[room], v.Used, v.Most)
		}
	}
	for _, g := range w.people.Guests {
		if g.Used > g.Most {
			w.rt.Fatalf("more guests than invited: %+v", g)
		}
	}
}

// allIsOfSomebody: nothing is kept of who is not there.
func (w *porter) allIsOfSomebody() {
	p := w.people
	known := func(what string, id PersonID) {
		if _, there := p.Persons[id]; !there {
			w.rt.Fatalf("%s of %s, who is gone", what, id)
		}
	}
	devices := map[PersonID]int{}
	for _, s := range p.Subscriptions {
		known("a device", s.Person)
		if devices[s.Person]++; devices[s.Person] > devicesPerPerson {
			w.rt.Fatalf("%s has more than %d devices", s.Person, devicesPerPerson)
		}
	}
	for _, s := range p.Passes {
		known("a one-time code", s.Person)
	}
	for _, v := range p.ManagerInvites {
		if v.By != "" {
			known("an invitation", v.By)
		}
	}
	for id := range p.HookStates {
		if _, there := p.Webhooks[id]; !there {
			w.rt.Fatalf("webhook %s has come somewhere, and is not there", id)
		}
	}
	for _, g := range p.Guests {
		if _, there := p.Homes[g.Home]; !there {
			w.rt.Fatalf("guests are invited to home %s, which is not there", g.Home)
		}
	}
	for id, person := range p.Persons {
		if person.ID != id || person.Manager && (person.Blocked || !person.Guest.IsZero()) {
			w.rt.Fatalf("%s is %+v", id, person)
		}
	}
}

// isNow is who an id stands for on paper.
func (w *porter) isNow(id PersonID) PersonID {
	for w.became[id] != "" {
		id = w.became[id]
	}
	return id
}

// formerHold: an id that somebody had stands for who they became, as long as that
// one is there, and for nobody after that.
func (w *porter) formerHold() {
	former := 0
	for id := range w.gone {
		want := w.isNow(id)
		_, there := w.people.Persons[want]
		if got, ok := w.people.Now(id); ok != there || there && (got.ID != want || !got.Is(id)) {
			w.rt.Fatalf("%s is %s (%v) now, want %s (%v)", id, got.ID, ok, want, there)
		}
		if there {
			former++
		}
	}
	for id, p := range w.people.Persons {
		if got, ok := w.people.Now(id); !ok || got.ID != id || !slices.IsSorted(p.Former) {
			w.rt.Fatalf("%s is %+v now", id, got)
		}
		former -= len(p.Former)
	}
	if former != 0 {
		w.rt.Fatalf("%d former ids are missing", former)
	}
}

// leftNoTrace: once the rooms have been told, nothing stored names who is gone; of
// who became one with somebody, that one's own record does, and nothing else.
func (w *porter) leftNoTrace() {
	var all []byte
	for key, row := range w.rows {
		value := row.Value
		if key[0] == "person" {
			var p Person
			if err := json.Unmarshal(value, &p); err != nil {
				w.rt.Fatal(err)
			}
			p.Former = slices.DeleteFunc(p.Former, func(id PersonID) bool { return w.isNow(id) == p.ID })
			value = bytesOf(w.rt, p)
		}
		all = append(append(append(all, key[1]...), value...), '\n')
	}
	for id := range w.gone {
		if i := bytes.Index(all, []byte(id)); i >= 0 {
			w.rt.Fatalf("%s is gone, and is stored: %s", id, all[max(0, i-100):min(len(all), i+100)])
		}
	}
}

// TestPeopleOnPaper holds a building's people to what a porter keeps on paper, over
// histories in which any event comes with anything in it.
func TestPeopleOnPaper(t *testing.T) {
	did := map[string]int{}
	rounds := 2
	if testing.Short() {
		rounds = 1
	}
	for range rounds {
		rapid.Check(t, func(rt *rapid.T) {
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
		})
		if t.Failed() {
			return
		}
	}
	for _, ev := range peopleEvents {
		name := reflect.TypeOf(ev).Name()
		if took := did[name] - did["refused "+name]; took < 1 && !testing.Short() {
			t.Errorf("the histories are too tame: %s was taken %d times, refused %d", name, took, did["refused "+name])
		}
	}
}
