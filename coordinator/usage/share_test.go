package usage

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// loaded are the facts of a load from its start until it is told of: a home's, and
// shared by others.
func loaded(m coordinator.MachineID, load coordinator.LoadID, start, end time.Time, wh float64, homes ...coordinator.HomeID) []coordinator.Fact {
	all := []coordinator.Fact{{At: start.Add(time.Minute), Kind: coordinator.FactStarted, Machine: m, Load: load, Cycle: uint64(load), Start: start, Home: homes[0]}}
	for i, h := range homes[1:] {
		all = append(all, coordinator.Fact{At: start.Add(time.Duration(2+i) * time.Minute), Kind: coordinator.FactShared, Machine: m, Load: load, Home: h})
	}
	return append(all, coordinator.Fact{At: end, Kind: coordinator.FactCycle, Machine: m, Load: load, Cycle: uint64(load), Start: start, End: end, EnergyWh: wh, Note: "finished"})
}

// TestSharedLoad, by hand: 1000 Wh, half before 22:00 and half after it, are
// 500,000 mWh in each window. Three homes get 166,666 of each, and two are left
// over: one for the owner, one for the first who came.
func TestSharedLoad(t *testing.T) {
	facts := loaded("w1", 1, local("2026-11-25 21:30"), local("2026-11-25 22:30"), 1000, "a", "b", "c", "b", "a") // told twice, and of one's own
	of := dayOf("2026-11-25", facts, local("2026-11-26 12:00"))
	of.Tariffs = tariffOf(window("night", 22*60, 6*60, 240_000))
	sums, err := Summarise(of)
	must(t, err)
	for home, want := range map[coordinator.HomeID]struct {
		cycles int
		energy MilliWh
	}{"a": {1, 333_334}, "b": {0, 333_334}, "c": {0, 333_332}} {
		h := sums.Homes[home]
		if h == nil || h.Cycles != want.cycles || energyOf(h.Used) != want.energy || len(h.Used) != 2 || h.Used[0].Cycles != h.Used[1].Cycles {
			t.Errorf("%s: %+v, want %+v", home, h, want)
		}
	}
	if len(sums.Homes) != 3 {
		t.Errorf("%d homes", len(sums.Homes))
	}
}

// TestSharedLoadsAddUp: whoever shares what, over midnight and over windows of the
// tariff, what the homes get is what the machine drew, window by window; of one
// load no two homes are more than a milliwatt-hour a window and day apart.
func TestSharedLoadsAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := aFewDays(t)
		var facts []coordinator.Fact
		at, alone := begin.Begin(berlin).Add(20*time.Hour), rapid.Bool().Draw(t, "one load")
		loads := 1
		if !alone {
			loads = rapid.IntRange(0, 8).Draw(t, "loads")
		}
		var homes []coordinator.HomeID
		for i := range loads {
			homes = rapid.SliceOfNDistinct(rapid.SampledFrom([]coordinator.HomeID{"a", "b", "c", "d", "e"}), 1, 4, func(h coordinator.HomeID) coordinator.HomeID { return h }).Draw(t, "homes")
			start := at.Add(time.Duration(rapid.IntRange(5, 100).Draw(t, "rest")) * time.Minute)
			at = start.Add(time.Duration(rapid.IntRange(10, 180).Draw(t, "minutes")) * time.Minute)
			facts = append(facts, loaded("w1", coordinator.LoadID(i+1), start, at, float64(rapid.IntRange(0, 3_000_000).Draw(t, "mwh"))/1000, homes...)...)
		}
		sum := map[coordinator.HomeID]MilliWh{}
		pieces := MilliWh(0)
		for k := range 3 {
			of := dayOf(begin.Add(k).String(), facts, begin.Add(4).Begin(berlin))
			of.Tariffs = tariffOf(window("night", 22*60, 6*60, 240_000))
			sums, err := Summarise(of)
			must(t, err)
			var parts []Used
			cycles := 0
			for id, h := range sums.Homes {
				sum[id] += energyOf(h.Used)
				cycles += h.Cycles
				for _, u := range h.Used {
					parts = addUsed(parts, u)
				}
			}
			var whole []Used
			for _, u := range sums.All[0].Used {
				if u.Standby = 0; u.Cycles != 0 {
					whole = addUsed(whole, u)
					pieces++
				}
			}
			if fmt.Sprint(parts) != fmt.Sprint(whole) || cycles != sums.All[0].Cycles {
				t.Fatalf("homes have %v and %d cycles, the room %v and %d", parts, cycles, whole, sums.All[0].Cycles)
			}
		}
		for _, h := range homes[:len(homes):len(homes)] {
			if apart := sum[homes[0]] - sum[h]; alone && (apart < 0 || apart > pieces) {
				t.Fatalf("%s has %d mWh less than the owner, in %d pieces", h, apart, pieces)
			}
		}
	})
}
