package demo

import (
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

func TestPlayersStartInTime(t *testing.T) {
	w := &stub{}
	hold := noon.Add(12 * time.Minute)
	c, _ := w.Course(Spot{}, sim.Quick, sim.Laundry{Kg: 4})
	for name, x := range map[string]struct {
		p    part
		want time.Time
	}{
		"for an end":         {part{programme: sim.Quick, laundry: sim.Laundry{Kg: 4}, endAt: noon.Add(5*time.Minute + c.End)}, noon.Add(5 * time.Minute)},
		"for an end too far": {part{programme: sim.Quick, laundry: sim.Laundry{Kg: 4}, endAt: noon.Add(5*time.Hour + c.End)}, hold.Add(-time.Minute)},
		"for an end gone by": {part{programme: sim.Quick, laundry: sim.Laundry{Kg: 4}, endAt: noon}, noon.Add(20 * time.Second)},
		"at a time":          {part{programme: sim.Dry, comeAt: noon.Add(3 * time.Minute)}, noon.Add(3 * time.Minute)},
	} {
		if got := x.p.startAt(noon, Spot{}, hold, w); !got.Equal(x.want) {
			t.Errorf("%s: starts at %v, want %v", name, got, x.want)
		}
	}
}

func TestCastIsSixHomesWithoutLoads(t *testing.T) {
	town := New(1, noon, zone)
	w := &stub{}
	first := town.cast(w)[0]
	w.snap.Machines = []coordinator.MachineView{{Load: &coordinator.Load{Home: first.home}}}
	cast := town.cast(w)
	homes := map[coordinator.HomeID]bool{}
	for _, r := range cast {
		if homes[r.home] || r.walksUp || r.room != Cellar || r.home == first.home || r.id == Visitor {
			t.Errorf("%+v is in the cast", r)
		}
		homes[r.home] = true
	}
	if len(cast) != 6 {
		t.Errorf("a cast of %d", len(cast))
	}
}

// clutter is a room in the midst of use: two waiting, one called, one started;
// a load that is done and one that runs.
func clutter() (*Town, *stub) {
	town := New(1, noon, zone)
	w := &stub{running: map[Spot]bool{{Cellar, "washer-2"}: true}}
	for i, state := range []queue.State{queue.Waiting, queue.Called, queue.Started} {
		w.snap.Turns = append(w.snap.Turns, queue.Turn{ID: coordinator.TurnID(i + 1), Person: "a", Home: "h", State: state})
	}
	for _, m := range Plans(zone)[0].Machines {
		w.snap.Machines = append(w.snap.Machines, coordinator.MachineView{Machine: m})
	}
	for _, m := range Plans(zone)[1].Machines {
		w.snap.Machines = append(w.snap.Machines, coordinator.MachineView{Machine: m})
	}
	w.snap.Machines[0].Load = &coordinator.Load{ID: 1, Owner: "a", Home: "h", ReadyAt: noon}
	w.snap.Machines[1].Load = &coordinator.Load{ID: 2, Owner: "b", Home: "i"}
	town.inside[Spot{Cellar, "washer-1"}] = town.residents[0]
	return town, w
}

func TestLeaveAllLeavesTheStartedAlone(t *testing.T) {
	town, w := clutter()
	leaveAll(town, noon, w)
	for _, ev := range w.events {
		if l, ok := ev.(coordinator.Leave); !ok || l.Turn == 3 {
			t.Errorf("said %+v", ev)
		}
	}
	// The stub shows the same two turns for both rooms.
	if len(w.events) != 4 {
		t.Errorf("%d events", len(w.events))
	}
}

func TestStopAllStopsWhatRuns(t *testing.T) {
	town, w := clutter()
	stopAll(town, noon, w)
	if !slices.Equal(w.hands, []string{"stop washer-2"}) {
		t.Errorf("did %q", w.hands)
	}
}

func TestCollectAllEmptiesEverything(t *testing.T) {
	town, w := clutter()
	collectAll(town, noon, w)
	if len(town.inside) != 0 || len(w.hands) != len(town.spots) {
		t.Errorf("inside %v, did %q", town.inside, w.hands)
	}
	collected := 0
	for _, ev := range w.events {
		if c, ok := ev.(coordinator.Collect); ok {
			collected++
			if c.Machine != "washer-1" || c.Person != "a" {
				t.Errorf("collected %+v", c)
			}
		}
	}
	// Both rooms have a washer-1, and the stub shows the load in either.
	if collected != 2 {
		t.Errorf("%d collected", collected)
	}
}

// A drum that really holds laundry is not tidied away.
func TestTidyKeepsRealLoads(t *testing.T) {
	town, w := clutter()
	town.inside[Spot{Garden, "washer-1"}] = town.residents[1]
	tidy(town, noon, w)
	if len(w.events) != 0 {
		t.Errorf("said %+v", w.events)
	}
}

// In four weeks a machine is out for a while and the supply fails once; the scene
// takes the garden's dryer out and silences the washer-dryer's meter.
func TestWhatHappensToTheBuilding(t *testing.T) {
	town, w := New(1, noon, zone), &stub{}
	town.agenda.rest(nil) // only what follows
	open := noon.AddDate(0, 0, 28)
	town.stageMonth(noon)
	town.stageGarden(open)
	town.Act(open, w)
	var words []string
	for _, ev := range w.events {
		switch e := ev.(type) {
		case coordinator.TakeOut:
			words = append(words, "out "+string(e.Machine))
			if e.Person == "" || e.Text == "" {
				t.Errorf("taken out by nobody or without a reason: %+v", e)
			}
		case coordinator.PutBack:
			words = append(words, "back "+string(e.Machine))
		case coordinator.ReportFault:
			words = append(words, "fault "+string(e.Machine))
		}
	}
	want := []string{"out washer-2", "back washer-2", "fault dryer-2", "out dryer-2"}
	if !slices.Equal(words, want) {
		t.Errorf("events %q, want %q", words, want)
	}
	cuts := 0
	for _, h := range w.hands {
		if strings.HasPrefix(h, "cut") {
			cuts++
		}
	}
	if cuts != 5 || w.hands[len(w.hands)-1] != "silence washer-dryer-3" {
		t.Errorf("did %q", w.hands)
	}
}

// While the scene is set nobody else thinks of laundry.
func TestQuietBeforeTheScene(t *testing.T) {
	town := New(1, noon, zone)
	open := noon.Add(6 * time.Hour)
	town.Stage(open)
	w := &stub{}
	who := town.residents[0]
	for _, task := range []task{toWash, toDry} {
		town.run(open.Add(-time.Hour), errand{task: task, who: who, room: Cellar, tries: 1}, w)
	}
	if len(w.events)+len(w.hands) != 0 {
		t.Errorf("said %+v, did %q", w.events, w.hands)
	}
	for range 200 {
		town.planWash(&resident{room: Cellar, weekly: 100}, open.Add(-3*time.Hour))
	}
	for _, e := range town.agenda.list {
		if e.task == toWash && town.quiet(e.at) && e.who.weekly == 100 {
			t.Fatalf("a wash is planned for %v", e.at)
		}
	}
}
