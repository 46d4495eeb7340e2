package coordinator

import (
	"math"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// says gives w1 an engine that says what a test wants it to, at the next reading.
func says(s *scene, events ...cycle.Event) {
	e, ok := s.room.engines[0].(*saysEngine)
	if !ok {
		e = &saysEngine{plainEngine: *s.room.engines[0].(*plainEngine)}
		s.room.engines[0] = e
	}
	e.say = events
}

// thinks is a thing that happens because w1's engine comes to think something, at a reading.
func thinks(ev cycle.Event) func(*scene) {
	return func(s *scene) {
		says(s, ev)
		s.watts("w1", 300)
	}
}

// bothDo is a room with washer-dryer 1, washer 2 and dryer 3.
func bothDo(p *Plan) { p.Machines[0].Kind = queue.WasherDryer }

// dryAfter lets anna join for a wash with a dryer behind it.
var dryAfter = event(Join{Person: "anna", Home: "home-anna", Need: queue.Wash, DryAfter: true})

// TestWhatSecondThoughtsLeave: an engine takes back what it said.
func TestWhatSecondThoughtsLeave(t *testing.T) {
	noCycle, goesOn := thinks(cycle.Event{Kind: cycle.Withdrawn}), thinks(cycle.Event{Kind: cycle.Resumed})
	checkLeaves(t, []leaves{
		{
			name: "a start was none", when: both(dryAfter, power("w1", 300), pass(2*time.Minute)), do: noCycle,
			want: []string{
				"take back turn/2", "take back load/1", "take back turn/1",
				"tell anna turn-called of turn/1, washer 1, until 12:12, for 10m",
				"log left by anna of home-anna, turn 2: wash taken back",
				"log not-mine w1 by anna of home-anna, turn 1, load 1: no cycle",
				"log test-run w1 by anna of home-anna, turn 1, load 1",
				"log called w1 by anna of home-anna, turn 1, waited 2m",
			},
		},
		{name: "a start was none that nobody knows of", do: noCycle, want: []string{}},
		{
			name: "an end was none", when: both(washes, pass(5*time.Minute)), do: goesOn,
			want: []string{"take back load/1"},
		},
		{
			name: "an end was none, and somebody is called with the load inside", plan: oneWasher,
			when: both(called("anna", "ben"), func(s *scene) { s.cycle("w1", time.Hour) }, pass(46*time.Minute)), do: goesOn,
			want: []string{
				"take back load/1", "take back turn/2",
				"tell ben turn-returned of turn/2, washer 1, for 1h",
				"log taken-back w1 by ben of home-ben, turn 2: cycle goes on",
			},
		},
		{
			name: "an end was none, of a load that was collected", when: both(washes, event(Collect{Machine: "w1"}), pass(time.Minute)),
			do:   thinks(cycle.Event{Kind: cycle.Resumed, Start: noon.Add(61 * time.Minute)}),
			want: []string{"log walk-up w1, load 2, cycle 2, from 13:01"},
		},
		{
			name: "an end that nobody saw", when: both(called("anna"), power("w1", 300), pass(time.Hour)),
			do: thinks(cycle.Event{Kind: cycle.Presumed, Start: noon, End: noon.Add(50 * time.Minute), EnergyWh: math.NaN(), PeakW: math.Inf(1)}),
			want: []string{
				"take back load/1",
				"tell anna load-ready of load/1, washer 1, ready 12:50, 10m more if asked, presumed, for 2h",
				"log cycle w1, load 1, cycle 1, from 12:00 to 12:50: presumed", // no figures that are none
			},
		},
		{name: "an end of what does not run", do: thinks(cycle.Event{Kind: cycle.Finished, End: noon}), want: []string{}},
	})
}

// TestWhatDryingInOneLeaves: a washer-dryer goes on to dry what it washed; the dryer
// that was booked is needed no more.
func TestWhatDryingInOneLeaves(t *testing.T) {
	busy := power("w2", 300) // so that washes go to the washer-dryer
	wash := func(s *scene) { s.cycle("w1", time.Hour) }
	soon := pass(2 * time.Minute)
	checkLeaves(t, []leaves{
		{
			name: "the dryer is kept already", plan: bothDo, when: both(busy, dryAfter, wash, soon), do: power("w1", 300),
			want: []string{
				"take back load/2", "take back turn/2",
				"log left by anna of home-anna, turn 2: dries where it washed",
			},
		},
		{
			name: "the dryer is waited for", plan: bothDo, when: both(busy, power("d3", 300), dryAfter, wash, soon), do: power("w1", 300),
			want: []string{
				"take back load/3", "take back turn/2",
				"log left by anna of home-anna, turn 2: dries where it washed",
			},
		},
		{
			name: "another dryer that they wait for stays", plan: bothDo,
			when: both(busy, power("d3", 300), dryAfter, func(s *scene) { s.join("anna", queue.Dry) }, wash), do: power("w1", 300),
			want: []string{
				"take back load/3", "take back turn/3",
				"log left by anna of home-anna, turn 3: dries where it washed",
			},
		},
		{
			name: "no dryer was booked", plan: bothDo,
			when: both(busy, power("d3", 300), called("anna"), func(s *scene) { s.join("anna", queue.Dry) }, wash), do: power("w1", 300),
			want: []string{"take back load/3"},
		},
		{
			name: "it dries in the dryer already", plan: bothDo, when: both(busy, dryAfter, wash, soon, power("d3", 300)), do: power("w1", 300),
			want: []string{
				"take back load/2",
				"log collected w1, turn 1, load 2, cycle 1, from 12:00 to 13:00, waited 2m: next start",
				"log walk-up w1, load 4, cycle 2, from 13:02",
			},
		},
		{
			name: "it is nobody's", plan: bothDo, when: both(wash, soon), do: power("w1", 300),
			want: []string{
				"take back load/1",
				"log collected w1, load 1, cycle 1, from 12:00 to 13:00, waited 2m: next start",
				"log walk-up w1, load 2, cycle 2, from 13:02",
			},
		},
	})
}

// TestRunsAgain: a load that runs again is as if it had never been ready, but for
// the count of how often it was.
func TestRunsAgain(t *testing.T) {
	s := newScene(t, nil)
	washes(s)
	before := *s.room.load(1)
	s.wait(12 * time.Minute)
	s.do(MoreTime{Machine: "w1", Person: "anna"})
	s.reopen(0)
	s.wait(26 * time.Hour)
	if l := s.room.load(1); l.Taken == 0 || l.Steps == 0 || l.Pause == 0 || !l.AssumedEmpty || !l.Forgotten || !l.MoreTold {
		t.Fatalf("the load has not been through it all: %+v", l)
	}
	thinks(cycle.Event{Kind: cycle.Resumed})(s)
	before.ReadyAt, before.ToldAt, before.Reason = time.Time{}, time.Time{}, ""
	if got := *s.room.load(1); !reflect.DeepEqual(got, before) {
		t.Errorf("it is\n%+v, want\n%+v", got, before)
	}
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Status != Running || !v.Since.Equal(before.StartedAt) {
		t.Errorf("the machine is %s since %s", v.Status, v.Since)
	}
	s.watts("w1", 1)
	if l := s.room.load(1); l.Round != 2 || !l.Ready() || l.Taken != 0 {
		t.Errorf("when it is ready again it is %+v", l)
	}
	s.wait(10 * time.Minute)
	s.wantTold(LoadNudge, "anna", "anna", "anna") // with that of the time asked for: the ladder begins anew: once in each round
}

// TestSameLoadAgain: after an early stop a start within ten minutes is the same
// load, one later the next.
func TestSameLoadAgain(t *testing.T) {
	for _, c := range []struct {
		name string
		plan func(*Plan)
		when func(*scene)
		same bool
	}{
		{"within ten minutes", nil, func(s *scene) { s.now = s.room.load(1).ReadyAt.Add(10 * time.Minute) }, true},
		{"a moment later", nil, func(s *scene) { s.now = s.room.load(1).ReadyAt.Add(10*time.Minute + 1) }, false},
		{"somebody was called to it", func(p *Plan) { p.Seed.CallUncollectedAfter = 5 * time.Minute; oneWasher(p) }, both(called("ben"), pass(6*time.Minute)), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, c.plan)
			called("anna")(s)
			s.cycle("w1", 6*time.Minute)
			c.when(s)
			s.watts("w1", 300)
			if l := s.room.Snapshot(s.now).Machine("w1").Load; (l.ID == 1) != c.same {
				t.Errorf("the load is %+v, want the same: %v", l, c.same)
			}
		})
	}
}

// TestStartsAreStored: what an engine came to know is stored with the step that came
// of it, and only then.
func TestStartsAreStored(t *testing.T) {
	s := newScene(t, nil)
	s.now = s.now.Add(time.Minute)
	if set := s.room.Measure(s.now, "w1", cycle.Power(s.now, 1)); set.Moves() {
		t.Fatalf("a reading that changes nothing is to be stored: %+v", set)
	}
	s.now = s.now.Add(time.Minute)
	set := s.room.Measure(s.now, "w1", cycle.Power(s.now, 300))
	if len(set.Checkpoints) != 1 || set.Checkpoints[0].Machine != "w1" || !set.Checkpoints[0].At.Equal(s.now) {
		t.Fatalf("the start is stored with %+v, want w1's engine as of now", set.Checkpoints)
	}
	if set := s.room.Measure(s.now, "w9", cycle.Power(s.now, 300)); set.Moves() || set.Unit != "" {
		t.Errorf("a machine that is not there changed %+v", set)
	}
	set = s.room.Checkpoint(s.now)
	if len(set.Checkpoints) != 3 || set.Checkpoints[2].Machine != "d3" || !set.At.Equal(s.now) || !set.Moves() {
		t.Errorf("a stop stores %+v, want every engine", set)
	}
}

// unstorable is an engine whose memory cannot be stored.
type unstorable struct{ *plainEngine }

func (unstorable) Checkpoint() (cycle.Checkpoint, error) { return cycle.Checkpoint{}, cycle.ErrVersion }

// TestEngineThatCannotBeStored loses its memory at a restart, and nothing else.
func TestEngineThatCannotBeStored(t *testing.T) {
	s := newScene(t, nil)
	s.room.engines[0] = unstorable{s.room.engines[0].(*plainEngine)}
	s.now = s.now.Add(time.Minute)
	set := s.room.Measure(s.now, "w1", cycle.Power(s.now, 300))
	if len(set.Checkpoints) != 0 || len(set.Facts) != 1 || s.status("w1") != Running {
		t.Errorf("the start leaves %+v", set)
	}
}
