package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// TestOnMyWay: the others see that somebody comes; the hold is as long as it was,
// but where the house rules say otherwise, and then once.
func TestOnMyWay(t *testing.T) {
	for _, adds := range []time.Duration{0, 5 * time.Minute} {
		s := newScene(t, func(p *Plan) { oneWasher(p); p.Seed.OnMyWayAdds = adds })
		id := s.join("anna", queue.Wash)
		waits := s.join("ben", queue.Wash)
		until := s.now.Add(10*time.Minute + adds)
		s.refused(OnMyWay{Turn: waits, Person: "ben"}, "way.not-called")
		s.refused(OnMyWay{Turn: id, Person: "ben", Home: "home-ben"}, "turn.foreign")
		s.wait(4 * time.Minute)
		for range 2 {
			s.do(OnMyWay{Turn: id, Person: "anna"})
		}
		s.reopen(0)
		v := s.room.Snapshot(s.now)
		if m := v.Machine("w1"); !m.Hold.OnWay || !m.Hold.Until.Equal(until) || v.Turn(id).OnWay.IsZero() {
			t.Errorf("with %s more the hold is %+v, want until %s", adds, m.Hold, until)
		}
		if got := len(s.factsOf(FactOnWay)); got != 1 {
			t.Errorf("%d facts say that anna is on the way", got)
		}
		s.watts("w1", 1)
		s.wait(until.Sub(s.now))
		s.wantTold(TurnMissed, "anna")
		if turn := s.room.Snapshot(s.now).Turn(id); !turn.OnWay.IsZero() {
			t.Error("after the missed call anna is still on the way")
		}
	}
}
