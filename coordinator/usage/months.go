package usage

import (
	"context"
	"fmt"
	"strings"

	"drumturn/coordinator"
)

// MonthSum is what a machine did in one month, or with Machine empty, the whole
// room: the sum of its days that have sums.
type MonthSum struct {
	V       int
	Room    coordinator.RoomID
	Machine coordinator.MachineID `json:",omitempty"`
	Month   Month
	// First and Last are the first and the last day that have sums.
	First, Last Date
	Figures
	Week packedWeek `json:",omitzero"`
}

// takeDay adds a day.
func (m *MonthSum) takeDay(s *Summary) {
	if m.First.IsZero() {
		m.First = s.Date
	}
	m.Last = s.Date
	m.then(&s.Figures)
}

// takeDay adds a day.
func (w *Week) takeDay(s *Summary) {
	day := &w[s.Date.Weekday()]
	for h := range day {
		day[h].then(&s.Hours[h])
	}
}

// packedWeek is a week as it is stored; most readers of a month leave it packed.
type packedWeek []byte

// UnmarshalText reads the week of a month that was stored as JSON.
func (p *packedWeek) UnmarshalText(text []byte) error {
	u := unpack(text)
	*p = u.raw
	return u.err
}

// monthRow makes the stored sum of a month anew from its stored days and a fresh
// one, which may be stored already as it was before.
func monthRow(ctx context.Context, r Rollups, fresh *Summary) (coordinator.Rollup, error) {
	month := MonthOf(fresh.Date)
	sum := MonthSum{V: edition}
	var week Week
	take := func(s *Summary) { sum.takeDay(s); week.takeDay(s) }
	if err := eachDay(ctx, r, fresh.Room, fresh.Machine, month.First(), fresh.Date.Add(-1), take); err != nil {
		return coordinator.Rollup{}, err
	}
	take(fresh)
	if err := eachDay(ctx, r, fresh.Room, fresh.Machine, fresh.Date.Add(1), month.Last(), take); err != nil {
		return coordinator.Rollup{}, err
	}
	sum.Week = week.pack(nil)
	return coordinator.Rollup{Key: monthKey(fresh.Room, fresh.Machine, month), Value: sum.pack()}, nil
}

// eachDay reads the stored days of a machine, or of a room without one, from one
// date to another, both included, in order. fn may keep what it is given points to,
// but not the summary itself: it is used again.
func eachDay(ctx context.Context, r Rollups, room coordinator.RoomID, machine coordinator.MachineID, from, to Date, fn func(*Summary)) error {
	var s Summary
	return eachSum(ctx, r, rollupKey(room, machine, from), rollupKey(room, machine, to.Add(1)), func(key string, value []byte) error {
		if err := s.decode(key, value); err != nil {
			return err
		}
		fn(&s)
		return nil
	})
}

// eachMonth is eachDay for months.
func eachMonth(ctx context.Context, r Rollups, room coordinator.RoomID, machine coordinator.MachineID, from, to Month, fn func(*MonthSum)) error {
	var s MonthSum
	return eachSum(ctx, r, monthKey(room, machine, from), monthKey(room, machine, to.Next()), func(key string, value []byte) error {
		if err := s.decode(key, value); err != nil {
			return err
		}
		fn(&s)
		return nil
	})
}

// eachSum reads sums until fn says that something is wrong.
func eachSum(ctx context.Context, r Rollups, from, to string, fn func(key string, value []byte) error) error {
	var bad error
	err := r.Rollups(ctx, from, to, func(key string, value []byte) bool {
		bad = fn(key, value)
		return bad == nil
	})
	if err != nil {
		return err
	}
	return bad
}

func damaged(key string, err error) error {
	return fmt.Errorf("the stored sums %q do not decode: %w", key, err)
}

// machinesWithSums lists the machines of a room that have sums of days, by one
// seek each; those that are no longer in the room too.
func machinesWithSums(ctx context.Context, r Rollups, room coordinator.RoomID) (all []coordinator.MachineID, err error) {
	prefix := string(room) + "/"
	for from, more := prefix, true; more; {
		more = false
		err := r.Rollups(ctx, from, string(room)+"0", func(key string, _ []byte) bool {
			if m := machineIn(key, prefix); m != "" {
				all = append(all, m)
			}
			name, _, _ := strings.Cut(key[len(prefix):], "/")
			from, more = prefix+name+"0", true // "0" comes after "/"
			return false
		})
		if err != nil {
			return nil, err
		}
	}
	return all, nil
}
