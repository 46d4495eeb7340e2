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
	t := &teller{story: &s, of: of}
	own := of.Start.Add(-lead)
	for _, group := range grouped(stretches(before, of)) {
		err := fold(ctx, r, at, engine, group, func(now time.Time) {
			if !now.Before(own) {
				t.look(now, engine)
			}
		})
		if err != nil {
			return s, err
		}
	}
	t.close()
	return s, nil
}

// stretch is a time whose readings are folded.
type stretch struct{ from, to time.Time }

// stretches are those of the cycles, in order; none reaches into the next.
func stretches(before []coordinator.Fact, of coordinator.Fact) []stretch {
	var all []stretch
	for i := range before {
		all = append(all, stretch{before[i].Start.Add(-lead), before[i].At.Add(tail)})
	}
	all = append(all, stretch{of.Start.Add(-lead), of.At.Add(time.Second)})
	for i := 1; i < len(all); i++ {
		if all[i].from.Before(all[i-1].to) {
			all[i-1].to = all[i].from
		}
	}
	return all
}

// readTogether is how far apart stretches are that are read at once: the store
// unpacks some hours of readings together.
const readTogether = 6 * time.Hour

// grouped puts stretches that are close to each other together.
func grouped(all []stretch) [][]stretch {
	var out [][]stretch
	for i, s := range all {
		if i == 0 || s.from.Sub(all[i-1].to) > readTogether {
			out = append(out, nil)
		}
		out[len(out)-1] = append(out[len(out)-1], s)
	}
	return out
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// fold gives an engine the readings within stretches, and time to say what falls
// due in between. look is called after each.
func fold(ctx context.Context, r Readings, at Place, e cycle.Engine, all []stretch, look func(now time.Time)) error {
	n, k := 0, 0
	return r.Readings(ctx, at.Room, at.Machine, all[0].from, all[len(all)-1].to, func(reading coordinator.MachineReading) bool {
		for k < len(all)-1 && !reading.At.Before(all[k].to) {
			k, n = k+1, 0
		}
		if reading.At.Before(all[k].from) || n >= mostReadings {
			return true
		}
		for range 8 {
			due := e.Next()
			if due.IsZero() || !due.Before(reading.At) {
				break
			}
			e.Tick(due)
		}
		e.Read(reading.At, reading.Reading)
		look(reading.At)
		n++
		return true
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
