package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// Snapshot is the room at now, for readers. It shares nothing with the room.
func (r *Room) Snapshot(now time.Time) *Snapshot {
	if now.Before(r.state.Now) {
		now = r.state.Now
	}
	s := &Snapshot{
		Room: r.plan.ID, Name: r.plan.Name, Zone: r.zone(), Seq: r.seq, At: now,
		Rules: r.state.Rules, RulesVersion: r.state.RulesVersion,
		Turns: slices.Clone([]queue.Turn(r.state.Turns)),
	}
	s.Rules.Ladder = slices.Clone(s.Rules.Ladder)
	if r.supplyOut() {
		s.SupplySince = r.state.Supply.Since
	}
	s.Machines = make([]MachineView, len(r.plan.Machines))
	for i := range r.plan.Machines {
		r.view(i, now, &s.Machines[i])
	}
	slices.SortFunc(s.Machines, func(a, b MachineView) int { return a.Number - b.Number })
	r.forecast(s, now)
	return s
}

// view fills in machine i.
func (r *Room) view(i int, now time.Time, v *MachineView) {
	m, status := &r.state.Machines[i], r.engines[i].Status()
	*v = MachineView{
		Machine: r.plan.Machines[i], Since: m.Since, Phase: status.Phase, ByHand: m.ByHand,
		Faults: slices.Clone(m.Faults), OutText: m.OutText, Watts: status.Last.Watts, Heard: status.Last.At,
		EnergyWh: status.EnergyWh, Cycle: m.Cycle, Stalled: status.Stalled,
	}
	v.ReservedFor = slices.Clone(v.ReservedFor)
	v.Learned = r.knowledge(i)
	if l := r.load(m.Load); l != nil {
		c := *l
		v.Load = &c
		v.MayHoldLoad = l.AssumedEmpty
		v.MoreTime = r.offersMore(i, now)
	}
	if m.Hold != nil {
		c := *m.Hold
		v.Hold = &c
	}
	v.Status, v.Since = r.status(i, now)
	switch v.Status {
	case Running:
		r.viewRunning(i, now, v)
	case Held:
		v.Until = m.Hold.Until
	case Free:
		v.OpenToWalkUps = r.state.Turns.FirstWaiting(&r.plan.Machines[i].Machine) >= 0
	}
}

// status is the machine's status, and since when.
func (r *Room) status(i int, now time.Time) (Status, time.Time) {
	m := &r.state.Machines[i]
	l := r.load(m.Load)
	switch {
	case m.Out:
		return Out, m.OutSince
	case r.mute(i):
		return Unknown, later(m.SilentSince, r.engines[i].Status().Last.At)
	case m.Running:
		return Running, m.Start
	case m.Hold != nil && (!m.Hold.LoadInside || l == nil || l.AssumedEmpty):
		return Held, m.Hold.Since
	case l == nil || l.AssumedEmpty:
		return Free, m.Since
	case now.Before(r.overdueAt(l)) || r.graceStopped(l):
		return Finished, l.ReadyAt
	}
	return Overdue, r.overdueAt(l)
}

// overdueAt is when the grace of a load is over, and the time that its owner asked for.
func (r *Room) overdueAt(l *Load) time.Time {
	return later(l.ToldAt.Add(l.Pause+r.state.Rules.Grace), l.MoreUntil)
}

// graceStopped reports whether a load was within its grace when the power went:
// the grace stands still with the ladder.
func (r *Room) graceStopped(l *Load) bool {
	return r.supplyOut() && r.state.Supply.Since.Before(r.overdueAt(l))
}

// viewRunning fills in when the running machine i is expected to end.
func (r *Room) viewRunning(i int, now time.Time, v *MachineView) {
	if v.ByHand {
		v.Until, v.About = r.handEnd(i), true
		v.Low, v.High = v.Until, v.Until
		return
	}
	left, ok := r.engines[i].Remaining(now)
	if !ok {
		return
	}
	v.Until, v.Low, v.High = now.Add(left.Median), now.Add(left.Low), now.Add(left.High)
	v.About, v.AnyMinute = left.About, left.Overdue
}

// forecast fills in when the waiting turns, and newcomers, will be called.
func (r *Room) forecast(s *Snapshot, now time.Time) {
	supplies := make([]queue.Supply, len(s.Machines))
	for i := range s.Machines {
		supplies[i] = r.supplyOf(&s.Machines[i], now)
	}
	p := queue.Forecast(s.Turns, supplies, r.house(), r.outlook(), now)
	for k := range s.Turns {
		if s.Turns[k].State == queue.Waiting {
			s.Forecasts = append(s.Forecasts, forecastAt(s.Turns[k].ID, p.Turns[k], now))
		}
	}
	s.IfYouJoin = map[queue.Need]Forecast{}
	for _, need := range [...]queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		s.IfYouJoin[need] = forecastAt(0, p.Join[need], now)
	}
}

func forecastAt(id TurnID, g queue.Guess, now time.Time) Forecast {
	return Forecast{Turn: id, Known: g.OK, Low: now.Add(g.In.Low), Median: now.Add(g.In.Median), High: now.Add(g.In.High)}
}

// Before any history (common practice, no source): how people answer a call.
const priorMissed = 0.1

var priorWalk = queue.Span{Low: time.Minute, Median: walkDown, High: 2 * walkDown}

// outlook is what the room has learned of lengths and people, with its rules.
func (r *Room) outlook() *queue.Outlook {
	l, rules := &r.state.Learned, &r.state.Rules
	return &queue.Outlook{
		Cycle: func(n queue.Need) queue.Spread {
			list, prior := l.Combined, priorCombined
			switch n {
			case queue.Wash:
				list, prior = l.Washes, priorWash
			case queue.Dry:
				list, prior = l.Dries, priorDry
			}
			return queue.Sampled(list, around(prior))
		},
		WalkDown: queue.SpreadOf(priorWalk), Missed: priorMissed,
		Collect: queue.Sampled(l.Delays, around(priorDelay)), CallAfter: rules.CallWithLoadAfter(),
		Hold:        func(HomeID) time.Duration { return rules.Hold },
		RecallAfter: rules.RecallAfter,
	}
}

// around is a wide span for a length of which only a usual value is known.
func around(prior time.Duration) queue.Span {
	return queue.Span{Low: prior * 6 / 10, Median: prior, High: prior * 16 / 10}
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

// endOf is in how long a running machine is expected to end: as its engine says,
// else as usual for its kind.
func (r *Room) endOf(v *MachineView, now time.Time) queue.Span {
	if v.Until.IsZero() {
		return around(max(0, v.Since.Add(r.state.Learned.machine(v.Kind)).Sub(now)))
	}
	return queue.Span{Low: v.Low.Sub(now), Median: v.Until.Sub(now), High: v.High.Sub(now)}
}
