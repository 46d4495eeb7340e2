package demo

import (
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// stub is a world with one snapshot for all rooms, which writes down what is done to it.
type stub struct {
	snap    coordinator.Snapshot
	running map[Spot]bool
	refuse  map[reflect.Type]bool
	events  []coordinator.Event
	hands   []string
}

func (s *stub) Snapshot(coordinator.RoomID) *coordinator.Snapshot { return &s.snap }

func (s *stub) Do(_ coordinator.RoomID, ev coordinator.Event) error {
	s.events = append(s.events, ev)
	if s.refuse[reflect.TypeOf(ev)] {
		return coordinator.Refuse(coordinator.Conflict, "no", "No.")
	}
	return nil
}

func (s *stub) hand(what string, at Spot) error {
	s.hands = append(s.hands, what+" "+string(at.Machine))
	return nil
}

func (s *stub) Start(at Spot, p sim.Programme, _ sim.Laundry) error {
	return s.hand("start "+p.String(), at)
}
func (s *stub) Stop(at Spot) error           { return s.hand("stop", at) }
func (s *stub) Empty(at Spot, _ bool) error  { return s.hand("empty", at) }
func (s *stub) Last(at Spot) (sim.Run, bool) { return sim.Run{Programme: sim.Quick}, s.running[at] }
func (s *stub) Silence(at Spot, _ time.Time) { _ = s.hand("silence", at) }
func (s *stub) Cut(at Spot, _ time.Time)     { _ = s.hand("cut", at) }
func (s *stub) Course(at Spot, p sim.Programme, l sim.Laundry) (sim.Course, error) {
	m, _ := sim.ModelNamed("washer")
	return sim.Make(m, p, l, 1)
}

var noon = time.Date(2026, 5, 6, 12, 0, 0, 0, zone)

// calledTo is a town and a world in which the visitor is called to a washer.
func calledTo(loadInside bool) (*Town, *stub, errand) {
	town := New(1, noon, zone)
	turn := queue.Turn{
		ID: 7, Person: Visitor, Home: homeID(visitorHome), Need: queue.Wash, State: queue.Called,
		Machine: "washer-2", CalledAt: noon, HoldUntil: noon.Add(12 * time.Minute), Calls: 1,
	}
	m := coordinator.MachineView{
		Machine: Plans(zone)[0].Machines[1], Status: coordinator.Held,
		Hold: &coordinator.Hold{Turn: 7, Until: turn.HoldUntil, LoadInside: loadInside},
	}
	if loadInside {
		m.Load = &coordinator.Load{ID: 3, Machine: m.ID, Owner: "somebody", ReadyAt: noon.Add(-time.Hour)}
		town.inside[Spot{Cellar, m.ID}] = town.residents[0]
	}
	w := &stub{snap: coordinator.Snapshot{Room: Cellar, At: noon, Machines: []coordinator.MachineView{m}, Turns: []queue.Turn{turn}}}
	return town, w, errand{at: noon.Add(4 * time.Minute), task: toStart, who: town.byID[Visitor], room: Cellar, turn: 7}
}

func TestCalledResidentStarts(t *testing.T) {
	town, w, e := calledTo(false)
	town.comeToStart(e.at, e, w)
	if len(w.hands) != 1 || w.hands[0][:5] != "start" {
		t.Errorf("did %q", w.hands)
	}
	if town.inside[Spot{Cellar, "washer-2"}] != e.who {
		t.Error("the laundry is not in the drum")
	}
}

func TestCalledResidentClearsTheDrumFirst(t *testing.T) {
	town, w, e := calledTo(true)
	town.comeToStart(e.at, e, w)
	if len(w.hands) != 2 || w.hands[0] != "empty washer-2" {
		t.Errorf("did %q", w.hands)
	}
	for _, ev := range w.events {
		if c, ok := ev.(coordinator.Collect); !ok || !c.OnTable || c.Machine != "washer-2" {
			t.Errorf("said %+v", ev)
		}
	}
}

func TestCalledResidentFindsItTaken(t *testing.T) {
	town, w, e := calledTo(false)
	w.running = map[Spot]bool{{Cellar, "washer-2"}: true}
	town.comeToStart(e.at, e, w)
	if len(w.hands)+len(w.events) != 0 {
		t.Errorf("did %q and said %+v", w.hands, w.events)
	}
	w.running = nil
	w.snap.Turns = nil
	town.comeToStart(e.at, e, w)
	if len(w.hands) != 0 {
		t.Errorf("started without a turn: %q", w.hands)
	}
}

// A call is answered once, however often the room is looked at.
func TestCallIsSeenOnce(t *testing.T) {
	town, w, _ := calledTo(false)
	before := len(town.agenda.list)
	for range 3 {
		town.Observe(noon, &w.snap, w)
	}
	if n := len(town.agenda.list) - before; n != 1 {
		t.Errorf("%d errands from one call", n)
	}
	w.snap.Turns[0].Calls = 2
	town.Observe(noon, &w.snap, w)
	if n := len(town.agenda.list) - before; n != 2 {
		t.Errorf("%d errands after a second call", n)
	}
}

func TestLaterFallsBackToNotNow(t *testing.T) {
	for _, alone := range []bool{true, false} {
		w := &stub{refuse: map[reflect.Type]bool{reflect.TypeFor[coordinator.LetNext](): alone}}
		later(noon, Cellar, 7, &resident{id: "a", home: "h"}, w)
		_, notNow := w.events[len(w.events)-1].(coordinator.NotNow)
		if notNow != alone {
			t.Errorf("alone %v: said %+v", alone, w.events)
		}
	}
}

// A ready load is fetched once, and a nudge is one more reason to come.
func TestReadyLoadIsFetched(t *testing.T) {
	town, w, _ := calledTo(true)
	owner := town.residents[0]
	owner.taps = 1
	w.snap.Machines[0].Load.Owner = owner.id
	at := Spot{Cellar, "washer-2"}
	before := len(town.agenda.list)
	town.seeReady(noon, Cellar, &w.snap.Machines[0])
	town.seeReady(noon, Cellar, &w.snap.Machines[0])
	w.snap.Machines[0].Load.Steps = 1
	town.seeReady(noon, Cellar, &w.snap.Machines[0])
	if n := len(town.agenda.list) - before; n != 2 {
		t.Errorf("%d errands, want one for the notice and one for the nudge", n)
	}
	fetch := errand{at: noon, task: toPickUp, who: owner, room: Cellar, machine: at.Machine, load: 3}
	town.comeToPickUp(noon, fetch, w)
	town.comeToPickUp(noon, fetch, w)
	if len(w.hands) != 1 || w.hands[0] != "empty washer-2" || town.inside[at] != nil {
		t.Errorf("did %q", w.hands)
	}
	if len(w.events) != 1 {
		t.Errorf("said %+v", w.events)
	}
}

// Walk-ups leave held and full machines alone, most of the time.
func TestWalkUpPicksAFreeMachine(t *testing.T) {
	town, w, _ := calledTo(false)
	w.snap.Machines[0].Status = coordinator.Free
	who := &resident{id: "a", home: "h", walksUp: true, late: 1}
	town.walkUp(noon, errand{at: noon, task: toWash, who: who, room: Cellar}, queue.Wash, w)
	if len(w.hands) != 1 || town.inside[Spot{Cellar, "washer-2"}] != who {
		t.Errorf("did %q", w.hands)
	}
	before := len(town.agenda.list)
	town.walkUp(noon, errand{at: noon, task: toWash, who: who, room: Cellar}, queue.Wash, w)
	if len(w.hands) != 1 || len(town.agenda.list) != before+1 {
		t.Errorf("at a full machine: did %q", w.hands)
	}
	town.walkUp(noon, errand{at: noon, task: toWash, who: who, room: Cellar, tries: 2}, queue.Wash, w)
	if len(town.agenda.list) != before+1 {
		t.Error("keeps coming for ever")
	}
}

func TestGiveUpOnlyWhileWaiting(t *testing.T) {
	town, w, e := calledTo(false)
	town.giveUp(e, w)
	if len(w.events) != 0 {
		t.Errorf("left although called: %+v", w.events)
	}
	w.snap.Turns[0].State = queue.Waiting
	town.giveUp(e, w)
	if len(w.events) != 1 {
		t.Errorf("said %+v", w.events)
	}
}

// Whoever is called to a dryer carries their finished wash over.
func TestDryingEmptiesTheWasher(t *testing.T) {
	town, w, e := calledTo(false)
	plan := Plans(zone)[0]
	e.who.taps = 1
	w.snap.Turns[0].Need, w.snap.Turns[0].Machine = queue.Dry, "dryer-5"
	w.snap.Machines = []coordinator.MachineView{
		{Machine: plan.Machines[0], Load: &coordinator.Load{ID: 5, Owner: Visitor, ReadyAt: noon}},
		{Machine: plan.Machines[4]},
	}
	town.inside[Spot{Cellar, "washer-1"}] = e.who
	town.comeToStart(e.at, e, w)
	if len(w.hands) != 2 || w.hands[0] != "empty washer-1" || w.hands[1] != "start dry dryer-5" {
		t.Errorf("did %q", w.hands)
	}
	if len(w.events) != 1 {
		t.Errorf("said %+v", w.events)
	}
	if town.inside[Spot{Cellar, "washer-1"}] != nil || town.inside[Spot{Cellar, "dryer-5"}] != e.who {
		t.Errorf("inside %v", town.inside)
	}
}

// One in fifty washes is stopped for something forgotten, and started again.
func TestForgottenSock(t *testing.T) {
	town, w, _ := calledTo(false)
	at := Spot{Cellar, "washer-2"}
	w.running = map[Spot]bool{at: true}
	town.agenda.rest(nil)
	for range 2000 {
		town.forgottenSock(noon, at, sim.Quick, sim.Laundry{})
		town.forgottenSock(noon, at, sim.Dry, sim.Laundry{})
	}
	// 40 of 2,000 washes, and no dry; within five standard deviations of 6.
	if n := len(town.agenda.list); n < 10 || n > 70 {
		t.Fatalf("%d of 2,000 washes stopped", n)
	}
	town.agenda.rest(town.agenda.list[:1])
	town.Act(noon.Add(3*time.Hour), w)
	if len(w.hands) != 1 || w.hands[0] != "stop washer-2" {
		t.Fatalf("did %q", w.hands)
	}
	town.Act(noon.Add(4*time.Hour), w)
	if len(w.hands) != 2 || w.hands[1] != "start quick washer-2" {
		t.Errorf("did %q", w.hands)
	}
}

// A wash is followed by drying in some cases, unless a dryer was booked ahead.
func TestSomeDryAfterwards(t *testing.T) {
	for _, booked := range []bool{true, false} {
		town, w, _ := calledTo(true)
		owner := town.residents[0]
		w.snap.Turns = nil
		if booked {
			w.snap.Turns = []queue.Turn{{ID: 9, Person: owner.id, Need: queue.Dry, State: queue.Waiting}}
		}
		at := Spot{Cellar, "washer-2"}
		town.agenda.rest(nil)
		for range 200 {
			town.inside[at] = owner
			town.comeToPickUp(noon, errand{at: noon, task: toPickUp, who: owner, room: Cellar, machine: at.Machine}, w)
		}
		// 80 of 200, within five standard deviations of 7.
		if n := len(town.agenda.list); booked && n != 0 || !booked && (n < 45 || n > 115) {
			t.Errorf("booked %v: %d of 200 want a dryer", booked, n)
		}
	}
}

// A claim is made only for what the resident has really started.
func TestClaim(t *testing.T) {
	town, w, _ := calledTo(true)
	who := town.residents[0]
	e := errand{task: toClaim, who: who, room: Cellar, machine: "washer-2"}
	town.claim(e, w)
	if len(w.events) != 0 {
		t.Errorf("claimed an owned load: %+v", w.events)
	}
	w.snap.Machines[0].Load.Owner = ""
	town.claim(e, w)
	if len(w.events) != 1 {
		t.Errorf("said %+v", w.events)
	}
	town.inside[Spot{Cellar, "washer-2"}] = town.residents[1]
	town.claim(e, w)
	if len(w.events) != 1 {
		t.Error("claimed somebody else's load")
	}
}
