package main

import (
	"encoding/json"
	"net/http"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
	"drumturn/queue"
)

// past writes a fact about each person, and a notice to each that was sent, into the
// store of a program that does not run.
func (w *wired) past(persons ...coordinator.PersonID) {
	w.Helper()
	s, err := store.Open(filepath.Join(w.setup().file.Server.Data, storeName), store.Options{})
	if err != nil {
		w.Fatal(err)
	}
	defer s.Close()
	room, err := s.Load(w.Context(), "cellar")
	if err != nil {
		w.Fatal(err)
	}
	at := w.clock.Now().Add(-time.Hour)
	set := coordinator.ChangeSet{Unit: "cellar", Expect: room.Seq, At: at}
	for i, id := range persons {
		made := at.Add(time.Duration(i) * time.Minute)
		set.Facts = append(set.Facts, coordinator.Fact{At: made, Kind: coordinator.FactCycle, Person: id, Home: "h", Note: string(id)})
		n := coordinator.Notice{Subject: coordinator.Subject{Room: "cellar", Load: coordinator.LoadID(900 + i)}, Kind: coordinator.LoadReady, To: id, Made: made, Machine: 1, MachineKind: queue.Washer}
		row := coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Done, Told: []coordinator.Told{{Person: id, Reason: coordinator.ReasonNow, At: made}}}
		if i == 0 { // the second was told as one of the home
			row.Told = append(row.Told, coordinator.Told{Person: persons[1], ForHome: true, Reason: coordinator.ReasonUnwanted, At: made})
		}
		if err := s.RecordDeliveries(w.Context(), row); err != nil {
			w.Fatal(err)
		}
	}
	if err := s.Commit(w.Context(), set); err != nil {
		w.Fatal(err)
	}
}

// cyclesOf are the persons whom the cellar's facts about cycles name, in their order.
func (w *wired) cyclesOf() (all []coordinator.PersonID) {
	w.Helper()
	err := w.app.store.Facts(w.Context(), "cellar", time.Unix(0, 0), w.clock.Now().Add(time.Hour), func(f coordinator.Fact) bool {
		if f.Kind == coordinator.FactCycle {
			all = append(all, f.Person)
		}
		return true
	})
	if err != nil {
		w.Fatal(err)
	}
	return all
}

// given are the persons whom the cycles in the visitor's own data were of.
func (v *visitor) given() (all []coordinator.PersonID) {
	v.Helper()
	var d struct {
		History []struct{ What, Note string }
	}
	status, text := v.get("/me/data.json")
	if err := json.Unmarshal([]byte(text), &d); err != nil || status != http.StatusOK {
		v.Fatalf("%d %v\n%s", status, err, text)
	}
	for _, f := range d.History {
		if f.What == string(coordinator.FactCycle) {
			all = append(all, coordinator.PersonID(f.Note))
		}
	}
	return all
}

// noticesTo are the loads of the notices about a person, newest first.
func (w *wired) noticesTo(id coordinator.PersonID, limit int) (all []coordinator.LoadID) {
	w.Helper()
	rows, err := w.app.deliveriesTo(w.Context(), id, limit)
	if err != nil {
		w.Fatal(err)
	}
	for _, d := range rows {
		all = append(all, d.Notice.Subject.Load)
	}
	return all
}

// TestThePastOfWhoWasMerged: what a person is given of what is kept, the notices that
// their page lists, and what erasing takes away are of all ids that they had; what
// is of others stays, and is not theirs.
func TestThePastOfWhoWasMerged(t *testing.T) {
	w := wiring(t, handBuilding, nil).start()
	anna := w.visitor()
	one := anna.join("1", "anna").ID
	two, three, ben := w.visitor().join("1", "again").ID, w.visitor().join("1", "phone").ID, w.visitor().join("1", "ben").ID
	w.end()
	w.past(three, two, ben, one)
	w.start()
	if got := anna.given(); !slices.Equal(got, []coordinator.PersonID{one}) {
		t.Errorf("before, anna is given %v", got)
	}
	do := func(ev coordinator.PeopleEvent) {
		t.Helper()
		if err := w.app.house.DoPeople(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	do(coordinator.MergePersons{From: three, Into: two})
	do(coordinator.MergePersons{From: two, Into: one})
	w.end()
	w.start() // it is stored
	if got, want := anna.given(), []coordinator.PersonID{three, two, one}; !slices.Equal(got, want) {
		t.Errorf("anna is given %v, want %v", got, want)
	}
	for limit, want := range map[int][]coordinator.LoadID{9: {903, 901, 900}, 2: {903, 901}} {
		if got := w.noticesTo(one, limit); !slices.Equal(got, want) {
			t.Errorf("of %d notices to anna %v are listed, want %v", limit, got, want)
		}
	}
	anna.sees("/me/notices", "It is about your load.")
	// Erased by their own choice, as by a manager's.
	if status, text := anna.post("/me/forget", "sure", "yes", "past", "yes"); status != http.StatusOK {
		t.Fatalf("anna is not forgotten: %d %s", status, text)
	}
	if got, want := w.cyclesOf(), []coordinator.PersonID{"", "", ben, ""}; !slices.Equal(got, want) {
		t.Errorf("after erasing the facts name %q, want %q", got, want)
	}
	for _, id := range []coordinator.PersonID{one, two, three} {
		if got := w.noticesTo(id, 9); len(got) != 0 {
			t.Errorf("after erasing %s had notices about %v", id, got)
		}
	}
	if got := w.noticesTo(ben, 9); !slices.Equal(got, []coordinator.LoadID{902}) {
		t.Errorf("ben's are %v", got)
	}
	w.end()
}
