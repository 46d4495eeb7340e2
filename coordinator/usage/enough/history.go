package enough

import (
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// History is a room's, over some weeks.
type History struct {
	// Facts are all of From <= At < To, in the order of time.
	Facts    []coordinator.Fact
	From, To time.Time
	Zone     *time.Location
	// Kinds says what each machine is.
	Kinds map[coordinator.MachineID]queue.Kind
	// CallAfter is how long after it is known to be over an uncollected load keeps
	// others from being called; 0 when it always does.
	CallAfter time.Duration
}

// Seen is what a history says of one kind of machine.
type Seen struct {
	Demand
	// Waited are the waits of those who were called or found a machine free, to
	// compare what is played with.
	Waited Waits
}

// Demands tells the demand for each kind of machine from the history.
//
// Somebody came when they joined the queue, or when they started a machine that
// was free. Whoever had booked a dryer behind a wash came for the dryer when
// their wash was over: that is told from the home, which history keeps for as
// long as the house says.
func (h *History) Demands() map[queue.Kind]*Seen {
	g := &gatherer{
		h: h, kinds: map[queue.Kind]*gathered{}, turns: map[coordinator.TurnID]*turn{},
		homes: map[run]coordinator.HomeID{}, ended: map[run]coordinator.Fact{}, over: map[coordinator.HomeID][]time.Time{},
	}
	for i := range h.Facts {
		g.add(&h.Facts[i])
	}
	return g.close()
}

// run is a cycle of a machine.
type run struct {
	machine coordinator.MachineID
	cycle   uint64
}

// turn is what is known of one that has not started.
type turn struct {
	home   coordinator.HomeID
	need   string
	called time.Time // the newest call that is not answered
	first  bool      // called at least once
	held   time.Duration
}

type gathered struct {
	seen   Seen
	waited sample
}

type gatherer struct {
	h     *History
	kinds map[queue.Kind]*gathered
	turns map[coordinator.TurnID]*turn
	homes map[run]coordinator.HomeID
	ended map[run]coordinator.Fact
	// over is when washes of a home were known to be over.
	over map[coordinator.HomeID][]time.Time
}

func (g *gatherer) kind(m coordinator.MachineID) *gathered {
	k, ok := g.h.Kinds[m]
	if !ok {
		return nil
	}
	return g.of(k)
}

func (g *gatherer) of(k queue.Kind) *gathered {
	if g.kinds[k] == nil {
		g.kinds[k] = &gathered{}
	}
	return g.kinds[k]
}

func (g *gatherer) add(f *coordinator.Fact) {
	switch f.Kind {
	case coordinator.FactJoined:
		g.turns[f.Turn] = &turn{home: f.Home, need: f.Note}
	case coordinator.FactCalled:
		g.call(f)
	case coordinator.FactMissed, coordinator.FactTakenBack, coordinator.FactPassed:
		if t := g.turns[f.Turn]; t != nil && !t.called.IsZero() {
			t.held += f.At.Sub(t.called)
			t.called = time.Time{}
		}
	case coordinator.FactLeft:
		g.leave(f)
	case coordinator.FactStarted:
		g.homes[run{f.Machine, f.Cycle}] = f.Home
		g.start(f)
	case coordinator.FactWalkUp:
		g.homes[run{f.Machine, f.Cycle}] = f.Home
		g.came(g.kind(f.Machine), f.Start, 0)
	case coordinator.FactClaimed:
		g.homes[run{f.Machine, f.Cycle}] = f.Home
	case coordinator.FactCycle:
		g.cycle(f)
	case coordinator.FactCollected:
		g.collect(f)
	}
}

// came counts somebody who came at an instant and waited.
func (g *gatherer) came(k *gathered, at time.Time, waited time.Duration) {
	if k == nil || at.Before(g.h.From) {
		return
	}
	local := at.In(g.h.Zone)
	k.seen.Seen++
	k.seen.Arrivals[local.Weekday()][local.Hour()]++
	k.waited = append(k.waited, waited)
}

func (g *gatherer) call(f *coordinator.Fact) {
	t := g.turns[f.Turn]
	if t == nil { // it joined before the history begins
		t = &turn{home: f.Home}
		g.turns[f.Turn] = t
	}
	t.called = f.At
	if t.first {
		return
	}
	t.first = true
	came := f.At.Add(-f.Wait)
	if g.h.Kinds[f.Machine] == queue.Dryer {
		came = g.behindWash(t.home, came, f.At)
	}
	g.came(g.kind(f.Machine), came, f.At.Sub(came))
}

// behindWash is when a wash of the home was over after somebody joined and
// before they were called; joined when there was none.
func (g *gatherer) behindWash(home coordinator.HomeID, joined, called time.Time) time.Time {
	if home == "" {
		return joined
	}
	for _, at := range slices.Backward(g.over[home]) {
		if !at.After(called) {
			if at.After(joined) {
				return at
			}
			break
		}
	}
	return joined
}

func (g *gatherer) leave(f *coordinator.Fact) {
	t := g.turns[f.Turn]
	if t == nil || t.first {
		return
	}
	switch t.need {
	case queue.Wash.String():
		g.of(queue.Washer).seen.Left++
	case queue.Dry.String():
		g.of(queue.Dryer).seen.Left++
	default:
		g.of(queue.WasherDryer).seen.Left++
	}
	delete(g.turns, f.Turn)
}

func (g *gatherer) start(f *coordinator.Fact) {
	t, k := g.turns[f.Turn], g.kind(f.Machine)
	if t == nil || t.called.IsZero() || k == nil {
		return
	}
	if d := t.held + f.Start.Sub(t.called); d >= 0 {
		k.seen.Answers = append(k.seen.Answers, d)
	}
	delete(g.turns, f.Turn)
}

// cycle notes the end of a cycle; a later fact of the same corrects it.
func (g *gatherer) cycle(f *coordinator.Fact) {
	r := run{f.Machine, f.Cycle}
	g.ended[r] = *f
	if home := g.homes[r]; home != "" && g.h.Kinds[f.Machine] == queue.Washer {
		g.over[home] = append(g.over[home], f.At)
	}
}

func (g *gatherer) collect(f *coordinator.Fact) {
	k := g.kind(f.Machine)
	if k == nil {
		return
	}
	d := f.Wait
	if g.h.CallAfter > 0 && d > g.h.CallAfter {
		d = g.h.CallAfter
	}
	k.seen.Delays = append(k.seen.Delays, max(0, d))
}

func (g *gatherer) close() map[queue.Kind]*Seen {
	weeks := g.h.To.Sub(g.h.From).Hours() / (7 * 24)
	for r, f := range g.ended {
		if k := g.kind(r.machine); k != nil && f.Note != cycle.Presumed.String() && f.At.After(f.Start) {
			k.seen.Cycles = append(k.seen.Cycles, f.At.Sub(f.Start))
		}
	}
	all := map[queue.Kind]*Seen{}
	for kind, k := range g.kinds {
		s := &k.seen
		// Out of a map they came in any order; the answer must not depend on it.
		slices.Sort(s.Cycles)
		s.Weeks = weeks
		if weeks > 0 {
			for d := range s.Arrivals {
				for h := range s.Arrivals[d] {
					s.Arrivals[d][h] /= weeks
				}
			}
			s.Waited = Waits{People: float64(s.Seen) / weeks, Mean: k.waited.mean(), Most: k.waited.at(0.95), Long: k.waited.over(long)}
		}
		all[kind] = s
	}
	return all
}
