package specimen

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// loft is a room of neighbours who get along: somebody is on the way to a
// machine that is kept longer for them, two share a load, one lies on the table.
func loft() *coordinator.Snapshot {
	held := Machine("w1", 1, queue.Washer, coordinator.Held, -6)
	held.Until = In(14)
	held.Hold = &coordinator.Hold{Turn: 31, Since: In(-6), Until: In(14), OnWay: true}
	shared := Machine("w2", 2, queue.Washer, coordinator.Running, -22)
	shared.Until, shared.Low, shared.High = In(21), In(17), In(26)
	shared.Load = &coordinator.Load{ID: 21, Machine: "w2", Owner: "kit", Home: "h2", StartedAt: In(-22), Shared: []coordinator.Sharer{{Person: "hal", Home: "h7"}}}
	own := Machine("d1", 1, queue.Dryer, coordinator.Finished, -9)
	own.Load = &coordinator.Load{ID: 22, Machine: "d1", Owner: "kit", Home: "h2", ReadyAt: In(-11), ToldAt: In(-9), Reason: coordinator.EndDone}
	own.MoreTime = coordinator.DefaultRules().MoreTime
	s := &coordinator.Snapshot{
		Room: "loft", Name: "Loft", Zone: Zone, Seq: 9, At: Noon, Rules: coordinator.DefaultRules(),
		Machines: []coordinator.MachineView{held, shared, own},
		Turns: []queue.Turn{
			{ID: 31, Person: "gil", Home: "h4", Need: queue.Wash, State: queue.Called, Machine: "w1", CalledAt: In(-6), HoldUntil: In(14), OnWay: In(-3)},
		},
		Table: []coordinator.TableLoad{{Load: 19, Machine: "d1", Owner: "ivy", Home: "h1", At: In(-55)}},
		IfYouJoin: map[queue.Need]coordinator.Forecast{
			queue.Wash: {Median: In(24), Low: In(19), High: In(33), Known: true}, queue.Dry: {Median: In(12), Low: In(1), High: In(25), Known: true},
		},
	}
	before := s.Rules
	s.Rules.LongerHoldHomes = []coordinator.HomeID{"h4"}
	s.Rules.Hold, s.Rules.Text = 12*time.Minute, "Please clean the lint screen after each dry."
	s.RulesVersion = 2
	s.Versions = []coordinator.RulesVersion{{Version: 1, Rules: before}, {Version: 2, At: In(-3 * 24 * 60), Person: Manager, Rules: s.Rules}}
	return s
}
