package demo

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"sync"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func fixed(s cycle.Settings) cycle.Engine { return cycle.NewFixed(s) }

func learned(s cycle.Settings) cycle.Engine { return cycle.New(s) }

// shelf is a store in memory that holds the promises the past relies on: sets
// of a unit follow each other, and rows replace rows.
type shelf struct {
	mu    sync.Mutex
	t     testing.TB
	units map[coordinator.Unit]*coordinator.Stored
	facts map[coordinator.Unit][]coordinator.Fact
	told  int
}

func newShelf(t testing.TB) *shelf {
	return &shelf{t: t, units: map[coordinator.Unit]*coordinator.Stored{}, facts: map[coordinator.Unit][]coordinator.Fact{}}
}

func (s *shelf) Commit(_ context.Context, sets ...coordinator.ChangeSet) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, set := range sets {
		u := s.units[set.Unit]
		if u == nil {
			u = &coordinator.Stored{}
			s.units[set.Unit] = u
		}
		s.told += len(set.Notices)
		if set.At.Before(u.At) {
			s.t.Errorf("unit %q: a set of %v after one of %v", set.Unit, set.At, u.At)
		}
		u.At = set.At
		if !set.Moves() {
			continue
		}
		if set.Expect != u.Seq {
			return coordinator.ErrSequence
		}
		u.Seq++
		s.put(u, set)
	}
	return nil
}

func (s *shelf) put(u *coordinator.Stored, set coordinator.ChangeSet) {
	for _, row := range set.Rows {
		found := false
		for i := range u.Rows {
			if u.Rows[i].Table == row.Table && u.Rows[i].Key == row.Key {
				u.Rows[i], found = row, true
			}
		}
		if !found {
			u.Rows = append(u.Rows, row)
		}
	}
	for _, c := range set.Checkpoints {
		found := false
		for i := range u.Checkpoints {
			if u.Checkpoints[i].Machine == c.Machine {
				u.Checkpoints[i], found = c, true
			}
		}
		if !found {
			u.Checkpoints = append(u.Checkpoints, c)
		}
	}
	s.facts[set.Unit] = append(s.facts[set.Unit], set.Facts...)
}

func (s *shelf) Load(_ context.Context, unit coordinator.Unit) (coordinator.Stored, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if u := s.units[unit]; u != nil {
		return *u, nil
	}
	return coordinator.Stored{}, nil
}

// count counts facts of a kind in a room.
func (s *shelf) count(room coordinator.RoomID, kind coordinator.FactKind) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	n := 0
	for _, f := range s.facts[room] {
		if f.Kind == kind {
			n++
		}
	}
	return n
}

var zone = time.FixedZone("test", 3600)

// lived is a town after so many days, the rooms as they stand then, and what was stored.
func lived(t testing.TB, seed uint64, days int, open time.Time, engine coordinator.NewEngine) (*Town, map[coordinator.RoomID]*coordinator.Room, *shelf) {
	t.Helper()
	born := open.AddDate(0, 0, -days)
	town, s := New(seed, born, zone), newShelf(t)
	p, err := town.live(t.Context(), s, engine, born, open, "visitor's", open.AddDate(1, 0, 0))
	if err != nil {
		t.Fatal(err)
	}
	rooms := map[coordinator.RoomID]*coordinator.Room{}
	for _, r := range p.rooms {
		rooms[r.id] = r.core
	}
	return town, rooms, s
}

// TestPastCanBeReopened: the rooms that the store gives back are those that it was given.
func TestPastCanBeReopened(t *testing.T) {
	open := time.Date(2026, 11, 25, 9, 0, 0, 0, zone)
	_, rooms, s := lived(t, 2, 1, open, fixed)
	for _, plan := range Plans(zone) {
		stored, _ := s.Load(t.Context(), plan.ID)
		room, err := coordinator.Restore(plan, stored, fixed)
		if err != nil {
			t.Fatal(err)
		}
		was, _ := json.Marshal(rooms[plan.ID].Snapshot(open))
		is, _ := json.Marshal(room.Snapshot(open))
		if !bytes.Equal(was, is) {
			t.Errorf("room %s was\n%s\nand is\n%s", plan.ID, was, is)
		}
	}
}

// TestScene: whatever the seed and the hour, the demonstration opens with every
// status on some machine, a queue, and the visitor in the midst of it.
func TestScene(t *testing.T) {
	for name, engine := range map[string]coordinator.NewEngine{"fixed": fixed, "learned": learned} {
		for seed := range uint64(4) {
			open := time.Date(2026, 11, 21+int(seed%3), int(seed*7%24), 11, 0, 0, zone)
			t.Run(fmt.Sprintf("%s-%d", name, seed), func(t *testing.T) {
				_, rooms, _ := lived(t, seed, 2, open, engine)
				checkScene(t, rooms[Cellar].Snapshot(open), rooms[Garden].Snapshot(open))
			})
		}
	}
}

func checkScene(t *testing.T, cellar, garden *coordinator.Snapshot) {
	t.Helper()
	seen := map[coordinator.Status]int{}
	var visitors *coordinator.MachineView
	for _, s := range []*coordinator.Snapshot{cellar, garden} {
		for i := range s.Machines {
			m := &s.Machines[i]
			seen[m.Status]++
			if m.Load != nil && m.Load.Owner == Visitor {
				visitors = m
			}
		}
	}
	for status := coordinator.Free; status <= coordinator.Out; status++ {
		if seen[status] == 0 {
			t.Errorf("no machine is %s: %v", status, garden.Machines[0])
		}
	}
	if visitors == nil || visitors.Status != coordinator.Running {
		t.Errorf("the visitor's load: %+v", visitors)
	}
	waiting, place := 0, 0
	for _, turn := range cellar.Turns {
		if turn.State == queue.Waiting && turn.Need == queue.Wash {
			if waiting++; turn.Person == Visitor {
				place = waiting
			}
		}
	}
	if waiting != 3 || place != 2 {
		t.Errorf("%d wait for a washer, the visitor is number %d; want 3 and 2", waiting, place)
	}
}

// TestFortnight holds two weeks to what such a building would show.
func TestFortnight(t *testing.T) {
	open := time.Date(2026, 11, 25, 9, 30, 0, 0, zone)
	town, _, s := lived(t, 1, 14, open, fixed)
	runs := 0
	for _, m := range town.machines {
		r, _ := m.Last()
		runs += r.Number
	}
	found := s.count(Cellar, coordinator.FactCycle) + s.count(Garden, coordinator.FactCycle)
	if found < runs*9/10 || found > runs*11/10 {
		t.Errorf("%d cycles found, %d programmes were run", found, runs)
	}
	// 35 homes with 3.2 washes a week for two weeks, give or take the chance of it;
	// half of them or so dried as well.
	if washes := 0.9 * 35 * washesPerHome * 2; float64(runs) < washes || float64(runs) > 2*washes {
		t.Errorf("%d programmes, expected %.0f washes and some drying", runs, washes)
	}
	for kind, least := range map[coordinator.FactKind]int{
		coordinator.FactJoined: 150, coordinator.FactCalled: 150, coordinator.FactMissed: 10, coordinator.FactStarted: 120,
		coordinator.FactWalkUp: 15, coordinator.FactClaimed: 5, coordinator.FactCollected: 150, coordinator.FactNudged: 50,
		coordinator.FactLeft: 1, coordinator.FactPassed: 1, coordinator.FactOut: 1, coordinator.FactBack: 1, coordinator.FactSilent: 1,
	} {
		if got := s.count(Cellar, kind); got < least {
			t.Errorf("%d facts %q in the cellar, want at least %d", got, kind, least)
		}
	}
	if s.told != 0 {
		t.Errorf("%d notices of the past would be told now", s.told)
	}
	if !town.Next().After(open.Add(-time.Second)) {
		t.Errorf("something is left undone since %v", town.Next())
	}
}

func TestPastFollowsFromItsSeed(t *testing.T) {
	open := time.Date(2026, 11, 25, 20, 0, 0, 0, zone)
	_, _, a := lived(t, 3, 2, open, fixed)
	_, _, b := lived(t, 3, 2, open, fixed)
	_, _, c := lived(t, 4, 2, open, fixed)
	if !reflect.DeepEqual(a.facts, b.facts) || !reflect.DeepEqual(a.units, b.units) {
		t.Error("the same seed gave another past")
	}
	if reflect.DeepEqual(a.facts, c.facts) {
		t.Error("another seed gave the same past")
	}
}

func TestPastStoresThePeople(t *testing.T) {
	open := time.Date(2026, 11, 25, 20, 0, 0, 0, zone)
	town, _, s := lived(t, 3, 1, open, fixed)
	stored, _ := s.Load(t.Context(), coordinator.Building)
	people, err := coordinator.RestorePeople(stored)
	if err != nil {
		t.Fatal(err)
	}
	if len(people.Persons) != len(town.residents) || len(people.Homes) != cellarHomes+gardenHomes {
		t.Errorf("%d persons in %d homes", len(people.Persons), len(people.Homes))
	}
	if who, ok := people.SessionPerson("visitor's", open); !ok || who.ID != Visitor || who.Home != homeID(visitorHome) {
		t.Errorf("the visitor's session is %+v", who)
	}
	for room, code := range Codes() {
		if people.Invitations[room].Code != code {
			t.Errorf("room %s: code %q", room, people.Invitations[room].Code)
		}
	}
}

type full struct{}

func (full) Commit(context.Context, ...coordinator.ChangeSet) error { return errFull }

var errFull = fmt.Errorf("no space left")

func TestPastStopsWhenTheStoreFails(t *testing.T) {
	open := time.Date(2026, 11, 25, 20, 0, 0, 0, zone)
	born := open.AddDate(0, 0, -28)
	if err := New(1, born, zone).Past(t.Context(), full{}, fixed, born, open, "v", open); err == nil {
		t.Error("nothing said")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := New(1, born, zone).Past(ctx, newShelf(t), fixed, born, open, "v", open); err == nil {
		t.Error("a cancelled past went through")
	}
}

func BenchmarkPast(b *testing.B) {
	open := time.Date(2026, 11, 25, 9, 30, 0, 0, zone)
	for name, engine := range map[string]coordinator.NewEngine{"fixed": fixed, "learned": learned} {
		b.Run(name, func(b *testing.B) {
			for range b.N {
				lived(b, 1, 28, open, engine)
			}
		})
	}
}

// TestDryersHaveFewProgrammes: a dryer of the demonstration has one programme, which
// lasts as long as its load is wet; what the manager is shown of it is not a list of
// its loads.
func TestDryersHaveFewProgrammes(t *testing.T) {
	_, rooms, _ := lived(t, 1, 14, time.Date(2026, 3, 4, 18, 0, 0, 0, zone), learned)
	dryers := 0
	for id, room := range rooms {
		for _, m := range room.Snapshot(time.Date(2026, 3, 4, 18, 0, 0, 0, zone)).Machines {
			if m.Kind != queue.Dryer {
				continue
			}
			if dryers++; m.Learned.Cycles < 10 || len(m.Learned.Programmes) > 4 {
				t.Errorf("%s in %s: after %d cycles %+v", m.ID, id, m.Learned.Cycles, m.Learned.Programmes)
			}
		}
	}
	if dryers == 0 {
		t.Error("there is no dryer")
	}
}
