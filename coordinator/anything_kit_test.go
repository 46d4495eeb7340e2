package coordinator

import (
	"bytes"
	"encoding/json"
	"slices"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// anything is a room to which anything may happen, at any time, with the program
// killed between any two steps. It keeps what a store, an outbox and somebody who
// reads the log would know.
type anything struct {
	rt    *rapid.T
	plan  Plan
	room  *Room
	now   time.Time
	store Stored
	watts map[MachineID]float64
	deaf  map[MachineID]bool // its meter is not heard
	// keys are those of every notice ever made, unsent what no later set withdrew.
	keys   map[string]bool
	unsent map[string]Notice
	gone   map[LoadID]bool // collected
	shelf  shelf
	// before is the line as it was before the step, house what the room said of it.
	before queue.Line
	house  *queue.House
	calm   bool // nothing unusual happens any more
	// did counts what the histories of a test have seen.
	did map[string]int
}

// fickleEngine is a plain engine that can also be wrong: it takes back the start
// of a cycle at 7.5 W, the end of one at 11.5 W, and presumes an end that it did not see.
type fickleEngine struct{ plainEngine }

func newFickle(cycle.Settings) cycle.Engine { return &fickleEngine{} }

// The powers that make a fickle engine think again.
const (
	noCycleW = 7.5
	goesOnW  = 11.5
)

func (e *fickleEngine) Read(now time.Time, r cycle.Reading) []cycle.Event {
	silent, running, start := e.S.Silent, e.S.Running, e.S.Start
	events := e.plainEngine.Read(now, r)
	for k := range events {
		switch ev := &events[k]; {
		case ev.Kind.Ends() && r.Watts == noCycleW:
			*ev = cycle.Event{Kind: cycle.Withdrawn, At: now, Start: ev.Start}
		case ev.Kind.Ends() && silent:
			ev.Kind = cycle.Presumed
		case ev.Kind == cycle.Started && r.Watts == goesOnW && !start.IsZero() && !running:
			e.S.Start = start
			*ev = cycle.Event{Kind: cycle.Resumed, At: now, Start: start}
		}
	}
	return events
}

// anyRoom is a room of one of three plans in which every meter was heard once.
func anyRoom(rt *rapid.T, did map[string]int) *anything {
	a := &anything{
		rt: rt, plan: anyPlan(rt), now: noon, did: did, watts: map[MachineID]float64{}, deaf: map[MachineID]bool{},
		keys: map[string]bool{}, unsent: map[string]Notice{}, gone: map[LoadID]bool{}, shelf: newShelf(),
	}
	a.room = NewRoom(a.plan, newFickle)
	a.step(Founded{})
	for _, m := range a.plan.Machines {
		a.power(m.ID, 1)
	}
	return a
}

// step tells the room something, after what had fallen due before it: a refusal
// must then change nothing. It reports whether the room took it.
func (a *anything) step(ev Event) bool {
	a.tell(Tick{})
	_, err := a.tell(ev)
	if a.did[eventName(ev)]++; err != nil {
		a.did["refused"]++
	}
	if a.chance("killed", 3) {
		a.reopen(0)
	}
	return err == nil
}

// tell steps one event and books what it gives.
func (a *anything) tell(ev Event) (ChangeSet, error) {
	a.remember()
	set, _, err := a.room.Step(a.now, ev)
	if err != nil {
		if refusal, ok := err.(*Error); !ok || refusal.Key == "" || refusal.Text == "" {
			a.rt.Fatalf("%T was refused by %v", ev, err)
		}
		if set.Moves() {
			a.rt.Fatalf("%T was refused (%v), and changed %+v", ev, err, set)
		}
	}
	if set.Moves() && a.chance("killed before the commit", 40) {
		a.did["killed before the commit"]++
		a.restore(a.now)
		return ChangeSet{}, nil
	}
	a.book(set)
	if err == nil {
		a.shelf.took(ev, func(id LoadID) (PersonID, HomeID) {
			l := a.room.load(id)
			if l == nil {
				return "", ""
			}
			return l.Owner, l.Home
		})
	}
	a.mustHold(set)
	return set, err
}

// remember keeps what a step is to be compared with.
func (a *anything) remember() {
	a.before, a.house = slices.Clone(a.room.state.Turns), a.room.house()
	soon, whose := map[uint64]bool{}, map[uint64]HomeID{}
	for _, t := range a.before {
		soon[t.Behind] = t.Behind != 0 && a.house.Soon(t.Behind)
		whose[t.Carries] = a.house.Whose(t.Carries)
	}
	a.house.Soon = func(load uint64) bool { return soon[load] }
	a.house.Whose = func(load uint64) HomeID { return whose[load] }
}

// power reads a machine's meter.
func (a *anything) power(id MachineID, watts float64) {
	if last := a.room.engines[a.room.index(id)].Status().Last.At; !a.now.After(last) {
		a.now = last.Add(time.Millisecond)
	}
	a.watts[id], a.deaf[id] = watts, false
	reading := cycle.Power(a.now, watts)
	killed := a.did["killed before the commit"]
	set, _ := a.tell(Measured{Machine: id, Reading: reading})
	if len(set.Checkpoints) == 0 && killed == a.did["killed before the commit"] {
		a.store.Tail = append(a.store.Tail, MachineReading{Machine: id, Reading: reading})
	}
}

// book stores a change set, and puts its notices into the outbox.
func (a *anything) book(set ChangeSet) {
	a.store = stored(a.rt, a.store, set)
	for _, f := range set.Facts {
		a.did["fact "+string(f.Kind)]++
		a.shelf.wrote(f)
		switch f.Kind {
		case FactCollected:
			a.gone[f.Load] = true
		case FactStillIn:
			delete(a.gone, f.Load)
		}
	}
	for _, subject := range set.Withdraw {
		for key, n := range a.unsent {
			if n.Subject == subject {
				delete(a.unsent, key)
			}
		}
	}
	for _, n := range set.Notices {
		a.did["notice "+string(n.Kind)]++
		if a.keys[n.Key()] {
			a.rt.Fatalf("notice %s was made twice", n.Key())
		}
		a.keys[n.Key()], a.unsent[n.Key()] = true, n
	}
}

// stored is what a store holds after a set.
func stored(rt *rapid.T, s Stored, set ChangeSet) Stored {
	if !set.Moves() {
		return s
	}
	if set.Expect != s.Seq {
		rt.Fatalf("a set expects %d, the store is at %d", set.Expect, s.Seq)
	}
	s.Seq++
	s.At = set.At
	s.Rows = putRows(s.Rows, set.Rows)
	for _, c := range set.Checkpoints {
		s.Checkpoints = append(deleteCheckpoint(s.Checkpoints, c.Machine), c)
		s.Tail = slices.DeleteFunc(slices.Clone(s.Tail), func(m MachineReading) bool { return m.Machine == c.Machine })
	}
	return s
}

// reopen kills the room, and opens it again from what was committed. The readings
// of the last seconds may be lost.
func (a *anything) reopen(down time.Duration) {
	a.tell(Tick{})
	want, _ := json.Marshal([]any{&a.room.state, a.room.versions})
	since := later(a.now, a.room.state.Now) // the clock may have been put back meanwhile
	a.now = later(a.now, since.Add(down))
	if n := len(a.store.Tail); n > 0 && down > 0 && a.chance("readings lost", 2) {
		a.store.Tail = slices.Clone(a.store.Tail[:n-1])
	}
	a.restore(since)
	a.did["reopened"]++
	if got, _ := json.Marshal([]any{&a.room.state, a.room.versions}); down == 0 && !bytes.Equal(want, got) {
		from := max(0, commonPrefix(want, got)-60)
		a.rt.Fatalf("the room was ...%.200s and is, opened again, ...%.200s", want[from:], got[from:])
	}
}

func (a *anything) restore(since time.Time) {
	room, err := Restore(a.plan, a.store, newFickle)
	if err != nil {
		a.rt.Fatal(err)
	}
	// Nothing depends on the now of a reading that changed nothing.
	room.state.Now = later(room.state.Now, a.room.state.Now)
	a.room = room
	a.remember()
	set, _, err := room.Step(a.now, Reopened{Since: since})
	if err != nil {
		a.rt.Fatal(err)
	}
	a.book(set)
	a.mustHold(set)
}

// pass lets time pass: every deadline at its own instant, each meter that speaks
// heard every five minutes.
func (a *anything) pass(d time.Duration) {
	for end := a.now.Add(d); a.now.Before(end); {
		next := a.now.Add(min(5*time.Minute, end.Sub(a.now)))
		a.meet(next)
		a.now = later(a.now, next)
		for _, m := range a.plan.Machines {
			if !a.deaf[m.ID] {
				a.power(m.ID, a.watts[m.ID])
			}
		}
	}
}

// meet steps a tick at each deadline until an instant.
func (a *anything) meet(until time.Time) {
	for due := a.room.Deadline(); !due.IsZero() && !due.After(until); due = a.room.Deadline() {
		a.nothingBefore(due)
		a.now = later(a.now, due)
		a.tell(Tick{})
	}
	a.nothingBefore(until)
}

// nothingBefore: until the next deadline a tick has nothing to do, but for calls
// ahead of a wash's end, whose time is told to the second.
func (a *anything) nothingBefore(at time.Time) {
	at = at.Add(-time.Millisecond)
	if !at.After(a.room.state.Now) || !at.After(a.now) {
		return
	}
	set, _, _ := a.room.Step(at, Tick{})
	a.book(set)
	toTheSecond := slices.ContainsFunc(set.Facts, func(f Fact) bool { return f.Note == earlyNote })
	if set.Moves() && !toTheSecond {
		a.rt.Fatalf("no deadline was told, and at %s something happens:\n%s", at, facts(set))
	}
}

// chance is true once in n times. It is drawn only where it may be: what rapid
// shrinks away is the unusual.
func (a *anything) chance(what string, n int) bool {
	return !a.calm && rapid.IntRange(0, n-1).Draw(a.rt, what) == n-1
}

// commonPrefix is how many bytes two texts begin with alike.
func commonPrefix(a, b []byte) int {
	n := 0
	for n < len(a) && n < len(b) && a[n] == b[n] {
		n++
	}
	return n
}
