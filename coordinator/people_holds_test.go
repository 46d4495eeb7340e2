package coordinator

import (
	"bytes"
	"encoding/json"
	"maps"
	"slices"
	"strings"
)

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
