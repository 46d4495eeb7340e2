package hindsight

import (
	"context"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

const (
	// lead is how long before a start readings are folded, so that an engine sees
	// the machine at rest first; tail is how long after an end was told.
	lead = 15 * time.Minute
	tail = 10 * time.Minute
	// mostReadings bounds what is folded of one cycle: half a day of a reading a second.
	mostReadings = 12 * 3600
	// sayEvery is how often the remaining time is asked for.
	sayEvery = time.Minute
	// nearStart is how far the start that is found again may lie from the stored one.
	nearStart = 15 * time.Minute
)

// Story is a cycle as a fresh engine tells it from the stored readings.
type Story struct {
	// Behind is how many cycles before it the engine had seen.
	Behind int
	Phases []Phase
	// Said is what the engine said of the remaining time, each minute.
	Said []Said
}

// Phase is a stretch of a cycle.
type Phase struct {
	cycle.Phase
	From, To time.Time
}

// Said is a remaining time as it was said at an instant.
type Said struct {
	At   time.Time
	Left cycle.Estimate
}

// Tell folds the stored readings of the cycles before, oldest first, and then
// those of the cycle itself into an engine that knows nothing yet. What it says
// may differ from what was said on the day, by an engine that knew more cycles.
func Tell(ctx context.Context, r Readings, at Place, engine cycle.Engine, before []coordinator.Fact, of coordinator.Fact) (Story, error) {
	s := Story{Behind: len(before)}
	last := time.Time{}
	for i := range before {
		c := &before[i]
		until := c.At.Add(tail)
		if i+1 < len(before) && before[i+1].Start.Before(until) {
			until = before[i+1].Start
		}
		if i+1 == len(before) && of.Start.Before(until) {
			until = of.Start
		}
		if err := fold(ctx, r, at, engine, later(c.Start.Add(-lead), last), until, nil); err != nil {
			return s, err
		}
		last = until
	}
	t := &teller{story: &s, of: of}
	err := fold(ctx, r, at, engine, later(of.Start.Add(-lead), last), of.At.Add(time.Second), t.look)
	t.close()
	return s, err
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// fold gives an engine the readings of a stretch, and time to say what falls due
// in between. look is called after each.
func fold(ctx context.Context, r Readings, at Place, e cycle.Engine, from, to time.Time, look func(now time.Time, e cycle.Engine)) error {
	n := 0
	return r.Readings(ctx, at.Room, at.Machine, from, to, func(reading coordinator.MachineReading) bool {
		for range 8 {
			due := e.Next()
			if due.IsZero() || !due.Before(reading.At) {
				break
			}
			e.Tick(due)
		}
		e.Read(reading.At, reading.Reading)
		if look != nil {
			look(reading.At, e)
		}
		n++
		return n < mostReadings
	})
}

// teller writes a story down.
type teller struct {
	story *Story
	of    coordinator.Fact
	asked time.Time
}

// look notes what the engine knows of the cycle after a reading.
func (t *teller) look(now time.Time, e cycle.Engine) {
	status := e.Status()
	if !status.Running || status.Start.Sub(t.of.Start).Abs() > nearStart {
		return
	}
	t.phase(status)
	if now.Sub(t.asked) < sayEvery || now.After(t.of.End) {
		return
	}
	if left, ok := e.Remaining(now); ok {
		t.story.Said = append(t.story.Said, Said{now, left})
		t.asked = now
	}
}

// phase begins a phase when the engine is in another.
func (t *teller) phase(status cycle.Status) {
	p := &t.story.Phases
	if status.Phase == cycle.NoPhase || status.Phase == cycle.After {
		return
	}
	if k := len(*p) - 1; k >= 0 {
		if (*p)[k].Phase == status.Phase || !status.PhaseSince.After((*p)[k].From) {
			return
		}
		(*p)[k].To = status.PhaseSince
	}
	*p = append(*p, Phase{Phase: status.Phase, From: later(status.PhaseSince, t.of.Start)})
}

// close ends the last phase with the cycle, and leaves out what came after.
func (t *teller) close() {
	p := t.story.Phases
	for len(p) > 0 && !p[len(p)-1].From.Before(t.of.End) {
		p = p[:len(p)-1]
	}
	if len(p) > 0 {
		p[len(p)-1].To = t.of.End
	}
	t.story.Phases = p
}
