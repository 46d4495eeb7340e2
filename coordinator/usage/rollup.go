package usage

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"slices"
	"time"

	"drumturn/coordinator"
)

// reviseDays is how many days back a day's facts may still change the sums of
// earlier ones, such as a load collected after a long holiday.
const reviseDays = 31

// rollupKey is "room/machine/2026-11-25"; the machine is empty for the room's own sum.
func rollupKey(room coordinator.RoomID, machine coordinator.MachineID, date Date) string {
	return fmt.Sprintf("%s/%s/%s", room, url.PathEscape(string(machine)), date)
}

// rollUp sums up a local day of a room, and again those earlier days that facts
// of this day bear on. It may be repeated.
func rollUp(ctx context.Context, s Store, room coordinator.RoomID, date Date, zone *time.Location, now time.Time) error {
	// What is told within a day after the end is known now, or revised tomorrow.
	until := date.Add(1).End(zone)
	if now.Before(until) {
		until = now
	}
	today, err := factsBetween(ctx, s, room, date.Begin(zone), date.End(zone))
	if err != nil {
		return err
	}
	for _, d := range bearsOn(today, date, zone) {
		facts, err := factsBetween(ctx, s, room, d.Begin(zone).Add(-lookBack), until)
		if err != nil {
			return err
		}
		for _, sum := range Summarise(room, d, zone, facts, until) {
			if err := putSummary(ctx, s, &sum); err != nil {
				return err
			}
		}
	}
	return nil
}

func putSummary(ctx context.Context, s Rollups, sum *Summary) error {
	value, err := json.Marshal(sum)
	if err != nil {
		return fmt.Errorf("the sums of %s on %s do not encode: %w", sum.Room, sum.Date, err)
	}
	return s.PutRollup(ctx, rollupKey(sum.Room, sum.Machine, sum.Date), value)
}

func factsBetween(ctx context.Context, f Facts, room coordinator.RoomID, from, to time.Time) (all []coordinator.Fact, err error) {
	err = f.Facts(ctx, room, from, to, func(fact coordinator.Fact) bool {
		all = append(all, fact)
		return true
	})
	return all, err
}

// bearsOn lists the days, in order, whose sums the day's facts may change: the
// day itself, and those on which a cycle or a wait that they tell of began.
func bearsOn(facts []coordinator.Fact, date Date, zone *time.Location) []Date {
	first := date
	for i := range facts {
		for _, t := range []time.Time{facts[i].Start, facts[i].End, facts[i].At.Add(-facts[i].Wait)} {
			if d := DateOf(t, zone); !t.IsZero() && d.Before(first) {
				first = d
			}
		}
	}
	if oldest := date.Add(-reviseDays); first.Before(oldest) {
		first = oldest
	}
	var days []Date
	for d := first; !date.Before(d); d = d.Add(1) {
		days = append(days, d)
	}
	return days
}

// Between reads the stored sums of a room from one date to another, both
// included, in the order of date and machine; the room's own come first on each
// day. A day on which nothing happened has none.
func Between(ctx context.Context, r Rollups, room coordinator.RoomID, from, to Date) (all []Summary, err error) {
	var bad error
	// "0" comes after "/", so this is every key that begins with the room and "/".
	err = r.Rollups(ctx, string(room)+"/", string(room)+"0", func(key string, value []byte) bool {
		var s Summary
		if bad = json.Unmarshal(value, &s); bad != nil {
			bad = fmt.Errorf("the stored sums %q do not decode: %w", key, bad)
			return false
		}
		if !s.Date.Before(from) && !to.Before(s.Date) {
			all = append(all, s)
		}
		return true
	})
	if err == nil {
		err = bad
	}
	slices.SortStableFunc(all, func(a, b Summary) int { return a.Date.ordinal() - b.Date.ordinal() })
	return all, err
}

// Today sums up the local day of now so far. A cycle counts once it has ended.
func Today(ctx context.Context, f Facts, room coordinator.RoomID, zone *time.Location, now time.Time) ([]Summary, error) {
	date := DateOf(now, zone)
	facts, err := factsBetween(ctx, f, room, date.Begin(zone).Add(-lookBack), now)
	if err != nil {
		return nil, err
	}
	return Summarise(room, date, zone, facts, now), nil
}
