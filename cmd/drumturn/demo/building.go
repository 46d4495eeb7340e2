package demo

import (
	"fmt"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// The invented building.
const (
	// Building is its name.
	Building = "Plover Yard"
	Cellar   = coordinator.RoomID("cellar")
	Garden   = coordinator.RoomID("garden")
)

// Codes are the invitation codes on the walls.
func Codes() map[coordinator.RoomID]string {
	return map[coordinator.RoomID]string{Cellar: "PLOVER-CELLAR", Garden: "PLOVER-GARDEN"}
}

// appliance is one machine of the building as it is built and wired.
type appliance struct {
	room    coordinator.RoomID
	id      coordinator.MachineID
	number  int
	kg      float64
	model   string
	stacked bool
	access  bool
	ratedW  float64
}

// appliances are all machines. None glows above 3 W once it is done, so that the
// fixed rule serves as well as a learned one.
var appliances = []appliance{
	{room: Cellar, id: "washer-1", number: 1, kg: 7, model: "washer", ratedW: 2300},
	{room: Cellar, id: "washer-2", number: 2, kg: 7, model: "washer", ratedW: 2300},
	{room: Cellar, id: "washer-3", number: 3, kg: 8, model: "washer", ratedW: 2300, access: true},
	{room: Cellar, id: "dryer-4", number: 4, kg: 7, model: "dryer", ratedW: 2700},
	{room: Cellar, id: "dryer-5", number: 5, kg: 6, model: "vented-dryer", ratedW: 2200, stacked: true},
	{room: Garden, id: "washer-1", number: 1, kg: 6, model: "washer", ratedW: 2300},
	{room: Garden, id: "dryer-2", number: 2, kg: 8, model: "heat-pump-dryer", ratedW: 900, stacked: true},
	{room: Garden, id: "washer-dryer-3", number: 3, kg: 8, model: "washer-dryer", ratedW: 2200, access: true},
}

// meterName is the meter in front of a machine.
func (a *appliance) meterName() string { return fmt.Sprintf("%s-%d", a.room, a.number) }

// simulated is the model of the machine.
func (a *appliance) simulated() sim.Model {
	m, err := sim.ModelNamed(a.model)
	if err != nil {
		panic(err) // the table above is wrong
	}
	m.CapacityKg = a.kg
	m.GlowW = min(m.GlowW, 1.8)
	if m.AntiCrease > 0 {
		m.ElecW = min(m.ElecW, 2)
	}
	return m
}

// meterModel is the kind of meter: on change, with a heartbeat, and not too chatty.
func meterModel() sim.MeterModel {
	m, err := sim.MeterNamed("on-change")
	if err != nil {
		panic(err)
	}
	m.MinGap = 30 * time.Second
	m.ChangeShare = 0.25
	m.DropsPerDay = 0.1
	return m
}

// Plans is the wiring of the two rooms.
func Plans(zone *time.Location) []coordinator.Plan {
	plans := []coordinator.Plan{
		{ID: Cellar, Name: "Cellar", Zone: zone, Seed: Rules()},
		{ID: Garden, Name: "Garden house", Zone: zone, Seed: Rules()},
	}
	for i := range appliances {
		a := &appliances[i]
		plan := &plans[0]
		if a.room == Garden {
			plan = &plans[1]
		}
		plan.Machines = append(plan.Machines, a.machine())
	}
	return plans
}

func (a *appliance) machine() coordinator.Machine {
	model := a.simulated()
	power := cycle.DefaultSettings()
	power.Washer = model.Kind != queue.Dryer
	power.Dryer = model.Kind != queue.Washer
	return coordinator.Machine{
		Machine: queue.Machine{
			ID: a.id, Number: a.number, Kind: model.Kind, CapacityKg: a.kg, Accessible: a.access, Stacked: a.stacked,
		},
		Meter: a.meterName(), RatedW: a.ratedW, PlugW: 3680, Power: power,
	}
}

// Rules are the house rules of both rooms. The rooms never close and have no
// night, so that the demonstration lives at whatever hour it is started.
func Rules() coordinator.Rules {
	rules := coordinator.DefaultRules()
	// Longer than by default, so that a visitor sees a load that waits for its owner.
	rules.CallUncollectedAfter = 30 * time.Minute
	rules.Hold = 12 * time.Minute
	rules.NightFrom, rules.NightTo = queue.NoClock, queue.NoClock
	return rules
}

// Tariff is the price of energy in the building.
func Tariff() coordinator.Tariff {
	return coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 300_000}
}
