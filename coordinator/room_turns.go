package coordinator

import (
	"slices"
	"time"

	"drumturn/queue"
)

// longestLater is how far ahead "not now" may reach.
const longestLater = 24 * time.Hour

// join puts a turn at the end of the queue.
func (r *Room) join(now time.Time, e Join) error {
	if err := r.mayJoin(e); err != nil {
		return err
	}
	t := queue.Turn{Person: e.Person, Home: e.Home, Need: e.Need, Wishes: e.Wishes, DryAfter: e.DryAfter && e.Need == queue.Wash}
	if e.LeaveAtClosing {
		t.LeaveAt = r.leavesFrom(t.Need, now)
	}
	id := r.addTurn(t, now).ID
	if e.By != "" {
		r.fact(Fact{Kind: FactJoinedFor, Person: e.By, Home: e.Home, Turn: id})
	}
	return nil
}

// mayJoin says why a person cannot have this turn.
func (r *Room) mayJoin(e Join) error {
	if e.Person == "" || e.Home == "" {
		return Refuse(NotAllowed, "join.stranger", "Only residents can take a turn.")
	}
	if limit := r.state.Rules.Limits.TurnsPerHome; limit > 0 && r.state.Turns.Active(e.Home) >= limit {
		return Refuse(OverLimit, "join.limit", "The house allows each home {most} turns at a time. Leave one to take another.", "most", limit)
	}
	if e.Guest && r.state.Turns.Of(e.Person) >= GuestTurns {
		return Refuse(OverLimit, "join.guest", "Guests can have {most} turn at a time.", "most", GuestTurns)
	}
	probe := queue.Turn{Home: e.Home, Need: e.Need, Wishes: e.Wishes}
	dryer := queue.Turn{Home: e.Home, Need: queue.Dry, Wishes: e.Wishes}
	if !r.serves(&probe) || (e.DryAfter && e.Need == queue.Wash && !r.serves(&dryer)) {
		return Refuse(Invalid, "join.impossible", "No machine in this room can do that with these wishes.")
	}
	return nil
}

// serves reports whether a machine of the room can ever be called for the turn.
func (r *Room) serves(t *queue.Turn) bool {
	for i := range r.plan.Machines {
		if t.Fits(&r.plan.Machines[i].Machine) == queue.Yes {
			return true
		}
	}
	return false
}

// addTurn numbers a turn and appends it.
func (r *Room) addTurn(t queue.Turn, now time.Time) *queue.Turn {
	r.state.LastTurn++
	t.ID, t.State, t.Joined = r.state.LastTurn, queue.Waiting, now
	r.state.Turns = append(r.state.Turns, t)
	r.reply.Turn = t.ID
	r.fact(Fact{Kind: FactJoined, Person: t.Person, Home: t.Home, Turn: t.ID, Note: t.Need.String()})
	return &r.state.Turns[len(r.state.Turns)-1]
}

// own finds a turn that the person may act for: their own or one of their home.
func (r *Room) own(id TurnID, person PersonID, home HomeID) (int, error) {
	i := r.state.Turns.Index(id)
	if i < 0 || r.state.Turns[i].State == queue.Started {
		return -1, Refuse(NotFound, "turn.gone", "That turn is over.")
	}
	if t := &r.state.Turns[i]; t.Person != person && (home == "" || t.Home != home) {
		return -1, Refuse(NotAllowed, "turn.foreign", "That turn belongs to another home.")
	}
	return i, nil
}

// leave ends a turn at its owner's wish.
func (r *Room) leave(e Leave) error {
	i, err := r.own(e.Turn, e.Person, e.Home)
	if err != nil {
		return err
	}
	t := r.state.Turns[i]
	r.dropHold(t.ID)
	r.removeTurn(i)
	r.withdraw(Subject{Turn: t.ID})
	r.fact(Fact{Kind: FactLeft, Person: t.Person, Home: t.Home, Turn: t.ID})
	return nil
}

// letNext lets the next eligible turn go first.
func (r *Room) letNext(now time.Time, e LetNext) error {
	i, err := r.own(e.Turn, e.Person, e.Home)
	if err != nil {
		return err
	}
	t := r.state.Turns[i]
	var m *queue.Machine
	if k := r.index(t.Machine); t.State == queue.Called && k >= 0 {
		m = &r.plan.Machines[k].Machine
	}
	if !r.state.Turns.LetNext(i, m, r.house(), now) {
		return Refuse(Conflict, "turn.nobody-next", "Nobody behind you can go instead. You can say \"not now\" and keep your place.")
	}
	r.dropHold(t.ID)
	r.withdraw(Subject{Turn: t.ID})
	r.fact(Fact{Kind: FactPassed, Person: t.Person, Home: t.Home, Turn: t.ID, Machine: t.Machine, Note: "let the next one go first"})
	return nil
}

// notNow keeps a turn's place without calling it before a time.
func (r *Room) notNow(now time.Time, e NotNow) error {
	i, err := r.own(e.Turn, e.Person, e.Home)
	if err != nil {
		return err
	}
	if !e.Until.After(now) || e.Until.Sub(now) > longestLater {
		return Refuse(Invalid, "turn.later-range", "Choose a time within the next 24 hours.")
	}
	t := &r.state.Turns[i]
	r.withdraw(Subject{Turn: t.ID})
	r.fact(Fact{Kind: FactPassed, Person: t.Person, Home: t.Home, Turn: t.ID, Machine: t.Machine, Note: "not now"})
	if t.State == queue.Called {
		r.dropHold(t.ID)
		r.state.Turns.Wait(i)
	}
	t.NotBefore = e.Until
	return nil
}

// removeTurn takes turn i out of the line.
func (r *Room) removeTurn(i int) {
	r.state.Turns.Settle(r.state.Turns[i].ID)
	r.state.Turns = slices.Delete(r.state.Turns, i, i+1)
	r.touch()
}

// turnStarted uses up the turn whose load just started on machine i, and books
// its dryer where that was asked for.
func (r *Room) turnStarted(i int, l *Load, now time.Time) {
	k := r.state.Turns.Index(l.Turn)
	if k < 0 {
		return
	}
	r.state.Turns.Settle(l.Turn)
	t := &r.state.Turns[k]
	t.State, t.Machine, t.HoldUntil = queue.Started, l.Machine, time.Time{}
	r.withdraw(Subject{Turn: t.ID})
	if dryer := (queue.Turn{Person: t.Person, Home: t.Home, Need: queue.Dry, Wishes: t.Wishes, LeaveAt: t.LeaveAt, Carries: uint64(l.ID)}); t.DryAfter && r.serves(&dryer) {
		if !l.Ready() {
			dryer.Behind = uint64(l.ID)
		}
		r.addTurn(dryer, now)
	}
}

// tellBegun tells the holder of machine i that it runs: whoever did not start it can say so.
func (r *Room) tellBegun(i int, l *Load, now time.Time) {
	notice := Notice{
		Subject: Subject{Load: l.ID}, Kind: LoadBegun, Step: r.again(), To: l.Owner,
		UsefulUntil: now.Add(r.state.Rules.NotMeWithin),
	}
	if left, ok := r.engines[i].Remaining(now); ok {
		notice.Until = now.Add(left.Median)
	}
	r.tell(i, notice)
}
