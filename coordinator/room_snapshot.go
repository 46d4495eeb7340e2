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
	if l := r.load(m.Load); l != nil {
		c := *l
		v.Load = &c
		v.MayHoldLoad = l.AssumedEmpty
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
	case now.Before(l.ToldAt.Add(l.Pause + r.state.Rules.Grace)):
		return Finished, l.ReadyAt
	}
	return Overdue, l.ToldAt.Add(l.Pause + r.state.Rules.Grace)
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
	outlook := queue.Outlook{Length: r.state.Learned.occupied}
	line := slices.Clone(s.Turns)
	for k := range line {
		line[k].NotBefore = later(line[k].NotBefore, s.readyAt(line[k].Behind))
	}
	for _, need := range [...]queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		line = append(line, queue.Turn{Need: need, State: queue.Waiting})
	}
	s.IfYouJoin = map[queue.Need]Forecast{}
	for k, g := range queue.Forecast(line[:len(s.Turns)], supplies, outlook, now) {
		if line[k].State == queue.Waiting {
			s.Forecasts = append(s.Forecasts, forecastAt(line[k].ID, g, now))
		}
	}
	for k := len(s.Turns); k < len(line); k++ {
		with := append(slices.Clone(line[:len(s.Turns)]), line[k])
		guesses := queue.Forecast(with, supplies, outlook, now)
		s.IfYouJoin[line[k].Need] = forecastAt(0, guesses[len(guesses)-1], now)
	}
}

// readyAt is when the load that a dryer is booked behind is expected to be
// ready; zero when that is not known.
func (s *Snapshot) readyAt(behind uint64) time.Time {
	for i := range s.Machines {
		if v := &s.Machines[i]; behind != 0 && v.Status == Running && v.Load != nil && uint64(v.Load.ID) == behind {
			return v.Until
		}
	}
	return time.Time{}
}

func forecastAt(id TurnID, g queue.Guess, now time.Time) Forecast {
	return Forecast{Turn: id, Known: g.OK, Low: now.Add(g.In.Low), Median: now.Add(g.In.Median), High: now.Add(g.In.High)}
}

// supplyOf is a machine as the forecast sees it.
func (r *Room) supplyOf(v *MachineView, now time.Time) queue.Supply {
	s := queue.Supply{Machine: v.Machine.Machine, Usable: v.Status != Out && v.Status != Unknown}
	delay := r.state.Learned.delay()
	switch {
	case v.Status == Running:
		s.FreeIn = queue.Span{
			Low: v.Low.Sub(now) + delay.Low, Median: v.Until.Sub(now) + delay.Median, High: v.High.Sub(now) + delay.High,
		}
	case v.Hold != nil:
		// Most holders start: the machine is then busy for a whole load.
		s.FreeIn = r.state.Learned.occupied(needOf(v.Kind))
	case v.Load != nil && !v.MayHoldLoad:
		wait := max(r.callWithLoadAt(v.Load).Sub(now), 0)
		s.FreeIn = queue.Span{Low: 0, Median: min(delay.Median, wait), High: wait}
	}
	return s
}

// needOf is what a kind of machine is mostly used for.
func needOf(k queue.Kind) queue.Need {
	switch k {
	case queue.Dryer:
		return queue.Dry
	case queue.WasherDryer:
		return queue.WashAndDry
	default:
		return queue.Wash
	}
}
