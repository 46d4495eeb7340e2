package usage

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/wear"
	"drumturn/queue"
)

// What is stored about wear, per machine:
//
//	~wear/ROOM/MACHINE/2026-11-25T10:00:00Z  a measured cycle, by its start
//	~wear-new/ROOM/MACHINE                   when it was last made as new
//	~wear-now/ROOM/MACHINE                   the drifts that last night found
//	~wear-looked/ROOM/MACHINE/2026-11-25T10:00:00Z  somebody looked after it then
const (
	wearCycles = "~wear/"
	wearNew    = "~wear-new/"
	wearNow    = "~wear-now/"
	wearLooked = "~wear-looked/"
)

// kindOf says what a machine does. One that is no longer there did not wash.
func (r *Room) kindOf(m coordinator.MachineID) (washes, dries bool) {
	k, ok := r.Kinds[m]
	return ok && k.Serves(queue.Wash), ok && k.Serves(queue.Dry)
}

// measureDay measures the cycles of a room that ended on a local day, and those
// that the day's facts tell of although they ended before: a meter may be heard
// again days later, and an end may be taken back. It stores them, and marks the
// day. It may be repeated: a cycle has one row, whenever and however often it is told.
func measureDay(ctx context.Context, s Store, room *Room, date Date, zone *time.Location, mark coordinator.JobMark) error {
	until := earlier(date.Add(1).End(zone), mark.At)
	facts, err := factsBetween(ctx, s, room.ID, date.Begin(zone), until)
	if err != nil {
		return err
	}
	if from := toldOf(facts, date, zone); from.Before(date.Begin(zone)) {
		if facts, err = factsBetween(ctx, s, room.ID, from, until); err != nil {
			return err
		}
	}
	of := map[coordinator.MachineID][]coordinator.Fact{}
	for _, f := range facts {
		of[f.Machine] = append(of[f.Machine], f)
	}
	var rows []coordinator.Rollup
	for _, m := range room.Machines {
		spans, undone := spansOf(of[m], date, zone)
		for _, start := range undone {
			rows = append(rows, coordinator.Rollup{Key: wearKey(room, m, start)})
		}
		for _, span := range spans {
			row, err := measureOne(ctx, s, room, m, span)
			if err != nil {
				return err
			}
			rows = append(rows, row)
		}
		for _, at := range lookedAfter(of[m], date, zone) {
			rows = append(rows, coordinator.Rollup{Key: wearLooked + place(room.ID, m) + at.UTC().Format(time.RFC3339), Value: []byte("{}")})
		}
		if fresh := madeAsNew(of[m], date, zone); !fresh.IsZero() {
			rows = append(rows, coordinator.Rollup{Key: wearNew + place(room.ID, m), Value: []byte(fresh.UTC().Format(time.RFC3339Nano))})
		}
	}
	return s.PutRollups(ctx, mark, rows...)
}

// measureOne reads a cycle's readings and measures it.
func measureOne(ctx context.Context, s Store, room *Room, m coordinator.MachineID, span wear.Span) (coordinator.Rollup, error) {
	var readings []cycle.Reading
	err := s.Readings(ctx, room.ID, m, span.Start, span.Until(), func(r coordinator.MachineReading) bool {
		readings = append(readings, r.Reading)
		return len(readings) < mostReadings
	})
	if err != nil {
		return coordinator.Rollup{}, err
	}
	washes, _ := room.kindOf(m)
	value, err := json.Marshal(wear.Measure(span, readings, washes))
	if err != nil {
		return coordinator.Rollup{}, fmt.Errorf("a measured cycle of machine %q does not encode: %w", m, err)
	}
	return coordinator.Rollup{Key: wearKey(room, m, span.Start), Value: value}, nil
}

// wearKey is where a measured cycle is stored.
func wearKey(room *Room, m coordinator.MachineID, start time.Time) string {
	return wearCycles + place(room.ID, m) + start.UTC().Format(time.RFC3339)
}

// mostReadings bounds the memory for one cycle: half a day of readings a second.
const mostReadings = 12 * 3600

// toldOf is the earliest end of the cycles that the date's facts tell of.
func toldOf(facts []coordinator.Fact, date Date, zone *time.Location) time.Time {
	from := date.Begin(zone)
	for i := range facts {
		if f := &facts[i]; f.Kind == coordinator.FactCycle && DateOf(f.At, zone) == date {
			from = earlier(from, f.End)
		}
	}
	return from
}

// spansOf lists a machine's cycles that ended on the date or are told of on it, as
// they were told last: those that ran to their end, and the starts of those that
// did not after all.
func spansOf(facts []coordinator.Fact, date Date, zone *time.Location) (whole []wear.Span, undone []time.Time) {
	last := map[uint64]*coordinator.Fact{}
	var numbers []uint64
	for i := range facts {
		f := &facts[i]
		if f.Kind != coordinator.FactCycle {
			continue
		}
		if last[f.Cycle] = f; DateOf(f.At, zone) == date || DateOf(f.End, zone) == date {
			numbers = append(numbers, f.Cycle)
		}
	}
	slices.Sort(numbers)
	for _, n := range slices.Compact(numbers) {
		f := last[n]
		if f.Note != cycle.Finished.String() || !f.Start.Before(f.End) {
			undone = append(undone, f.Start)
			continue
		}
		span := wear.Span{Number: n, Start: f.Start, End: f.End, EnergyWh: f.EnergyWh, PeakW: f.PeakW}
		span.Next = nextStart(facts, span.End)
		whole = append(whole, span)
	}
	return whole, undone
}

// madeAsNew is when the machine was last made as new on the date; zero when it was not.
func madeAsNew(facts []coordinator.Fact, date Date, zone *time.Location) (at time.Time) {
	for i := range facts {
		if f := &facts[i]; f.Kind == coordinator.FactLevels && f.Note == "forgotten" && DateOf(f.At, zone) == date {
			at = f.At
		}
	}
	return at
}

// lookedAfter lists when a machine was looked after on the date.
func lookedAfter(facts []coordinator.Fact, date Date, zone *time.Location) (all []time.Time) {
	for i := range facts {
		if f := &facts[i]; f.Kind == coordinator.FactLookedAfter && DateOf(f.At, zone) == date {
			all = append(all, f.At)
		}
	}
	return all
}

// nextStart is when a machine was first started after an instant; zero when it was not.
func nextStart(facts []coordinator.Fact, after time.Time) (next time.Time) {
	for i := range facts {
		f := &facts[i]
		begins := f.Kind == coordinator.FactStarted || f.Kind == coordinator.FactWalkUp || f.Kind == coordinator.FactCycle
		if begins && f.Start.After(after) && (next.IsZero() || f.Start.Before(next)) {
			next = f.Start
		}
	}
	return next
}

// Wear is what is known about a machine's wear.
type Wear struct {
	// Charts has one chart for each figure that shows wear on such a machine.
	Charts []wear.Chart
	// Since is when the machine was made as new; zero when it never was.
	Since time.Time
	// Cycles is how many were measured since.
	Cycles int
}

// Drifts are what goes on now, in the order of the charts.
func (w *Wear) Drifts() (all []wear.Drift) {
	for i := range w.Charts {
		if d := w.Charts[i].Drift; d != nil {
			all = append(all, *d)
		}
	}
	return all
}

// WearOf draws the charts of a machine from its measured cycles.
func WearOf(ctx context.Context, r Rollups, room *Room, m coordinator.MachineID) (Wear, error) {
	var w Wear
	prefix := wearNew + place(room.ID, m)
	err := eachRow(ctx, r, prefix, func(_ string, value []byte) (err error) {
		w.Since, err = time.Parse(time.RFC3339Nano, string(value))
		return err
	})
	if err != nil {
		return w, err
	}
	var all []wear.Cycle
	err = eachRow(ctx, r, wearCycles+place(room.ID, m), func(_ string, value []byte) error {
		var c wear.Cycle
		if err := json.Unmarshal(value, &c); err != nil {
			return err
		}
		all = append(all, c)
		return nil
	})
	if err != nil {
		return w, err
	}
	washes, dries := room.kindOf(m)
	h := wear.Since(w.Since, all, dries && !washes)
	w.Cycles = len(h.Cycles)
	if h.Looked, err = lookedOf(ctx, r, room, m); err != nil {
		return w, err
	}
	for _, f := range wear.Figures() {
		if f.Of(washes, dries) {
			w.Charts = append(w.Charts, wear.Watch(f, h, wear.Usual(f)))
		}
	}
	return w, nil
}

// lookedOf is when a machine was looked after, in order.
func lookedOf(ctx context.Context, r Rollups, room *Room, m coordinator.MachineID) (all []time.Time, err error) {
	prefix := wearLooked + place(room.ID, m)
	err = eachRow(ctx, r, prefix, func(key string, _ []byte) error {
		at, err := time.Parse(time.RFC3339, strings.TrimPrefix(key, prefix))
		all = append(all, at)
		return err
	})
	return all, err
}

// eachRow reads the stored sums whose keys begin with prefix, which ends in "/".
func eachRow(ctx context.Context, r Rollups, prefix string, fn func(key string, value []byte) error) (bad error) {
	// "0" comes after "/", so this is every key that begins with the prefix.
	err := r.Rollups(ctx, prefix, prefix[:len(prefix)-1]+"0", func(key string, value []byte) bool {
		if err := fn(key, value); err != nil {
			bad = damaged(key, err)
		}
		return bad == nil
	})
	if err != nil {
		return err
	}
	return bad
}

// wearNight looks for drifts of all machines of a room, and stores what goes on.
func wearNight(ctx context.Context, s Store, room *Room) error {
	var rows []coordinator.Rollup
	for _, m := range room.Machines {
		w, err := WearOf(ctx, s, room, m)
		if err != nil {
			return err
		}
		row := coordinator.Rollup{Key: wearNow + place(room.ID, m)}
		if drifts := w.Drifts(); len(drifts) > 0 {
			if row.Value, err = json.Marshal(drifts); err != nil {
				return fmt.Errorf("the drifts of machine %q do not encode: %w", m, err)
			}
		}
		rows = append(rows, row)
	}
	return s.PutRollups(ctx, coordinator.JobMark{}, rows...)
}

// DriftsNow is what last night found in a room, by machine.
func DriftsNow(ctx context.Context, r Rollups, room coordinator.RoomID) (map[coordinator.MachineID][]wear.Drift, error) {
	all := map[coordinator.MachineID][]wear.Drift{}
	prefix := wearNow + string(room) + "/"
	err := eachRow(ctx, r, prefix, func(key string, value []byte) error {
		var drifts []wear.Drift
		err := json.Unmarshal(value, &drifts)
		all[machineIn(key, prefix)] = drifts
		return err
	})
	return all, err
}
