package coordinator

import (
	"fmt"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// mutedEngine has nothing to say and allocates nothing.
type mutedEngine struct{ plainEngine }

func (e *mutedEngine) Read(_ time.Time, r cycle.Reading) []cycle.Event { e.S.Last = r; return nil }
func (e *mutedEngine) Tick(time.Time) []cycle.Event                    { return nil }
func (e *mutedEngine) Next() time.Time                                 { return time.Time{} }

// bigRoom has n machines, each heard once, and half as many turns of homes that
// wait for a dryer to be repaired.
func bigRoom(tb testing.TB, n int) *Room {
	tb.Helper()
	plan := testPlan()
	base := plan.Machines[0]
	plan.Machines = nil
	for i := range n {
		m := base
		m.ID, m.Number = MachineID(fmt.Sprint("m", i)), i+1
		plan.Machines = append(plan.Machines, m)
	}
	room := NewRoom(plan, func(cycle.Settings) cycle.Engine { return &mutedEngine{} })
	for i := range plan.Machines {
		room.Measure(noon, plan.Machines[i].ID, cycle.Power(noon, 1))
		if _, _, err := room.Step(noon, TakeOut{Machine: plan.Machines[i].ID}); err != nil {
			tb.Fatal(err)
		}
	}
	for i := range n / 2 {
		home := fmt.Sprint("h", i)
		if _, _, err := room.Step(noon, Join{Person: PersonID(home), Home: HomeID(home), Need: queue.Wash}); err != nil {
			tb.Fatal(err)
		}
	}
	return room
}

// TestQuietReadingAllocatesNothing: a reading that changes nothing is by far
// the most frequent event of a room.
func TestQuietReadingAllocatesNothing(t *testing.T) {
	room, now := bigRoom(t, 20), noon
	allocs := testing.AllocsPerRun(1000, func() {
		now = now.Add(time.Second)
		if set := room.Measure(now, "m7", cycle.Power(now, 1)); set.Moves() {
			t.Fatal("a reading that says nothing new moves the state")
		}
	})
	if allocs != 0 {
		t.Errorf("a quiet reading allocates %v times", allocs)
	}
}

func BenchmarkMeasure(b *testing.B) {
	each(b, func(b *testing.B, room *Room) {
		now := noon
		for b.Loop() {
			now = now.Add(time.Second)
			room.Measure(now, "m0", cycle.Power(now, 1))
		}
	})
}

func BenchmarkTick(b *testing.B) {
	each(b, func(b *testing.B, room *Room) {
		now := noon
		for b.Loop() {
			now = now.Add(time.Second)
			if _, _, err := room.Step(now, Tick{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkFault is a step that changes the state: all of it is encoded.
func BenchmarkFault(b *testing.B) {
	each(b, func(b *testing.B, room *Room) {
		for b.Loop() {
			_, _, _ = room.Step(noon, ReportFault{Machine: "m0", Text: "It hums."})
			room.state.Machines[0].Faults = nil
		}
	})
}

func BenchmarkSnapshot(b *testing.B) {
	each(b, func(b *testing.B, room *Room) {
		for b.Loop() {
			room.Snapshot(noon)
		}
	})
}

// BenchmarkForesee is what a publication costs the loop besides the snapshot; the
// forecast itself is worked out elsewhere.
func BenchmarkForesee(b *testing.B) {
	each(b, func(b *testing.B, room *Room) {
		snap := room.Snapshot(noon)
		for b.Loop() {
			room.Foresee(snap)
		}
	})
}

// each runs a benchmark on rooms of a few sizes.
func each(b *testing.B, run func(*testing.B, *Room)) {
	for _, n := range []int{1, 20, 200} {
		b.Run(fmt.Sprintf("machines=%d", n), func(b *testing.B) {
			room := bigRoom(b, n)
			b.ReportAllocs()
			b.ResetTimer()
			run(b, room)
		})
	}
}
