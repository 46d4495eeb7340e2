package usage

import (
	"context"
	"time"

	"drumturn/coordinator/usage/enough"
	"drumturn/queue"
)

const (
	// capacityWeeks is how much history is looked at: long enough for every hour
	// of the week, short enough for one season, and less than history by person is
	// kept for.
	capacityWeeks = 12
	// soon is within how long everybody collects in the case that says so.
	soon = 15 * time.Minute
)

// Capacity says what a room's machines of one kind suffice for.
type Capacity struct {
	Kind queue.Kind
	// Machines is how many there are.
	Machines int
	// From and To are what was looked at.
	From, To time.Time
	Seen     enough.Seen
	// Answers are for: as it is, everybody collects soon, one machine more, and one
	// less where there are several. Empty while too little is known.
	Answers []enough.Answer
}

// Collected is within how long everybody collects in the case that says so.
func (c *Capacity) Collected() time.Duration { return soon }

// CapacityOf plays the room's last weeks as they were and as they might have
// been, for each kind of machine that it has, washers first.
func CapacityOf(ctx context.Context, f Facts, room *Room, zone *time.Location, now time.Time) ([]Capacity, error) {
	h := enough.History{From: DateOf(now, zone).Add(-7 * capacityWeeks).Begin(zone), To: now, Zone: zone, Kinds: room.Kinds, CallAfter: room.CallAfter}
	var err error
	if h.Facts, err = factsBetween(ctx, f, room.ID, h.From, h.To); err != nil {
		return nil, err
	}
	if len(h.Facts) > 0 && h.Facts[0].At.Sub(h.From) > 24*time.Hour {
		h.From = h.Facts[0].At // the room is new
	}
	seen := h.Demands()
	var all []Capacity
	for _, kind := range []queue.Kind{queue.Washer, queue.Dryer, queue.WasherDryer} {
		c := Capacity{Kind: kind, Machines: room.count(kind), From: h.From, To: h.To}
		if c.Machines == 0 {
			continue
		}
		if s := seen[kind]; s != nil {
			c.Seen = *s
		}
		c.ask(enough.Room{Hours: room.Hours, Zone: zone})
		all = append(all, c)
	}
	return all, nil
}

// ask leaves the answers empty where too little is known.
func (c *Capacity) ask(room enough.Room) {
	cases := []enough.Case{{Machines: c.Machines}, {Machines: c.Machines, Collected: soon}, {Machines: c.Machines + 1}}
	if c.Machines > 1 {
		cases = append(cases, enough.Case{Machines: c.Machines - 1})
	}
	if c.Seen.Known() {
		c.Answers, _ = enough.Ask(&c.Seen.Demand, room, cases)
	}
}

// count is how many machines of a kind there are.
func (r *Room) count(kind queue.Kind) (n int) {
	for _, k := range r.Kinds {
		if k == kind {
			n++
		}
	}
	return n
}
