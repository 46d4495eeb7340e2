package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// Foresight is what a forecast of a room needs, as it was at a snapshot. It shares
// nothing with the room that can change, so that the forecast, which takes
// milliseconds, can be worked out elsewhere while the room goes on.
type Foresight struct {
	snap     *Snapshot
	supplies []queue.Supply
	house    *queue.House
	outlook  *queue.Outlook
}

// Foresee gathers what a forecast needs. s is a snapshot of the room as it is now;
// it stays as it is.
func (r *Room) Foresee(s *Snapshot) *Foresight {
	f := &Foresight{snap: s, supplies: make([]queue.Supply, len(s.Machines)), house: r.house(), outlook: r.outlook()}
	for i := range s.Machines {
		f.supplies[i] = r.supplyOf(&s.Machines[i], s.At)
	}
	lengths := [...]time.Duration{queue.Wash: 0, queue.Dry: 0, queue.WashAndDry: 0}
	for n := range lengths {
		lengths[n] = f.house.Length(queue.Need(n))
	}
	f.house.Soon, f.house.Whose = nil, nil // the forecast knows by itself when loads are ready, and whose
	f.house.Length = func(n queue.Need) time.Duration { return lengths[n] }
	return f
}

// Prospects works the forecast out. The same Foresight always gives the same.
func (f *Foresight) Prospects() *Prospects {
	at := f.snap.At
	guesses := queue.Forecast(f.snap.Turns, f.supplies, f.house, f.outlook, at)
	p := &Prospects{At: at, IfYouJoin: map[queue.Need]Forecast{}}
	for k := range f.snap.Turns {
		if t := &f.snap.Turns[k]; t.State == queue.Waiting {
			p.Turns = append(p.Turns, forecastAt(t.ID, guesses.Turns[k], at))
		}
	}
	for _, need := range [...]queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		p.IfYouJoin[need] = forecastAt(0, guesses.Join[need], at)
	}
	return p
}

func forecastAt(id TurnID, g queue.Guess, now time.Time) Forecast {
	return Forecast{Turn: id, Known: g.OK, Low: now.Add(g.In.Low), Median: now.Add(g.In.Median), High: now.Add(g.In.High)}
}

// supplyOf is a machine as the forecast sees it. The hold of a called turn is in the line.
func (r *Room) supplyOf(v *MachineView, now time.Time) queue.Supply {
	s := queue.Supply{
		Machine: v.Machine.Machine, Usable: v.Status != Out && v.Status != Unknown, Running: v.Status == Running,
	}
	if s.Running {
		s.Ends = queue.SpreadOf(r.endOf(v, now))
	}
	if l := v.Load; l != nil && !v.MayHoldLoad {
		s.Load = uint64(l.ID)
		if r.countsFor(l, now) {
			s.Home = l.Home
		}
		if l.Ready() {
			s.Waited, s.CallIn = now.Sub(l.ToldAt), r.callWithLoadAt(l).Sub(now)
		}
	}
	return s
}

// endOf is in how long a running machine is expected to be declared finished: as
// its engine says, else as usual for its kind.
func (r *Room) endOf(v *MachineView, now time.Time) queue.Span {
	end := queue.Span{Low: v.Low.Sub(now), Median: v.Until.Sub(now), High: v.High.Sub(now)}
	if v.Until.IsZero() {
		end = around(max(0, v.Since.Add(r.state.Learned.machine(v.Kind)).Sub(now)))
	}
	if v.ByHand {
		return end
	}
	lag := r.state.Learned.lag(v.Kind)
	return queue.Span{Low: end.Low + lag.Low, Median: end.Median + lag.Median, High: end.High + lag.High}
}

// outlook is what the room has learned of lengths and people, with its rules.
func (r *Room) outlook() *queue.Outlook {
	l, rules := &r.state.Learned, &r.state.Rules
	cycles := [...]queue.Spread{queue.Wash: l.toTold(queue.Wash), queue.Dry: l.toTold(queue.Dry), queue.WashAndDry: l.toTold(queue.WashAndDry)}
	walks := came(l.Answers)
	stayedAway, said := len(l.Answers)-len(walks), len(l.Said)-len(came(l.Said))
	ahead := rules.DryCallAhead
	if ahead > 0 { // that counts from the expected end, the forecast from when it is declared
		ahead += l.lag(queue.Washer).Median
	}
	holds := Rules{Hold: rules.Hold, LongerHold: rules.LongerHold, LongerHoldHomes: slices.Clone(rules.LongerHoldHomes)}
	return &queue.Outlook{
		Cycle:       func(n queue.Need) queue.Spread { return cycles[n] },
		WalkDown:    queue.Sampled(walks, queue.Span{Low: time.Minute, Median: walkDown, High: 2 * walkDown}),
		Missed:      queue.Share(stayedAway, len(l.Answers), priorMissed),
		WayAdds:     rules.OnMyWayAdds,
		WayMissed:   queue.Share(said, len(l.Said), priorWayMissed),
		MissedSaid:  queue.Share(min(said, stayedAway), stayedAway, priorWayMissed),
		Collect:     queue.Sampled(l.Delays, around(priorDelay)),
		CallAfter:   rules.CallWithLoadAfter(),
		Hold:        holds.HoldFor,
		Ahead:       ahead,
		RecallAfter: rules.RecallAfter,
		Seed:        seedOf(r.plan.ID),
	}
}

// seedOf is the same for a room's every forecast, so that what people see does not
// jitter from one to the next (FNV-1a, 64 bits).
func seedOf(id RoomID) uint64 {
	h := uint64(14695981039346656037)
	for i := range len(id) {
		h = (h ^ uint64(id[i])) * 1099511628211
	}
	return h
}
