package coordinator

import (
	"time"

	"drumturn/queue"
)

// onMyWay notes that a called resident is coming, for all who wait to see. The
// hold is lengthened, once, where the house rules say so.
func (r *Room) onMyWay(now time.Time, e OnMyWay) error {
	k, err := r.own(e.Turn, e.Person, e.Home)
	if err != nil {
		return err
	}
	t := &r.state.Turns[k]
	i := r.index(t.Machine)
	if t.State != queue.Called || i < 0 || r.state.Machines[i].Hold == nil {
		return Refuse(Conflict, "way.not-called", "You are not being called just now.")
	}
	if !t.OnWay.IsZero() {
		return nil
	}
	h := r.state.Machines[i].Hold
	t.OnWay, h.OnWay = now, true
	r.extendHold(h, h.Until.Add(r.state.Rules.OnMyWayAdds))
	r.fact(Fact{Kind: FactOnWay, Machine: t.Machine, Person: e.Person, Home: e.Home, Turn: t.ID, End: h.Until})
	return nil
}
