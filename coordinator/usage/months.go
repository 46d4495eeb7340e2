package usage

import (
	"bytes"
	"context"
	"encoding/json"
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

// MarshalText is the text itself.
func (p packedWeek) MarshalText() ([]byte, error) { return p, nil }

// UnmarshalText keeps the text.
func (p *packedWeek) UnmarshalText(text []byte) error {
	*p = bytes.Clone(text)
	return nil
}

// monthRow makes the stored sum of a month anew from its stored days.
func monthRow(ctx context.Context, r Rollups, room coordinator.RoomID, machine coordinator.MachineID, month Month) (coordinator.Rollup, error) {
	sum := MonthSum{V: edition, Room: room, Machine: machine, Month: month}
	var week Week
	err := eachDay(ctx, r, room, machine, month.First(), month.Last(), func(s *Summary) { sum.takeDay(s); week.takeDay(s) })
	if err != nil {
		return coordinator.Rollup{}, err
	}
	if sum.Week, err = week.MarshalText(); err != nil {
		return coordinator.Rollup{}, err
	}
	value, err := json.Marshal(&sum)
	if err != nil {
		return coordinator.Rollup{}, fmt.Errorf("the sums of %s in %s do not encode: %w", room, month, err)
	}
	return coordinator.Rollup{Key: monthKey(room, machine, month), Value: value}, nil
}

// eachDay reads the stored days of a machine, or of a room without one, from one
// date to another, both included, in order.
func eachDay(ctx context.Context, r Rollups, room coordinator.RoomID, machine coordinator.MachineID, from, to Date, fn func(*Summary)) error {
	return eachSum(ctx, r, rollupKey(room, machine, from), rollupKey(room, machine, to.Add(1)), func(key string, value []byte) error {
		s, err := decodeSummary(key, value)
		if err == nil {
			fn(&s)
		}
		return err
	})
}

// eachMonth is eachDay for months.
func eachMonth(ctx context.Context, r Rollups, room coordinator.RoomID, machine coordinator.MachineID, from, to Month, fn func(*MonthSum)) error {
	return eachSum(ctx, r, monthKey(room, machine, from), monthKey(room, machine, to.Next()), func(key string, value []byte) error {
		var s MonthSum
		err := json.Unmarshal(value, &s)
		switch {
		case err != nil:
			return damaged(key, err)
		case s.V > edition:
			return newer(key, s.V)
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
