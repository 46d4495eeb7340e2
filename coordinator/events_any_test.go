package coordinator

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// guess tells the room any event at all, with anything in it. What must hold holds
// all the same, and the board that somebody reads just now does not change under them.
func (a *anything) guess() {
	g := newGuesser(a.rt, a.now).ofRoom(a.room)
	ev := guessed(g, roomEvents)
	if m, ok := ev.(Measured); ok {
		if a.room.index(m.Machine) >= 0 { // as the meter of the machine says it
			a.power(m.Machine, rapid.SampledFrom([]float64{0, 1, 300}).Draw(a.rt, "watts"))
			a.did["guessed Measured"]++
			return
		}
		ev = Measured{Machine: m.Machine, Reading: g.reading()}
	}
	if r, ok := ev.(Reopened); ok && r.Since.After(a.now) {
		ev = Reopened{Since: a.now} // it was not down in the future
	}
	board := a.room.Snapshot(a.now)
	before, _ := json.Marshal(board)
	a.step(ev)
	a.did["guessed "+eventName(ev)]++
	if after, _ := json.Marshal(board); !bytes.Equal(before, after) {
		from := max(0, commonPrefix(before, after)-60)
		a.rt.Fatalf("%s changed a board that was shown before: ...%.200s became ...%.200s", described(ev), before[from:], after[from:])
	}
}

// TestSameEventsSameBytes: two rooms that are told the same store the same, byte
// for byte, tell the same people, and refuse the same.
func TestSameEventsSameBytes(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		plan := anyPlan(rt)
		a, b := NewRoom(plan, newFickle), NewRoom(plan, newFickle)
		now := noon
		for range rapid.IntRange(10, 60).Draw(rt, "steps") {
			now = now.Add(time.Duration(rapid.SampledFrom([]int{0, 1, 30, 90, 600, 4000}).Draw(rt, "seconds")) * time.Second)
			g := newGuesser(rt, now).ofRoom(a)
			ev := guessed(g, roomEvents)
			if m, ok := ev.(Measured); ok || rapid.Bool().Draw(rt, "a meter speaks") {
				m.Machine = rapid.SampledFrom(plan.Machines).Draw(rt, "of").ID
				ev = Measured{Machine: m.Machine, Reading: cycle.Power(now, g.reading().Watts)}
			}
			one, two := answer(a, now, ev), answer(b, now, ev)
			if !bytes.Equal(one, two) {
				rt.Fatalf("%s gave once\n%s\nand once\n%s", described(ev), one, two)
			}
		}
	})
}

// answer is all that a step gives, as bytes.
func answer(r *Room, now time.Time, ev Event) []byte {
	set, reply, err := r.Step(now, ev)
	data, bad := json.Marshal([]any{set, reply, err, r.Deadline(), r.Snapshot(now)})
	if bad != nil {
		return []byte(bad.Error())
	}
	return data
}

// TestStepsCostNoMoreThanMachinesTimesTurns: how often a step asks the engines
// grows with the machines, and with the turns that wait, no faster.
func TestStepsCostNoMoreThanMachinesTimesTurns(t *testing.T) {
	for _, c := range []struct {
		name string
		ev   func(m MachineID) Event
		most func(machines, turns int) int // questions
	}{
		{"tick", func(MachineID) Event { return Tick{} }, func(m, n int) int { return 12*m + 8*n }},
		{"claim", func(m MachineID) Event { return Claim{Machine: m, Person: "anna", Home: "home-anna"} }, func(m, n int) int { return 12*m + 8*n }},
		{"leave", func(MachineID) Event { return Leave{Turn: 1, Person: "p0", Home: "h0"} }, func(m, n int) int { return 12*m + 8*n }},
	} {
		for _, size := range []struct{ machines, turns int }{{5, 5}, {20, 20}, {20, 200}, {200, 20}} {
			room, asked := busyRoom(t, size.machines, size.turns)
			*asked = 0
			if _, _, err := room.Step(noon.Add(time.Minute), c.ev(room.plan.Machines[0].ID)); err != nil {
				t.Fatal(err)
			}
			if most := c.most(size.machines, size.turns); *asked > most {
				t.Errorf("%s, %d machines, %d turns: the engines were asked %d times, at most %d is linear", c.name, size.machines, size.turns, *asked, most)
			}
		}
	}
}

// countingEngine counts what it is asked.
type countingEngine struct {
	plainEngine
	asked *int
}

func (e *countingEngine) Next() time.Time      { *e.asked++; return e.plainEngine.Next() }
func (e *countingEngine) Status() cycle.Status { *e.asked++; return e.plainEngine.Status() }
func (e *countingEngine) Tick(now time.Time) []cycle.Event {
	*e.asked++
	return e.plainEngine.Tick(now)
}

// busyRoom has every machine running, and turns that wait for one.
func busyRoom(t *testing.T, machines, turns int) (*Room, *int) {
	asked, plan := new(int), testPlan()
	for n := len(plan.Machines) + 1; n <= machines; n++ {
		m := plan.Machines[0]
		m.ID, m.Number = MachineID(fmt.Sprint("m", n)), n
		plan.Machines = append(plan.Machines, m)
	}
	room := NewRoom(plan, func(cycle.Settings) cycle.Engine { return &countingEngine{asked: asked} })
	for _, m := range plan.Machines {
		room.Measure(noon, m.ID, cycle.Power(noon, 300))
	}
	for k := range turns {
		if _, _, err := room.Step(noon, Join{Person: PersonID(fmt.Sprint("p", k)), Home: HomeID(fmt.Sprint("h", k)), Need: queue.Wash}); err != nil {
			t.Fatal(err)
		}
	}
	if n := len(room.state.Turns); n != turns || slices.ContainsFunc(room.state.Machines, func(m machineState) bool { return !m.Running }) {
		t.Fatalf("%d turns wait, want %d", n, turns)
	}
	return room, asked
}
