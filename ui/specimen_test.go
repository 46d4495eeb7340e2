package ui

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// zone and noon are where and when the canned rooms are.
var (
	zone = time.FixedZone("UTC+1", 3600)
	noon = time.Date(2026, 3, 17, 13, 47, 0, 0, zone)
)

func in(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }

func machine(id string, number int, kind queue.Kind, status coordinator.Status, since int) coordinator.MachineView {
	return coordinator.MachineView{
		Machine: coordinator.Machine{Machine: queue.Machine{ID: coordinator.MachineID(id), Number: number, Kind: kind, CapacityKg: 7}},
		Status:  status, Since: in(since),
	}
}

// fullRoom has a machine in every status.
func fullRoom() *coordinator.Snapshot {
	free := machine("w1", 1, queue.Washer, coordinator.Free, -25)
	free.Accessible = true
	running := machine("w2", 2, queue.Washer, coordinator.Running, -37)
	running.Until, running.Low, running.High = in(34), in(28), in(46)
	running.CapacityKg = 8
	running.Load = &coordinator.Load{ID: 7, Machine: "w2", Owner: "ann", Home: "h12", Turn: 3, StartedAt: in(-10)}
	held := machine("w3", 3, queue.Washer, coordinator.Held, -2)
	held.Until, held.Hold = in(8), &coordinator.Hold{Turn: 5, Since: in(-2), Until: in(8)}
	overdue := machine("w4", 4, queue.Washer, coordinator.Overdue, -32)
	overdue.Load = &coordinator.Load{ID: 8, Machine: "w4", Owner: "bob", Home: "h3", ReadyAt: in(-42), ToldAt: in(-40), Reason: coordinator.EndDone}
	finished := machine("d1", 1, queue.Dryer, coordinator.Finished, -6)
	finished.Load = &coordinator.Load{ID: 9, Machine: "d1", ReadyAt: in(-8), ToldAt: in(-6), Reason: coordinator.EndDone}
	about := machine("d2", 2, queue.Dryer, coordinator.Running, -20)
	about.Stacked, about.About, about.Until = true, true, in(55)
	silent := machine("d3", 3, queue.Dryer, coordinator.Unknown, -15)
	out := machine("d4", 4, queue.Dryer, coordinator.Out, -26*60)
	out.OutText = "drum belt is worn"
	return &coordinator.Snapshot{
		Room: "cellar", Name: "Laundry room, cellar", Zone: zone, Seq: 41, At: noon, Rules: coordinator.DefaultRules(),
		Machines: []coordinator.MachineView{free, running, held, overdue, finished, about, silent, out},
		Turns: []queue.Turn{
			{ID: 5, Person: "cat", Home: "h5", Need: queue.Wash, State: queue.Called, Machine: "w3", CalledAt: in(-2), HoldUntil: in(8)},
			{ID: 6, Person: "dan", Home: "h6", Need: queue.Wash, State: queue.Waiting, Joined: in(-12)},
			{ID: 7, Person: "eve", Home: "h7", Need: queue.Dry, State: queue.Waiting, Joined: in(-9)},
			{ID: 8, Person: "fay", Home: "h8", Need: queue.Wash, State: queue.Waiting, Joined: in(-3)},
		},
		Forecasts: []coordinator.Forecast{
			{Turn: 6, Median: in(36), Low: in(29), High: in(58), Known: true},
			{Turn: 7, Median: in(10), Low: in(4), High: in(25), Known: true},
			{Turn: 8, Median: in(75), Low: in(52), High: in(110), Known: true},
		},
		IfYouJoin: map[queue.Need]coordinator.Forecast{
			queue.Wash: {Median: in(96), Low: in(70), High: in(140), Known: true},
			queue.Dry:  {Median: in(31), Low: in(22), High: in(50), Known: true},
		},
	}
}

// smallRoom is quiet: one washer and one dryer, both free.
func smallRoom() *coordinator.Snapshot {
	return &coordinator.Snapshot{
		Room: "attic", Name: "Attic", Zone: zone, Seq: 3, At: noon, Rules: coordinator.DefaultRules(),
		Machines: []coordinator.MachineView{
			machine("w1", 1, queue.Washer, coordinator.Free, -90), machine("d1", 1, queue.Dryer, coordinator.Free, -300),
		},
		IfYouJoin: map[queue.Need]coordinator.Forecast{
			queue.Wash: {Median: noon, Low: noon, High: noon, Known: true},
			queue.Dry:  {Median: noon, Low: noon, High: noon, Known: true},
		},
	}
}
