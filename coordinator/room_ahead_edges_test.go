package coordinator

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// guessing is an engine that says what a test wants of how long its cycle takes.
type guessing struct {
	*plainEngine
	left  time.Duration
	about bool
	mute  bool // it says nothing
}

func (e guessing) Remaining(time.Time) (cycle.Estimate, bool) {
	return cycle.Estimate{Median: e.left, Low: e.left, High: e.left, About: e.about}, !e.mute
}

// guess gives w1 such an engine.
func guess(g guessing) func(*scene) {
	return func(s *scene) {
		g.plainEngine = s.room.engines[0].(*plainEngine)
		s.room.engines[0] = g
	}
}

// TestWhenAWashIsExpected: a dryer is called ahead of an end only where that is
// known, and no better guess from the kind of machine.
func TestWhenAWashIsExpected(t *testing.T) {
	running := both(called("anna"), power("w1", 300))
	minutesLeft := func(m int) func(*scene) { return guess(guessing{left: time.Duration(m) * time.Minute}) }
	for _, c := range []struct {
		name  string
		when  func(*scene)
		in    time.Duration
		known bool
		soon  bool // may be called ahead, three minutes before
	}{
		{"it runs", both(running, minutesLeft(20)), 20 * time.Minute, true, false},
		{"it will be over in three minutes", both(running, minutesLeft(3)), 3 * time.Minute, true, true},
		{"it should be over", both(running, minutesLeft(0)), 0, true, true},
		{"usual for such machines", both(running, guess(guessing{left: time.Minute, about: true})), 0, false, false},
		{"nothing is known", both(running, guess(guessing{left: time.Minute, mute: true})), 0, false, false},
		{"its meter is silent", both(running, minutesLeft(2), silence(11*time.Minute)), 0, false, false},
		{"it is over", both(washes, minutesLeft(2)), 0, false, false},
		{"it was collected", both(washes, event(Collect{Machine: "w1"}), minutesLeft(2)), 0, false, false},
		{"it is run by hand", both(running, minutesLeft(2), event(ByHand{Machine: "w1", On: true})), 75 * time.Minute, true, false},
		{"by hand, near its usual end", both(event(ByHand{Machine: "w1", On: true}), called("anna"), event(StartByHand{Machine: "w1", Person: "anna"}), pass(73*time.Minute)), 2 * time.Minute, true, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			c.when(s)
			s.room.begin(s.now)
			at, known := s.room.expectedReady(1, s.now)
			if known != c.known || known && at.Sub(s.now).Round(time.Second) != c.in {
				t.Errorf("the end is expected in %s (known: %v), want %s (%v)", at.Sub(s.now), known, c.in, c.known)
			}
			if soon := s.room.readySoon(1); soon != c.soon {
				t.Errorf("the dryer may be called ahead: %v, want %v", soon, c.soon)
			}
			s.room.state.Rules.DryCallAhead = 0
			if s.room.readySoon(1) {
				t.Error("a house that wants none called ahead calls it")
			}
		})
	}
}

// TestWhenADryerIsCalledAhead: at the next full second; not where it makes no sense.
func TestWhenADryerIsCalledAhead(t *testing.T) {
	for _, c := range []struct {
		name   string
		left   time.Duration
		change func(*scene, *queue.Turn)
		want   time.Duration // 0: never
		now    bool
	}{
		{"some time ahead", 20 * time.Minute, nil, 17*time.Minute + time.Second, false},
		{"a moment ahead", 3*time.Minute + time.Millisecond, nil, time.Second, false},
		{"just now", 3 * time.Minute, nil, 0, true},
		{"now, and no dryer is open", time.Minute, func(s *scene, _ *queue.Turn) { s.room.state.Machines[2].Out = true }, 0, false},
		{"nothing at all is open", 20 * time.Minute, func(s *scene, _ *queue.Turn) {
			s.room.state.Machines[1].Out, s.room.state.Machines[2].Out = true, true
		}, 0, false},
		{"it was called ahead before", 20 * time.Minute, func(_ *scene, t *queue.Turn) { t.Early = true }, 0, false},
		{"it follows no wash any more", 20 * time.Minute, func(_ *scene, t *queue.Turn) { t.Behind = 0 }, 0, false},
		{"it follows a wash that is gone", 20 * time.Minute, func(_ *scene, t *queue.Turn) { t.Behind = 99 }, 0, false},
		{"the house wants none", 20 * time.Minute, func(s *scene, _ *queue.Turn) { s.room.state.Rules.DryCallAhead = 0 }, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			both(dryAfter, power("w1", 300), guess(guessing{left: c.left}))(s)
			s.now = noon.Add(time.Minute)
			s.room.begin(s.now)
			if c.change != nil {
				c.change(s, s.dryerOf("anna"))
			}
			at := s.room.aheadAt(s.room.state.Turns.Index(2))
			switch {
			case c.now && !at.Equal(s.now), c.want != 0 && at.Sub(s.now) != c.want, !c.now && c.want == 0 && !at.IsZero():
				t.Errorf("it is called at %s, now is %s", at.Format("15:04:05.000"), s.now.Format("15:04:05.000"))
			}
		})
	}
}

// TestDryAfterTakesTheWashsWishes: a dryer booked while the wash runs is like one
// that was asked for before: with the wishes of the wash and its choice at closing,
// and it carries the wash.
func TestDryAfterTakesTheWashsWishes(t *testing.T) {
	plan := func(p *Plan) {
		for i := range p.Machines {
			p.Machines[i].Accessible, p.Machines[i].CapacityKg = true, 8
		}
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: queue.NoClock}
		}
	}
	wishes := queue.Wishes{Accessible: true, MinKg: 7}
	s := newScene(t, plan)
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, Wishes: wishes, LeaveAtClosing: true})
	s.watts("w1", 300)
	s.do(DryAfter{Machine: "w1", Person: "sister", Home: "home-anna"})
	wash, dryer := s.room.state.Turns[0], s.dryerOf("anna")
	if !wash.DryAfter || dryer.Wishes != wishes || dryer.LeaveAt.IsZero() || !dryer.LeaveAt.Equal(wash.LeaveAt) || dryer.Behind != 1 || dryer.Carries != 1 {
		t.Errorf("the dryer is %+v behind %+v", dryer, wash)
	}
	// A walk-up that was claimed used no turn: there are no wishes to take.
	s = newScene(t, nil)
	s.watts("w1", 300)
	s.do(Claim{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.do(DryAfter{Machine: "w1", Person: "anna", Home: "home-anna"})
	if dryer := s.dryerOf("anna"); dryer.Wishes != (queue.Wishes{}) || !dryer.LeaveAt.IsZero() || dryer.Behind != 1 {
		t.Errorf("the dryer behind a walk-up is %+v", dryer)
	}
}

// TestBookedAtTheStart: a dryer that was asked for before the wash takes the same.
func TestBookedAtTheStart(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Machines[0].CapacityKg, p.Machines[2].CapacityKg = 8, 8 })
	s.do(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true, Wishes: queue.Wishes{MinKg: 7}, LeaveAtClosing: true})
	wash := s.room.state.Turns[0]
	s.watts(wash.Machine, 300)
	d := s.dryerOf("anna")
	if d.Wishes.MinKg != 7 || !d.LeaveAt.Equal(wash.LeaveAt) || d.LeaveAt.IsZero() || d.Behind != 1 || d.Carries != 1 || d.Home != "home-anna" || d.State != queue.Waiting {
		t.Errorf("the dryer is %+v", d)
	}
}

// TestHoldCountsFromTheEnd: the dryer's hold, and the turn's call, begin when the wash has ended.
func TestHoldCountsFromTheEnd(t *testing.T) {
	s := washing(t, nil)
	s.wait(4 * time.Minute)
	s.watts("w1", 1)
	turn, h := s.dryerOf("anna"), s.room.state.Machines[2].Hold
	if !turn.CalledAt.Equal(s.now) || !h.Since.Equal(s.now) || !turn.HoldUntil.Equal(s.now.Add(10*time.Minute)) || !h.Until.Equal(turn.HoldUntil) {
		t.Errorf("the turn is %+v, its hold %+v", turn, h)
	}
}
