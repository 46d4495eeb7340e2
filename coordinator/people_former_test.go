package coordinator

import (
	"slices"
	"testing"
)

// TestFormerIDs: an id that somebody had before they became one with somebody else
// stands for that one, over any number of steps and a restart.
func TestFormerIDs(t *testing.T) {
	merge := func(from, into PersonID) PeopleEvent { return MergePersons{By: "boss", From: from, Into: into} }
	forget := func(id PersonID) PeopleEvent { return Forget{By: "boss", Person: id} }
	for _, c := range []struct {
		name string
		do   []PeopleEvent
		want map[PersonID]PersonID // who an id stands for; empty: nobody
		ids  []PersonID            // all of c
	}{
		{"nothing was done", nil, map[PersonID]PersonID{"a": "a", "c": "c", "x": ""}, []PersonID{"c"}},
		{"one", []PeopleEvent{merge("a", "c")}, map[PersonID]PersonID{"a": "c", "b": "b", "c": "c"}, []PersonID{"c", "a"}},
		{"two", []PeopleEvent{merge("b", "c"), merge("a", "c")}, map[PersonID]PersonID{"a": "c", "b": "c"}, []PersonID{"c", "a", "b"}},
		{"who was merged into the merged one", []PeopleEvent{merge("b", "a"), merge("a", "c")}, map[PersonID]PersonID{"a": "c", "b": "c"}, []PersonID{"c", "a", "b"}},
		{"who stays is gone", []PeopleEvent{merge("a", "b"), forget("b")}, map[PersonID]PersonID{"a": "", "b": "", "c": "c"}, []PersonID{"c"}},
		{"who was one of two is gone before", []PeopleEvent{forget("a"), merge("b", "c")}, map[PersonID]PersonID{"a": "", "b": "c"}, []PersonID{"c", "b"}},
		{"their home moved out", []PeopleEvent{merge("a", "b"), MoveOut{By: "boss", Home: HomeIDFor("12"), Code: "NEW"}}, map[PersonID]PersonID{"a": "", "b": "", "c": ""}, nil},
	} {
		w := managed(t)
		for _, id := range []PersonID{"a", "b", "c"} {
			w.joinAs(id, "12")
		}
		for _, ev := range c.do {
			w.do(ev)
		}
		w.reload()
		for id, want := range c.want {
			got, ok := w.people.Now(id)
			if want == "" && (ok || got.ID != id) || want != "" && (!ok || got.ID != want || !got.Is(id)) {
				t.Errorf("%s: %s is %s (%v), want %q", c.name, id, got.ID, ok, want)
			}
		}
		if p, there := w.people.Persons["c"]; there != (c.ids != nil) || there && !slices.Equal(p.IDs(), c.ids) {
			t.Errorf("%s: c is known by %v, want %v", c.name, p.IDs(), c.ids)
		}
	}
}

// TestJoiningAgainByAFormerID: who joined at the room's screen, became one with a
// resident and joins there again is a person again; becoming one once more, their id is
// a former one once.
func TestJoiningAgainByAFormerID(t *testing.T) {
	w := managed(t)
	w.joinAs("anna", "12")
	for range 3 {
		w.joinAs("wall", "12")
		if who, ok := w.people.Now("wall"); !ok || who.ID != "wall" {
			t.Fatalf("who joined anew is %s", who.ID)
		}
		w.do(MergePersons{By: "boss", From: "wall", Into: "anna"})
		anna := w.people.Persons["anna"]
		if got := anna.IDs(); !slices.Equal(got, []PersonID{"anna", "wall"}) {
			t.Fatalf("anna is known by %v", got)
		}
	}
	w.reload()
}

// TestErasingTakesFormerIDsAlong: who is to be taken out of the history is so by all
// ids that they had there; who only leaves is not.
func TestErasingTakesFormerIDsAlong(t *testing.T) {
	for _, erase := range []bool{true, false} {
		w := managed(t)
		for _, id := range []PersonID{"a", "b", "c", "other"} {
			w.joinAs(id, "12")
		}
		w.do(MergePersons{By: "boss", From: "c", Into: "b"})
		w.do(MergePersons{By: "boss", From: "b", Into: "a"})
		for id := range w.people.Departures {
			w.do(Departed{ID: id})
		}
		w.do(Forget{Person: "a", Erase: erase})
		want := []PersonID{"a", "b", "c"}
		if !erase {
			want = nil
		}
		for _, d := range w.people.Departures {
			if d.Person != "a" || !slices.Equal(d.Erase, want) {
				t.Errorf("to be erased are %v of %s, want %v", d.Erase, d.Person, want)
			}
		}
		w.reload()
	}
}

// TestToldTo: what was decided by the id that a person has counts before what was
// decided by one that they had; what others were told does not.
func TestToldTo(t *testing.T) {
	one := &Person{ID: "b", Former: []PersonID{"a"}}
	for _, c := range []struct {
		told []PersonID
		want int // in told; -1: nothing
	}{
		{nil, -1}, {[]PersonID{"x"}, -1}, {[]PersonID{"x", "a"}, 1}, {[]PersonID{"b"}, 0}, {[]PersonID{"a", "x", "b"}, 2},
	} {
		d := &Delivery{}
		for _, id := range c.told {
			d.Told = append(d.Told, Told{Person: id})
		}
		var want *Told
		if c.want >= 0 {
			want = &d.Told[c.want]
		}
		if got := d.ToldTo(one); got != want {
			t.Errorf("of %v: %+v, want %+v", c.told, got, want)
		}
	}
}
