package coordinator

import (
	"hash/fnv"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// supplyNow is what a forecast is told of a machine, with its expected end apart.
func (s *scene) supplyNow(id MachineID) (queue.Supply, queue.Span) {
	snap := s.room.Snapshot(s.now)
	f := s.room.Foresee(snap)
	for i := range snap.Machines {
		if snap.Machines[i].ID == id {
			supply := f.supplies[i]
			ends := supply.Ends.Span()
			supply.Machine, supply.Ends = queue.Machine{}, queue.Spread{}
			return supply, ends
		}
	}
	s.Fatalf("no machine %s", id)
	return queue.Supply{}, queue.Span{}
}

// TestForecastOfMachines: what a forecast is told of a machine: whether it can be
// used, what is inside and whose that is, for how long it has been waiting, and when
// others are called all the same (45 minutes after the end in this room).
func TestForecastOfMachines(t *testing.T) {
	for _, c := range []struct {
		name string
		when func(*scene)
		want queue.Supply
	}{
		{"free", nil, queue.Supply{Usable: true}},
		{"held", called("anna"), queue.Supply{Usable: true}},
		{"out of service", event(TakeOut{Machine: "w1"}), queue.Supply{}},
		{"its meter is silent", silence(11 * time.Minute), queue.Supply{}},
		{"a walk-up's runs", power("w1", 300), queue.Supply{Usable: true, Running: true, Load: 1}},
		{"anna's runs", both(called("anna"), power("w1", 300)), queue.Supply{Usable: true, Running: true, Load: 1, Home: "home-anna"}},
		{
			"anna's is done", both(washes, pass(5*time.Minute)),
			queue.Supply{Usable: true, Load: 1, Home: "home-anna", Waited: 5 * time.Minute, CallIn: 40 * time.Minute},
		},
		{
			"others may be called: it counts for nobody any more", both(washes, pass(50*time.Minute)),
			queue.Supply{Usable: true, Load: 1, Waited: 50 * time.Minute, CallIn: -5 * time.Minute},
		},
		{"it is thought to be gone", both(washes, pass(3*time.Hour+time.Second)), queue.Supply{Usable: true}},
		{"it was collected", both(washes, event(Collect{Machine: "w1"})), queue.Supply{Usable: true}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			if c.when != nil {
				c.when(s)
			}
			got, _ := s.supplyNow("w1")
			got.Waited, got.CallIn = got.Waited.Round(time.Second), got.CallIn.Round(time.Second)
			if !reflect.DeepEqual(got, c.want) {
				t.Errorf("the forecast is told %+v, want %+v", got, c.want)
			}
		})
	}
}

// dumbEngine says nothing of how long its cycles still take.
type dumbEngine struct{ *plainEngine }

func (dumbEngine) Remaining(time.Time) (cycle.Estimate, bool) { return cycle.Estimate{}, false }

// dumb gives w1 such an engine.
func dumb(s *scene) { s.room.engines[0] = dumbEngine{s.room.engines[0].(*plainEngine)} }

// TestForecastOfEnds: others wait for an end until it is declared, a little after it
// was: the engine's estimate, or what is usual for the kind of machine, and the lag
// (before any is learned: 2 minutes, between 1.2 and 3.2).
func TestForecastOfEnds(t *testing.T) {
	span := func(low, median, high float64) queue.Span {
		in := func(minutes float64) time.Duration { return time.Duration(minutes * float64(time.Minute)) }
		return queue.Span{Low: in(low), Median: in(median), High: in(high)}
	}
	for _, c := range []struct {
		name string
		when func(*scene)
		want queue.Span
	}{
		{"as the engine says", both(power("w1", 300), pass(20*time.Minute)), span(20+1.2, 40+2, 80+3.2)},
		{"as is usual", both(dumb, power("w1", 300), pass(25*time.Minute)), span(30+1.2, 50+2, 80+3.2)},
		{"longer than is usual", both(dumb, power("w1", 300), pass(80*time.Minute)), span(1.2, 2, 3.2)},
		{"by hand, at its time", both(event(ByHand{Machine: "w1", On: true}), event(StartByHand{Machine: "w1"}), pass(15*time.Minute)), span(60, 60, 60)},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			c.when(s)
			_, got := s.supplyNow("w1")
			for _, d := range []*time.Duration{&got.Low, &got.Median, &got.High} {
				*d = d.Round(time.Second)
			}
			if got != c.want {
				t.Errorf("the end is expected in %v, want %v", got, c.want)
			}
		})
	}
}

// TestOutlookOfARoom: what a forecast is told of lengths and people, worked out by
// hand from what the room remembers.
func TestOutlookOfARoom(t *testing.T) {
	s := newScene(t, func(p *Plan) {
		p.Seed.OnMyWayAdds, p.Seed.LongerHold, p.Seed.LongerHoldHomes = 5*time.Minute, 25*time.Minute, []HomeID{"home-slow"}
	})
	l := &s.room.state.Learned
	l.Washes, l.WashLags = minutes(50, 50, 50), minutes(4, 4, 4)
	for range 6 {
		l.answered(3*time.Minute, false)
	}
	l.answered(3*time.Minute, true)
	l.missed(true)
	l.missed(false)
	l.missed(false)
	o := s.room.outlook()
	near := func(what string, got, want float64) {
		t.Helper()
		if got < want-1e-9 || got > want+1e-9 {
			t.Errorf("%s is %g, want %g", what, got, want)
		}
	}
	// Of each share, what was assumed before counts as ten.
	near("the share of calls that are missed", o.Missed, (3+10*0.1)/(10+10))
	near("of those who said they were coming", o.WayMissed, (1+10*0.05)/(2+10))
	near("of those who missed, who had said it", o.MissedSaid, (1+10*0.05)/(3+10))
	if o.WayAdds != 5*time.Minute || o.Hold("home-slow") != 25*time.Minute || o.Hold("home-anna") != 10*time.Minute {
		t.Errorf("holds: %s, %s and %s", o.WayAdds, o.Hold("home-slow"), o.Hold("home-anna"))
	}
	if o.CallAfter != 45*time.Minute || o.RecallAfter != 10*time.Minute {
		t.Errorf("others are called after %s, who missed after %s", o.CallAfter, o.RecallAfter)
	}
	if want := 3*time.Minute + 4*time.Minute; o.Ahead != want {
		t.Errorf("the dryer is called %s before the end is declared, want %s", o.Ahead, want)
	}
	walks := queue.Sampled(minutes(3, 3, 3, 3, 3, 3, 3), queue.Span{Low: time.Minute, Median: 4 * time.Minute, High: 8 * time.Minute})
	if o.WalkDown.Span() != walks.Span() {
		t.Errorf("the walk down takes %v", o.WalkDown.Span())
	}
	for need, want := range map[queue.Need]time.Duration{queue.Wash: 54, queue.Dry: 70 + 2, queue.WashAndDry: 180 + 2} {
		got := o.Cycle(need)
		if m := got.Span().Median.Round(time.Minute); m != want*time.Minute {
			t.Errorf("a %s takes %s until its end is declared, want %s", need, m, want*time.Minute)
		}
	}
	if m := o.Collect.Span().Median; m != 10*time.Minute {
		t.Errorf("loads are usually collected after %s", m)
	}
}

// TestNoCallAhead: where no dryer is called ahead, the lag of the end is no call ahead either.
func TestNoCallAhead(t *testing.T) {
	s := newScene(t, func(p *Plan) { p.Seed.DryCallAhead = 0 })
	if ahead := s.room.outlook().Ahead; ahead != 0 {
		t.Errorf("the forecast calls dryers %s ahead", ahead)
	}
}

// TestForecastDoesNotJitter: a room's forecast draws the same every time, and two
// rooms do not draw alike: the seed is FNV-1a of the room's name, as hash/fnv has it.
func TestForecastDoesNotJitter(t *testing.T) {
	for _, id := range []RoomID{"", "a", "cellar", "cellar-2"} {
		h := fnv.New64a()
		h.Write([]byte(id))
		if got := seedOf(id); got != h.Sum64() {
			t.Errorf("the seed of %q is %#x, want %#x", id, got, h.Sum64())
		}
	}
	if s := newScene(t, nil); s.room.outlook().Seed != seedOf("cellar") {
		t.Error("the outlook has another seed")
	}
}

// TestForesightIsApart: what is worked out elsewhere does not see what happens in the
// room meanwhile.
func TestForesightIsApart(t *testing.T) {
	s := newScene(t, oneWasher)
	s.room.state.Learned.Washes = minutes(40, 40, 40)
	s.watts("w1", 300)
	s.join("anna", queue.Wash)
	f := s.room.Foresee(s.room.Snapshot(s.now))
	before := f.Prospects()
	for k := range s.room.state.Learned.Washes {
		s.room.state.Learned.Washes[k] = 9 * time.Hour
	}
	s.room.state.Rules.Hold = time.Hour
	if got := f.house.Length(queue.Wash); got != 40*time.Minute {
		t.Errorf("a wash takes %s for it, want the 40 minutes of then", got)
	}
	if f.house.Soon != nil || f.house.Whose != nil {
		t.Error("it asks the room what is inside")
	}
	if after := f.Prospects(); !reflect.DeepEqual(before, after) {
		t.Errorf("the forecast changed from %+v to %+v", before, after)
	}
}

// TestProspects: a forecast for each turn that waits, none for one that is called,
// and one for a newcomer with each need.
func TestProspects(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash) // called
	ben := s.join("ben", queue.Wash)
	snap := s.foreseen()
	if len(snap.Forecasts) != 1 || snap.Forecasts[0].Turn != ben || !snap.ForecastAt.Equal(s.now) {
		t.Fatalf("the forecasts are %+v, of %s", snap.Forecasts, snap.ForecastAt)
	}
	f := snap.Forecast(ben)
	if f == nil || !f.Known || !s.now.Before(f.Low) || f.Low.After(f.Median) || !f.Median.Before(f.High) {
		t.Errorf("ben's forecast is %+v", f)
	}
	if you := snap.IfYouJoin[queue.Wash]; len(snap.IfYouJoin) != 3 || you.Turn != 0 || !you.Known || !you.Median.After(f.Median) {
		t.Errorf("a newcomer's is %+v, want one after ben's", snap.IfYouJoin)
	}
	if snap.IfYouJoin[queue.Dry].Known {
		t.Error("there is a forecast for a dryer that is not there")
	}
	s.do(Leave{Turn: 1, Person: "anna"}) // ben is called
	cleo := s.join("cleo", queue.Wash)
	later := s.room.Snapshot(s.now).With(&Prospects{At: snap.ForecastAt, Turns: snap.Forecasts, IfYouJoin: snap.IfYouJoin})
	if later.Forecast(ben) != nil || later.Forecast(cleo) != nil || len(later.IfYouJoin) != 3 || !later.ForecastAt.Equal(snap.ForecastAt) {
		t.Errorf("who is called, or joined since, has a forecast: %+v", later.Forecasts)
	}
	if none := later.With(nil); none.Forecasts != nil || none.IfYouJoin != nil || !none.ForecastAt.IsZero() {
		t.Errorf("without a forecast there is %+v", none)
	}
}
