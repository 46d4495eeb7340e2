package coordinator

import (
	"testing"
	"time"
)

// TestMeterHeardAgain: a machine that is run by hand because its meter was silent is
// offered back once it is heard, also after a restart; one that was taken from a
// meter that spoke is not.
func TestMeterHeardAgain(t *testing.T) {
	silence := func(s *scene) { s.now = s.now.Add(11 * time.Minute); s.do(Tick{}) }
	byHand := func(on bool) func(*scene) { return func(s *scene) { s.do(ByHand{Machine: "w1", On: on}) } }
	heard := func(s *scene) { s.wait(time.Minute); s.watts("w1", 1) }
	for _, c := range []struct {
		name string
		do   []func(*scene)
		want bool
	}{
		{"never silent", []func(*scene){heard, byHand(true), heard}, false},
		{"silent still", []func(*scene){heard, silence, byHand(true), silence}, false},
		{"heard again", []func(*scene){heard, silence, byHand(true), heard}, true},
		{"heard, and silent anew", []func(*scene){heard, silence, byHand(true), heard, silence}, false},
		{"silent twice", []func(*scene){heard, silence, byHand(true), heard, silence, heard}, true},
		{"watched again", []func(*scene){heard, silence, byHand(true), heard, byHand(false)}, false},
		{"by hand anew, for another reason", []func(*scene){heard, silence, byHand(true), heard, byHand(false), byHand(true), heard}, false},
		{"silent only after it was run by hand", []func(*scene){heard, byHand(true), silence, heard}, false},
	} {
		s := newScene(t, oneWasher)
		for _, do := range c.do {
			do(s)
		}
		for _, when := range []string{"at once", "after a restart"} {
			if got := s.room.Snapshot(s.now).Machine("w1").MeterBack; got != c.want {
				t.Errorf("%s, %s: offered back %v, want %v", c.name, when, got, c.want)
			}
			s.reopen(time.Second)
		}
	}
}

// TestAMeterIsAdded: a machine that had none is offered to the one that it was given,
// once that is heard.
func TestAMeterIsAdded(t *testing.T) {
	s := newScene(t, func(p *Plan) { oneWasher(p); p.Machines[0].Meter = "" })
	if s.room.Snapshot(s.now).Machine("w1").MeterBack {
		t.Error("offered to no meter")
	}
	s.room.plan.Machines[0].Meter = "m"
	s.reopen(time.Second)
	s.watts("w1", 1)
	if v := s.room.Snapshot(s.now).Machine("w1"); !v.ByHand || !v.MeterBack {
		t.Errorf("run by hand %v, offered back %v", v.ByHand, v.MeterBack)
	}
}
