package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// shortRoom is open from eight to half past nine in the evening: an hour and a half.
func shortRoom(p *Plan) {
	for i := range p.Seed.Hours {
		p.Seed.Hours[i] = queue.Day{Opens: 20 * 60, LastStart: queue.NoClock, EndedBy: 21*60 + 30}
	}
}

// TestTooLongForAnyDay: where washes have become longer than any day's opening hours,
// the turn waits, and it is said why; shorter ones, or longer hours, call it.
func TestTooLongForAnyDay(t *testing.T) {
	s := newScene(t, shortRoom)
	id := s.join("anna", queue.Wash)
	why := func() (Hopeless, bool) {
		s.reopen(0)
		snap := s.room.Snapshot(s.now)
		return snap.Hopeless(snap.Turn(id))
	}
	if got, ok := why(); ok {
		t.Fatalf("washes of 75 minutes are %+v", got)
	}
	for range 3 {
		s.room.learnLengthOf(100 * time.Minute)
	}
	s.do(HoldLonger{Person: "manager", Home: "home-anna", On: true}) // any step, so that it is stored
	got, ok := why()
	if !ok || got.TooLong == nil || *got.TooLong != (TooLong{queue.Wash, 100 * time.Minute, 90 * time.Minute}) {
		t.Fatalf("washes of 100 minutes are %+v, %v", got.TooLong, ok)
	}
	s.wait(24 * time.Hour)
	s.wantTold(TurnCalled)
	rules := s.room.state.Rules
	rules.Hours = queue.AlwaysOpen()
	s.do(SetRules{Rules: rules})
	s.wantTold(TurnCalled, "anna")
	if got, ok := why(); ok && got.TooLong != nil {
		t.Errorf("in a room that is always open washes are %+v", got.TooLong)
	}
}

func (r *Room) learnLengthOf(d time.Duration) {
	r.state.Learned.Washes = remember(r.state.Learned.Washes, d)
}

// TestTooLongIsOfTheRoom: what no machine of the room does is not said to be too long.
func TestTooLongIsOfTheRoom(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		oneWasher(p)
		for i := range p.Seed.Hours {
			p.Seed.Hours[i] = queue.Day{Opens: 20 * 60, LastStart: queue.NoClock, EndedBy: 20*60 + 30}
		}
	})
	if got := s.room.Snapshot(s.now).TooLong; len(got) != 1 || got[0].Need != queue.Wash {
		t.Errorf("too long are %+v, want washes alone", got)
	}
}

// TestNoMachineForIt: a turn that no working machine can serve is told so, until one works.
func TestNoMachineForIt(t *testing.T) {
	s := newScene(t, nil)
	s.watts("d3", 300)
	id := s.join("anna", queue.Dry)
	why := func() (Hopeless, bool) {
		snap := s.room.Snapshot(s.now)
		return snap.Hopeless(snap.Turn(id))
	}
	if got, ok := why(); ok {
		t.Errorf("a dryer runs, and the turn is %+v", got)
	}
	s.do(TakeOut{Machine: "d3", Text: "Repair"})
	if got, ok := why(); !ok || !got.NoMachine {
		t.Errorf("the dryer is out, and the turn is %+v, %v", got, ok)
	}
	s.do(PutBack{Machine: "d3"})
	if got, ok := why(); ok {
		t.Errorf("the dryer is back, and the turn is %+v", got)
	}
}
