package sim

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"time"

	"drumturn/queue"
)

// HeatSource is how a dryer warms its air.
type HeatSource uint8

// The heat sources. Gas heats without electricity: the meter sees the motor only.
const (
	NoHeat HeatSource = iota
	Resistive
	HeatPump
	Gas
)

// Model is a make of machine: its levels and habits. Watts are electrical, as
// a meter in front of the machine sees them.
type Model struct {
	Kind       queue.Kind
	CapacityKg float64
	// BoilW is the water heater of a washer.
	BoilW float64
	// TumbleW is the motor turning the drum with laundry, SpinW the highest power of the last spin.
	TumbleW, SpinW float64
	// Loosen is the tumbling after the last spin that belongs to the programme.
	Loosen time.Duration
	// Heat and DryW are the heat source of a dryer and its power (motor not included).
	Heat HeatSource
	DryW float64
	// DryTumbleW is the motor with fan while drying.
	DryTumbleW float64
	// DryWhPerKg is the electrical heat that takes one kg of water out of laundry, Wh.
	DryWhPerKg float64
	// ReverseEvery is how often a dryer stops to turn the other way; 0 for never.
	ReverseEvery time.Duration
	// CoolShare is the cool-down as a share of the heated time.
	CoolShare float64
	// Reheat is the chance that a dryer heats once more during its cool-down.
	Reheat float64
	// OffW is drawn when switched off, ElecW while a programme waits with the drum at
	// rest, GlowW by the display once a programme is over.
	OffW, ElecW, GlowW float64
	// GlowFor is how long the display stays on until the machine switches itself off.
	GlowFor time.Duration
	// GlowSpikes: the glow has short spikes of 10-15 W.
	GlowSpikes bool
	// AntiCrease is how long the drum is turned now and then after the end; 0 for never.
	AntiCrease time.Duration
	// PulseEvery and PulseFor shape those turns.
	PulseEvery, PulseFor time.Duration
}

// Models are the names that ModelNamed knows, the plainest of each kind first.
func Models() []string {
	return []string{
		"washer", "dryer", "washer-dryer",
		"glowing-washer", "old-washer",
		"vented-dryer", "heat-pump-dryer", "gas-dryer", "large-dryer",
	}
}

// ModelNamed returns a model of the catalogue.
func ModelNamed(name string) (Model, error) {
	if m, ok := catalogue[name]; ok {
		return m, nil
	}
	return Model{}, fmt.Errorf("%q is no simulated machine: use one of %s", name, strings.Join(Models(), ", "))
}

// catalogue holds models whose levels lie where measured ones do: spin and
// tumble 300-700 W and 50-200 W, heat 1.6-2.5 kW (measured in the tracebase and
// REFIT data sets and in appliance tests), drying 1.9-2.7 kW with resistance
// heat, 400-900 W with a heat pump, 200-400 W with gas, about 5 kW in North
// America; glow 1-7 W.
var catalogue = map[string]Model{
	"washer": {
		Kind: queue.Washer, CapacityKg: 7, BoilW: 2000, TumbleW: 140, SpinW: 520, Loosen: 150 * time.Second,
		OffW: 0, ElecW: 4, GlowW: 1.4, GlowFor: 100 * time.Minute,
	},
	"glowing-washer": {
		Kind: queue.Washer, CapacityKg: 8, BoilW: 2150, TumbleW: 110, SpinW: 640, Loosen: 90 * time.Second,
		OffW: 0, ElecW: 6, GlowW: 4.3, GlowFor: 150 * time.Minute, GlowSpikes: true,
	},
	"old-washer": {
		Kind: queue.Washer, CapacityKg: 5, BoilW: 2300, TumbleW: 190, SpinW: 420, Loosen: 30 * time.Second,
		OffW: 1.5, ElecW: 5.5, GlowW: 5.2, GlowFor: 16 * time.Hour,
	},
	"dryer": {
		Kind: queue.Dryer, CapacityKg: 7, Heat: Resistive, DryW: 2350, DryTumbleW: 200, DryWhPerKg: 850,
		ReverseEvery: 150 * time.Second, CoolShare: 0.18, Reheat: 0.12, OffW: 0, ElecW: 4, GlowW: 1.3,
		GlowFor: 90 * time.Minute, AntiCrease: 30 * time.Minute, PulseEvery: time.Minute, PulseFor: 10 * time.Second,
	},
	"vented-dryer": {
		Kind: queue.Dryer, CapacityKg: 6, Heat: Resistive, DryW: 1850, DryTumbleW: 170, DryWhPerKg: 780,
		CoolShare: 0.18, OffW: 0, ElecW: 1, GlowW: 0, GlowFor: 0,
	},
	"heat-pump-dryer": {
		Kind: queue.Dryer, CapacityKg: 8, Heat: HeatPump, DryW: 570, DryTumbleW: 190, DryWhPerKg: 260,
		ReverseEvery: 8 * time.Minute, CoolShare: 0.05, OffW: 0.3, ElecW: 3, GlowW: 2,
		GlowFor: 15 * time.Minute, AntiCrease: 60 * time.Minute, PulseEvery: 36 * time.Second, PulseFor: 8 * time.Second,
	},
	"gas-dryer": {
		Kind: queue.Dryer, CapacityKg: 8, Heat: Gas, DryW: 0, DryTumbleW: 290, DryWhPerKg: 0,
		CoolShare: 0.15, OffW: 0, ElecW: 2, GlowW: 1, GlowFor: 20 * time.Minute,
	},
	"large-dryer": {
		Kind: queue.Dryer, CapacityKg: 9, Heat: Resistive, DryW: 4800, DryTumbleW: 260, DryWhPerKg: 900,
		CoolShare: 0.20, OffW: 0, ElecW: 3, GlowW: 1, GlowFor: 20 * time.Minute,
		AntiCrease: 30 * time.Minute, PulseEvery: 5 * time.Minute, PulseFor: 15 * time.Second,
	},
	"washer-dryer": {
		Kind: queue.WasherDryer, CapacityKg: 8, BoilW: 1950, TumbleW: 100, SpinW: 560, Loosen: 60 * time.Second,
		Heat: Resistive, DryW: 1700, DryTumbleW: 150, DryWhPerKg: 900, CoolShare: 0.16,
		OffW: 0, ElecW: 4.2, GlowW: 4.2, GlowFor: 60 * time.Minute,
		AntiCrease: 10 * time.Minute, PulseEvery: 45 * time.Second, PulseFor: 10 * time.Second,
	},
}

// Vary returns the model as one machine of that make differs from the next: its
// levels moved by up to 8 %.
func (m Model) Vary(seed uint64) Model {
	rng := rand.New(rand.NewPCG(seed, 0x5eed))
	for _, w := range []*float64{
		&m.BoilW, &m.TumbleW, &m.SpinW, &m.DryW, &m.DryTumbleW, &m.DryWhPerKg, &m.OffW, &m.ElecW, &m.GlowW,
	} {
		*w *= 1 + 0.16*(rng.Float64()-0.5)
	}
	return m
}
