// Package specimen is a building that stands still: every page in every state
// with canned data, for people who work on the look, and for tests.
package specimen

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Zone and Noon are where and when the rooms are.
var (
	Zone = time.FixedZone("UTC+1", 3600)
	Noon = time.Date(2026, 3, 17, 13, 47, 0, 0, Zone)
)

// In is so many minutes after Noon.
func In(minutes int) time.Time { return Noon.Add(time.Duration(minutes) * time.Minute) }

// Machine is one that has been in its status since so many minutes after Noon.
func Machine(id string, number int, kind queue.Kind, status coordinator.Status, since int) coordinator.MachineView {
	return coordinator.MachineView{
		Machine: coordinator.Machine{Machine: queue.Machine{ID: coordinator.MachineID(id), Number: number, Kind: kind, CapacityKg: 7}},
		Status:  status, Since: In(since),
	}
}

// FullRoom has a machine in every status.
func FullRoom() *coordinator.Snapshot {
	free := Machine("w1", 1, queue.Washer, coordinator.Free, -25)
	free.Accessible = true
	running := Machine("w2", 2, queue.Washer, coordinator.Running, -37)
	running.Until, running.Low, running.High = In(34), In(28), In(46)
	running.CapacityKg, running.Meter = 8, "cellar-w2"
	running.Learned = &cycle.Knowledge{Cycles: 361, WorkW: 7.5, GlowW: 1.6, DrumW: 172, HeatW: 900, Programmes: []cycle.Programme{
		{Number: 1, Runs: 84, Length: 63 * time.Minute, Wh: 702}, {Number: 3, Runs: 9, Length: 41 * time.Minute, Wh: 310}, {Number: 4, Runs: 3, Length: 118 * time.Minute, Wh: 1490},
	}}
	running.Load = &coordinator.Load{ID: 7, Machine: "w2", Owner: "ann", Home: "h12", Turn: 3, StartedAt: In(-10)}
	held := Machine("w3", 3, queue.Washer, coordinator.Held, -2)
	held.Until, held.Hold = In(8), &coordinator.Hold{Turn: 5, Since: In(-2), Until: In(8)}
	overdue := Machine("w4", 4, queue.Washer, coordinator.Overdue, -32)
	overdue.Load = &coordinator.Load{ID: 8, Machine: "w4", Owner: "bob", Home: "h3", ReadyAt: In(-42), ToldAt: In(-40), Reason: coordinator.EndDone}
	finished := Machine("d1", 1, queue.Dryer, coordinator.Finished, -6)
	finished.Load = &coordinator.Load{ID: 9, Machine: "d1", ReadyAt: In(-8), ToldAt: In(-6), Reason: coordinator.EndDone}
	about := Machine("d2", 2, queue.Dryer, coordinator.Running, -20)
	about.Stacked, about.About, about.Until = true, true, In(55)
	silent := Machine("d3", 3, queue.Dryer, coordinator.Unknown, -15)
	out := Machine("d4", 4, queue.Dryer, coordinator.Out, -26*60)
	out.OutText = "drum belt is worn"
	return &coordinator.Snapshot{
		Room: "cellar", Name: "Laundry room, cellar", Zone: Zone, Seq: 41, At: Noon, Rules: coordinator.DefaultRules(),
		Machines: []coordinator.MachineView{free, running, held, overdue, finished, about, silent, out},
		Turns: []queue.Turn{
			{ID: 5, Person: "cat", Home: "h5", Need: queue.Wash, State: queue.Called, Machine: "w3", CalledAt: In(-2), HoldUntil: In(8)},
			{ID: 6, Person: "dan", Home: "h6", Need: queue.Wash, State: queue.Waiting, Joined: In(-12)},
			{ID: 7, Person: "eve", Home: "h7", Need: queue.Dry, State: queue.Waiting, Joined: In(-9)},
			{ID: 8, Person: "fay", Home: "h8", Need: queue.Wash, State: queue.Waiting, Joined: In(-3)},
		},
		Forecasts: []coordinator.Forecast{
			{Turn: 6, Median: In(36), Low: In(29), High: In(58), Known: true},
			{Turn: 7, Median: In(10), Low: In(4), High: In(25), Known: true},
			{Turn: 8, Median: In(75), Low: In(52), High: In(110), Known: true},
		},
		IfYouJoin: map[queue.Need]coordinator.Forecast{
			queue.Wash: {Median: In(96), Low: In(70), High: In(140), Known: true},
			queue.Dry:  {Median: In(31), Low: In(22), High: In(50), Known: true},
		},
	}
}

// SmallRoom is quiet: one washer and one dryer, both free.
func SmallRoom() *coordinator.Snapshot {
	return &coordinator.Snapshot{
		Room: "attic", Name: "Attic", Zone: Zone, Seq: 3, At: Noon, Rules: coordinator.DefaultRules(),
		Machines: []coordinator.MachineView{
			Machine("w1", 1, queue.Washer, coordinator.Free, -90), Machine("d1", 1, queue.Dryer, coordinator.Free, -300),
		},
		IfYouJoin: map[queue.Need]coordinator.Forecast{
			queue.Wash: {Median: Noon, Low: Noon, High: Noon, Known: true},
			queue.Dry:  {Median: Noon, Low: Noon, High: Noon, Known: true},
		},
	}
}
