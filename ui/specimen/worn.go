package specimen

import (
	"context"
	"math"
	"math/rand/v2"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/coordinator/usage/wear"
	"drumturn/queue"
)

// Worn is what is measured of the cellar's machines: dryer 2's vent clogs since
// three weeks ago, the others are as usual.
type Worn struct{}

// measured are a machine's cycles, five a day.
func measured(dries bool, since, by float64) (all []wear.Cycle) {
	random := rand.New(rand.NewPCG(5, 5))
	const days = 120
	for i := range days * 5 {
		end := Noon.Add(-time.Duration(days*5-i) * 24 * time.Hour / 5)
		off := 0.08 * random.NormFloat64()
		if float64(i)/5 > days-since {
			off += math.Log1p(by)
		}
		c := wear.Cycle{Number: uint64(i + 1), Start: end.Add(-time.Hour), End: end, PeakW: 2100}
		for f := range c.Value {
			c.Value[f] = math.NaN()
		}
		c.Value[wear.Length] = 62
		c.Value[wear.Energy], c.Value[wear.Standby] = 0.71*math.Exp(off/2), 1.3
		if dries {
			c.Value[wear.Length], c.Value[wear.Energy] = 64*math.Exp(off), 2.1*math.Exp(off)
		} else {
			c.Value[wear.Heating], c.Value[wear.Spin] = 13*math.Exp(off), 430*math.Exp(off/3)
		}
		all = append(all, c)
	}
	return all
}

// Wear implements ui.Worn.
func (Worn) Wear(_ context.Context, _ coordinator.RoomID, machine coordinator.MachineID) (usage.Wear, error) {
	dries := machine[0] == 'd'
	cycles := measured(dries, 0, 0)
	if machine == "d2" {
		cycles = measured(true, 21, 0.24)
	}
	h := wear.Since(time.Time{}, cycles, dries)
	w := usage.Wear{Cycles: len(h.Cycles)}
	for _, f := range wear.Figures() {
		if f.Of(!dries, dries) {
			w.Charts = append(w.Charts, wear.Watch(f, h, wear.Usual(f)))
		}
	}
	return w, nil
}

// Drifts implements ui.Worn.
func (s Worn) Drifts(ctx context.Context, room coordinator.RoomID) (map[coordinator.MachineID][]wear.Drift, error) {
	all := map[coordinator.MachineID][]wear.Drift{}
	if room == "cellar" {
		w, _ := s.Wear(ctx, room, "d2")
		all["d2"] = w.Drifts()[:1]
	}
	return all, nil
}

// Capacity says that the cellar's washers do, and that little is known of its dryers.
func (Worn) Capacity(context.Context, coordinator.RoomID) ([]usage.Capacity, error) {
	c := usage.Capacity{Kind: queue.Washer, Machines: 3, From: Noon.AddDate(0, 0, -84), To: Noon}
	c.Seen = enough.Seen{Demand: enough.Demand{Seen: 1290, Left: 31, Weeks: 12}}
	for d := range c.Seen.Arrivals {
		for hour := 7; hour < 22; hour++ {
			c.Seen.Arrivals[d][hour] = 0.7 + 0.9*math.Exp(-math.Pow(float64(hour-18)/2.5, 2))
		}
	}
	for i := range 40 {
		c.Seen.Cycles = append(c.Seen.Cycles, time.Duration(50+i)*time.Minute)
		c.Seen.Delays = append(c.Seen.Delays, time.Duration(i)*time.Minute)
		c.Seen.Answers = append(c.Seen.Answers, 5*time.Minute)
	}
	c.Seen.Waited = enough.Waits{Mean: 22 * time.Minute, Most: 101 * time.Minute}
	var err error
	c.Answers, err = enough.Ask(&c.Seen.Demand, enough.Room{Hours: queue.AlwaysOpen(), Zone: Zone}, []enough.Case{{Machines: 3}, {Machines: 3, Collected: 15 * time.Minute}, {Machines: 4}, {Machines: 2}})
	few := usage.Capacity{Kind: queue.Dryer, Machines: 4, From: c.From, To: c.To}
	few.Seen.Weeks = 2
	return []usage.Capacity{c, few}, err
}
