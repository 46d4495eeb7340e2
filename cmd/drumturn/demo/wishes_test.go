package demo

import (
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// somebody is a resident of a room who walks up to machines, or queues.
func (t *Town) somebody(room coordinator.RoomID, walksUp bool) *resident {
	for _, r := range t.residents {
		if r.room == room && r.walksUp == walksUp && r.id != Visitor {
			return r
		}
	}
	return nil
}

// cellarView is the cellar with every machine in one status.
func cellarView(status coordinator.Status) *stub {
	w := &stub{running: map[Spot]bool{}, refuse: map[reflect.Type]bool{}}
	w.snap.Room = Cellar
	for _, m := range Plans(zone)[0].Machines {
		w.snap.Machines = append(w.snap.Machines, coordinator.MachineView{Machine: m, Status: status})
	}
	return w
}

func TestWashIsPlannedAgain(t *testing.T) {
	for _, walksUp := range []bool{true, false} {
		town := New(1, noon, zone)
		town.agenda.rest(nil)
		who := town.somebody(Cellar, walksUp)
		town.run(noon, errand{task: toWash, who: who, room: Cellar}, cellarView(coordinator.Running))
		planned := 0
		for _, e := range town.agenda.list {
			if e.task == toWash && e.who == who && e.tries == 0 {
				planned++
				if !e.at.After(noon) {
					t.Errorf("the next wash is planned for %v", e.at)
				}
			}
		}
		if planned != 1 {
			t.Errorf("walks up %v: %d washes are planned", walksUp, planned)
		}
	}
}

// TestSecondTryPlansNothing: who comes back has their next wash on the agenda already.
func TestSecondTryPlansNothing(t *testing.T) {
	town := New(1, noon, zone)
	town.agenda.rest(nil)
	town.run(noon, errand{task: toWash, who: town.somebody(Cellar, true), room: Cellar, tries: 2}, cellarView(coordinator.Running))
	if len(town.agenda.list) != 0 {
		t.Errorf("planned is %+v", town.agenda.list)
	}
}

func TestQueuersJoin(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Free)
	who := town.somebody(Cellar, false)
	town.run(noon, errand{task: toWash, who: who, room: Cellar}, w)
	join, ok := w.events[0].(coordinator.Join)
	if !ok || join.Person != who.id || join.Home != who.home || join.Need != queue.Wash || len(w.hands) != 0 {
		t.Errorf("said %+v, did %q", w.events, w.hands)
	}
}

// TestOnlyWashesBookADryer: in the garden some take the machine that does both,
// and then book no dryer behind it.
func TestOnlyWashesBookADryer(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Free)
	booked, both := 0, 0
	for range 400 {
		town.wantToWash(noon, errand{task: toWash, who: town.somebody(Garden, false), room: Garden, tries: 1}, w)
	}
	for _, ev := range w.events {
		join := ev.(coordinator.Join)
		switch {
		case join.Need == queue.WashAndDry && join.DryAfter:
			t.Fatalf("books a dryer behind the machine that dries: %+v", join)
		case join.Need == queue.WashAndDry:
			both++
		case join.DryAfter:
			booked++
		}
	}
	// 30 % and 45 % of the rest: 120 and 126 of 400 expected.
	if both < 70 || both > 170 || booked < 75 || booked > 180 {
		t.Errorf("%d take both in one, %d book a dryer, of 400", both, booked)
	}
}

// TestGivingUpIsPlannedForWaitingTurns: who was called at once does not give up.
func TestGivingUpIsPlannedForWaitingTurns(t *testing.T) {
	for state, want := range map[queue.State]int{queue.Waiting: 1, queue.Called: 0} {
		town, w := New(1, noon, zone), cellarView(coordinator.Free)
		town.agenda.rest(nil)
		who := town.somebody(Cellar, false)
		w.snap.Turns = []queue.Turn{{ID: 5, Person: who.id, State: state}, {ID: 6, Person: "another", State: queue.Waiting}}
		town.wantToDry(noon, errand{task: toDry, who: who, room: Cellar}, w)
		if n := len(town.agenda.list); n != want || n == 1 && (town.agenda.list[0].task != toGiveUp || town.agenda.list[0].turn != 5) {
			t.Errorf("%v: planned is %+v", state, town.agenda.list)
		}
	}
}

// TestRefusedJoinIsNoPlan: a house that says no is bad luck, and no more.
func TestRefusedJoinIsNoPlan(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Free)
	town.agenda.rest(nil)
	w.refuse[reflect.TypeFor[coordinator.Join]()] = true
	who := town.somebody(Cellar, false)
	w.snap.Turns = []queue.Turn{{ID: 5, Person: who.id, State: queue.Waiting}}
	town.wantToDry(noon, errand{task: toDry, who: who, room: Cellar}, w)
	if len(town.agenda.list) != 0 {
		t.Errorf("planned is %+v", town.agenda.list)
	}
}

// TestWalkUpGivesUpAfterThreeTries: nobody goes down for ever.
func TestWalkUpGivesUpAfterThreeTries(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Running)
	town.agenda.rest(nil)
	who := town.somebody(Cellar, true)
	town.agenda.add(errand{at: noon, task: toDry, who: who, room: Cellar})
	looks, now := 0, noon
	for ; len(town.agenda.list) > 0 && looks < 10; looks++ {
		next := town.Next()
		if next.Before(now) {
			t.Errorf("goes back from %v to %v", now, next)
		}
		now = next
		town.Act(now, w)
	}
	if looks != 3 || len(w.hands) != 0 {
		t.Errorf("looked %d times, did %q", looks, w.hands)
	}
}

// TestWhatLooksFree: nobody opens a drum that turns, holds laundry, or is of the wrong kind.
func TestWhatLooksFree(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Free)
	washer, dryer := &w.snap.Machines[0], &w.snap.Machines[len(w.snap.Machines)-1]
	at := func(m *coordinator.MachineView) Spot { return Spot{Cellar, m.ID} }
	if !town.looksFree(at(washer), washer, queue.Wash, w) || !town.looksFree(at(dryer), dryer, queue.Dry, w) {
		t.Error("a free machine does not look free")
	}
	if town.looksFree(at(washer), washer, queue.Dry, w) || town.looksFree(at(dryer), dryer, queue.Wash, w) {
		t.Error("a machine of the wrong kind looks free")
	}
	w.running[at(washer)] = true
	town.inside[at(dryer)] = town.residents[0]
	for range 100 {
		if town.looksFree(at(washer), washer, queue.Wash, w) || town.looksFree(at(dryer), dryer, queue.Dry, w) {
			t.Fatal("a drum in use looks free")
		}
	}
}

// TestHoldsAreRespected: how often each status is taken for free, of 1000 looks.
func TestHoldsAreRespected(t *testing.T) {
	for status, bounds := range map[coordinator.Status][2]int{
		coordinator.Free: {1000, 1000}, coordinator.Held: {5, 70}, coordinator.Running: {0, 0}, coordinator.Out: {0, 0},
		coordinator.Finished: {220, 380}, coordinator.Overdue: {220, 380}, coordinator.Unknown: {220, 380},
	} {
		town, w := New(1, noon, zone), cellarView(status)
		n := 0
		for range 1000 {
			if town.looksFree(Spot{Cellar, "washer-1"}, &w.snap.Machines[0], queue.Wash, w) {
				n++
			}
		}
		if n < bounds[0] || n > bounds[1] {
			t.Errorf("%v looks free %d times of 1000, want %v", status, n, bounds)
		}
	}
}

// TestVisitorIsNeverActedFor: nobody plans a wash, a walk or a collection for
// the person at the browser.
func TestVisitorIsNeverActedFor(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Finished)
	town.agenda.rest(nil)
	visitor := town.byID[Visitor]
	town.planWash(visitor, noon)
	w.snap.Machines[0].Load = &coordinator.Load{ID: 1, Owner: Visitor, Home: visitor.home, ReadyAt: noon}
	for range 50 {
		town.Observe(noon, &w.snap, w)
	}
	if len(town.agenda.list)+len(w.events)+len(w.hands) != 0 {
		t.Errorf("planned %+v, said %+v, did %q", town.agenda.list, w.events, w.hands)
	}
}

// TestPickUpWaitsForTheEnd: a drum that turns is not opened; who came too early comes again.
func TestPickUpWaitsForTheEnd(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Running)
	town.agenda.rest(nil)
	who, at := town.somebody(Cellar, false), Spot{Cellar, "washer-1"}
	town.inside[at], w.running[at] = who, true
	town.run(noon, errand{at: noon, task: toPickUp, who: who, room: Cellar, machine: "washer-1"}, w)
	if len(w.hands) != 0 || len(town.agenda.list) != 1 || !town.agenda.list[0].at.Equal(noon.Add(10*time.Minute)) {
		t.Fatalf("did %q, planned %+v", w.hands, town.agenda.list)
	}
	w.running[at] = false
	town.Act(noon.Add(10*time.Minute), w)
	if !slices.Equal(w.hands, []string{"empty washer-1"}) || town.inside[at] != nil {
		t.Errorf("did %q, inside is %+v", w.hands, town.inside[at])
	}
}

// TestNobodyTakesAnothersLaundry: an errand for a load that is gone does nothing.
func TestNobodyTakesAnothersLaundry(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Finished)
	who := town.somebody(Cellar, false)
	for _, inside := range []*resident{nil, town.somebody(Garden, false)} {
		town.inside[Spot{Cellar, "washer-1"}] = inside
		town.run(noon, errand{at: noon, task: toPickUp, who: who, room: Cellar, machine: "washer-1"}, w)
	}
	if len(w.hands)+len(w.events) != 0 {
		t.Errorf("did %q, said %+v", w.hands, w.events)
	}
}

// TestTakenFromTheTable: who comes for a load that a neighbour put on the table says
// so, as their habit is, of their own load only.
func TestTakenFromTheTable(t *testing.T) {
	for name, c := range map[string]struct {
		taps float64
		own  bool
		want int
	}{"taps": {1, true, 1}, "never taps": {0, true, 0}, "another's": {1, false, 0}} {
		town, w := New(1, noon, zone), cellarView(coordinator.Free)
		who := town.somebody(Cellar, false)
		who.taps = c.taps
		load := coordinator.TableLoad{Load: 7, Machine: "washer-1", Owner: "another", At: noon}
		if c.own {
			load.Owner, load.Home = who.id, who.home
		}
		w.snap.Table = []coordinator.TableLoad{load}
		town.run(noon, errand{at: noon, task: toPickUp, who: who, room: Cellar, machine: "washer-1"}, w)
		if len(w.events) != c.want || c.want == 1 && w.events[0] != (coordinator.Fetched{Load: 7, Person: who.id, Home: who.home}) {
			t.Errorf("%s: said %+v", name, w.events)
		}
	}
}

// TestTapsFollowHabits: who always taps says so of their own load only.
func TestTapsFollowHabits(t *testing.T) {
	for name, c := range map[string]struct {
		taps  float64
		owner func(*resident) coordinator.PersonID
		ready bool
		want  int
	}{
		"own":          {1, func(r *resident) coordinator.PersonID { return r.id }, true, 1},
		"never taps":   {0, func(r *resident) coordinator.PersonID { return r.id }, true, 0},
		"another's":    {1, func(*resident) coordinator.PersonID { return "another" }, true, 0},
		"not yet told": {1, func(r *resident) coordinator.PersonID { return r.id }, false, 0},
	} {
		town, w := New(1, noon, zone), cellarView(coordinator.Finished)
		who := town.somebody(Cellar, false)
		who.taps = c.taps
		load := &coordinator.Load{ID: 1, Owner: c.owner(who), Home: who.home}
		if c.ready {
			load.ReadyAt = noon
		}
		w.snap.Machines[0].Load = load
		town.inside[Spot{Cellar, "washer-1"}] = who
		washed := town.takeOut(Spot{Cellar, "washer-1"}, who, w)
		if len(w.events) != c.want || !washed {
			t.Errorf("%s: said %+v; a wash: %v", name, w.events, washed)
		}
	}
}

// TestDryerIsNotBookedTwice: who has a dryer turn already takes no other.
func TestDryerIsNotBookedTwice(t *testing.T) {
	town, w := New(1, noon, zone), cellarView(coordinator.Finished)
	who := town.somebody(Cellar, false)
	e := errand{who: who, room: Cellar}
	for _, c := range []struct {
		turn queue.Turn
		want bool
	}{
		{queue.Turn{Person: who.id, Need: queue.Dry}, true},
		{queue.Turn{Person: who.id, Need: queue.Wash}, false},
		{queue.Turn{Person: "another", Need: queue.Dry}, false},
	} {
		w.snap.Turns = []queue.Turn{c.turn}
		if got := town.booked(e, w); got != c.want {
			t.Errorf("with %+v: %v", c.turn, got)
		}
	}
}

// TestAgendaKeepsOrder: errands come out by time, and those of one instant in
// the order that they were put in (checked against a stable sort).
func TestAgendaKeepsOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		minutes := rapid.SliceOf(rapid.IntRange(0, 5)).Draw(t, "minutes")
		var a agenda
		type put struct{ minute, nth int }
		var want []put
		for i, m := range minutes {
			a.add(errand{at: noon.Add(time.Duration(m) * time.Minute), tries: i})
			want = append(want, put{m, i})
		}
		slices.SortStableFunc(want, func(x, y put) int { return x.minute - y.minute })
		for _, next := range want {
			at := noon.Add(time.Duration(next.minute) * time.Minute)
			if _, early := a.pop(at.Add(-1)); early || !a.next().Equal(at) {
				t.Fatalf("an errand comes before its time %v; next is %v", at, a.next())
			}
			if e, due := a.pop(at); !due || e.tries != next.nth {
				t.Fatalf("at %v comes errand %d, want %d", at, e.tries, next.nth)
			}
		}
		if _, more := a.pop(noon.Add(time.Hour)); more || a.next().Before(noon.AddDate(1000, 0, 0)) {
			t.Fatal("an empty agenda has something to do")
		}
	})
}

// TestKeenness: the floor lifts the quiet hours only, and weekends are their own.
func TestKeenness(t *testing.T) {
	for hour := range 48 {
		at := time.Date(2026, 5, 8, hour, 30, 0, 0, time.UTC) // a Friday, then a Saturday
		plain, lifted := keenness(at, 0), keenness(at, 0.6)
		if plain < 0 || plain > 1 || lifted != max(plain, 0.6) {
			t.Errorf("%v: %v, lifted %v", at, plain, lifted)
		}
	}
	if keenness(time.Date(2026, 5, 8, 18, 0, 0, 0, time.UTC), 0) <= keenness(time.Date(2026, 5, 9, 18, 0, 0, 0, time.UTC), 0) {
		t.Error("a Saturday evening is as busy as a Friday evening")
	}
}

// TestDelayIsPositive: no delay is zero or negative, whatever is drawn.
func TestDelayIsPositive(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 10_000 {
		if d := delay(rng, 7*time.Minute); d <= 0 || d > 7*24*time.Hour {
			t.Fatalf("a delay of %s", d)
		}
	}
}

// TestSockIsForgottenOnlyInWashes: a dryer is not stopped for a sock.
func TestSockIsForgottenOnlyInWashes(t *testing.T) {
	town := New(1, noon, zone)
	town.agenda.rest(nil)
	for range 500 {
		town.forgottenSock(noon, Spot{Cellar, "dryer-4"}, sim.Dry, sim.Laundry{})
	}
	if len(town.agenda.list) != 0 {
		t.Errorf("%d dryers are stopped", len(town.agenda.list))
	}
	for range 500 {
		town.forgottenSock(noon, Spot{Cellar, "washer-1"}, sim.Quick, sim.Laundry{})
	}
	if n := len(town.agenda.list); n < 1 || n > 40 { // 2 % of 500 are 10
		t.Errorf("%d of 500 washes are stopped", n)
	}
}

// TestCodesAreForPeople: the codes on the walls can be typed on any phone, and
// tell the rooms apart.
func TestCodesAreForPeople(t *testing.T) {
	seen := map[string]bool{}
	for room, code := range Codes() {
		if seen[code] || len(code) < 8 || strings.Trim(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ-") != "" {
			t.Errorf("the code of %s is %q", room, code)
		}
		seen[code] = true
	}
}
