package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// Snapshot is the room at now, for readers. It shares nothing with the room, and
// has no forecasts: those take longer, see Foresee.
func (r *Room) Snapshot(now time.Time) *Snapshot {
	if now.Before(r.state.Now) {
		now = r.state.Now
	}
	s := &Snapshot{
		Room: r.plan.ID, Name: r.plan.Name, Zone: r.zone(), Seq: r.seq, At: now,
		Rules: r.state.Rules, RulesVersion: r.state.RulesVersion, Versions: slices.Clip(r.versions),
		Turns: slices.Clone([]queue.Turn(r.state.Turns)),
	}
	s.Rules.Ladder = slices.Clone(s.Rules.Ladder)
	s.Rules.LongerHoldHomes = slices.Clone(s.Rules.LongerHoldHomes)
	s.Table = slices.Clone(r.state.Table)
	s.TooLong = r.tooLong()
	if r.supplyOut() {
		s.SupplySince = r.state.Supply.Since
	}
	s.Machines = make([]MachineView, len(r.plan.Machines))
	for i := range r.plan.Machines {
		r.view(i, now, &s.Machines[i])
	}
	slices.SortFunc(s.Machines, func(a, b MachineView) int { return a.Number - b.Number })
	return s
}

// view fills in machine i.
func (r *Room) view(i int, now time.Time, v *MachineView) {
	m, status := &r.state.Machines[i], r.engines[i].Status()
	*v = MachineView{
		Machine: r.plan.Machines[i], Phase: status.Phase, ByHand: m.ByHand, MeterBack: r.heardByHand(i),
		Faults: slices.Clone(m.Faults), OutText: m.OutText, LookedAfter: m.LookedAfter, Watts: status.Last.Watts, Heard: status.Last.At,
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
