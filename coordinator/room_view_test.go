package coordinator

import (
	"encoding/json"
	"math"
	"reflect"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// fullEngine says all that an engine can say of a running cycle.
type fullEngine struct{ *plainEngine }

func (e fullEngine) Status() cycle.Status {
	s := e.plainEngine.Status()
	s.Phase, s.EnergyWh, s.Stalled = 2, 321, true
	return s
}

func (fullEngine) Remaining(time.Time) (cycle.Estimate, bool) {
	return cycle.Estimate{Median: 30 * time.Minute, Low: 20 * time.Minute, High: 50 * time.Minute, About: true, Overdue: true}, true
}

// TestViewOfARunningMachine has all that its engine says.
func TestViewOfARunningMachine(t *testing.T) {
	s := newScene(t, nil)
	s.room.engines[0] = fullEngine{s.room.engines[0].(*plainEngine)}
	s.watts("w1", 300)
	heard := s.now
	s.now = s.now.Add(time.Minute)
	v := *s.room.Snapshot(s.now).Machine("w1")
	v.Machine, v.Load = Machine{}, nil
	in := func(minutes int) time.Time { return s.now.Add(time.Duration(minutes) * time.Minute) }
	want := MachineView{
		Status: Running, Since: heard, Until: in(30), Low: in(20), High: in(50), About: true, AnyMinute: true, Stalled: true,
		Phase: 2, Watts: 300, Heard: heard, EnergyWh: 321, Cycle: 1,
	}
	if !reflect.DeepEqual(v, want) {
		t.Errorf("it is shown as\n%+v, want\n%+v", v, want)
	}
	s.do(ByHand{Machine: "w1", On: true})
	v = *s.room.Snapshot(s.now).Machine("w1")
	if end := heard.Add(75 * time.Minute); !v.Until.Equal(end) || !v.Low.Equal(end) || !v.High.Equal(end) || !v.About || v.AnyMinute || !v.ByHand {
		t.Errorf("by hand it is shown as %+v, want it to end about %s", v, end)
	}
}

// TestSnapshotOfARoom: which room it is, as of when, and its machines by number. A
// clock that was put back does not turn the room back.
func TestSnapshotOfARoom(t *testing.T) {
	zone := time.FixedZone("somewhere", 3600)
	s := newScene(t, func(p *Plan) {
		p.Machines[0].Number, p.Machines[2].Number = 3, 1
		p.Zone = zone
		p.Seed.LongerHoldHomes = []HomeID{"home-slow"}
	})
	s.now = s.now.Add(time.Hour)
	s.join("anna", queue.Wash)
	snap := s.room.Snapshot(s.now.Add(time.Minute))
	if snap.Room != "cellar" || snap.Name != "Cellar" || snap.Zone != zone || snap.Seq != s.room.Seq() || !snap.At.Equal(s.now.Add(time.Minute)) {
		t.Errorf("it is of room %q, %q in %s, sequence %d, at %s", snap.Room, snap.Name, snap.Zone, snap.Seq, snap.At)
	}
	for i, id := range []MachineID{"d3", "w2", "w1"} {
		if snap.Machines[i].ID != id {
			t.Errorf("machine %d is %s, want %s", i, snap.Machines[i].ID, id)
		}
	}
	if back := s.room.Snapshot(s.now.Add(-time.Minute)); !back.At.Equal(s.now) {
		t.Errorf("after the clock was put back it is of %s, want %s", back.At, s.now)
	}
	snap.Rules.LongerHoldHomes[0] = "home-eve"
	if s.room.state.Rules.LongerHoldHomes[0] != "home-slow" {
		t.Error("the house rules were changed from outside")
	}
	if plan := s.room.Plan(); plan.ID != "cellar" || len(plan.Machines) != 3 {
		t.Errorf("its plan is %+v", plan)
	}
	if (&Room{}).zone() != time.UTC {
		t.Error("a room that names no zone is not in UTC")
	}
}

// TestClockPutBack: a step at an earlier time counts as one at the latest seen.
func TestClockPutBack(t *testing.T) {
	s := newScene(t, nil)
	s.now = s.now.Add(time.Hour)
	s.do(Tick{})
	set, reply, err := s.room.Step(noon, Join{Person: "anna", Home: "home-anna", Need: queue.Dry})
	if err != nil || !set.At.Equal(s.now) || reply.Turn != 1 {
		t.Fatalf("the step is of %s, want %s: %v, %v", set.At, s.now, reply, err)
	}
	if turn := s.room.state.Turns[0]; !turn.Joined.Equal(s.now) {
		t.Errorf("anna joined at %s", turn.Joined)
	}
	set, _, err = s.room.Step(s.now.Add(time.Second), Measured{Machine: "w1", Reading: cycle.Power(s.now.Add(time.Second), 300)})
	if err != nil || len(set.Facts) == 0 || s.room.Snapshot(s.now).Machine("w1").Status != Running {
		t.Errorf("a reading that comes as an event leaves %+v (%v)", set.Facts, err)
	}
}

// TestStatusAroundACall: what a machine shows that somebody was called to.
func TestStatusAroundACall(t *testing.T) {
	called := noon.Add(-time.Minute)
	for _, c := range []struct {
		name   string
		inside bool
		load   *Load
		want   Status
	}{
		{"it was empty", false, nil, Held},
		{"a load was inside and is gone", true, nil, Held},
		{"a load is inside", true, &Load{ID: 1, Machine: "w1", ReadyAt: noon.Add(-5 * time.Minute), ToldAt: noon.Add(-5 * time.Minute)}, Finished},
		{"a load is inside for long", true, &Load{ID: 1, Machine: "w1", ReadyAt: noon.Add(-time.Hour), ToldAt: noon.Add(-time.Hour)}, Overdue},
		{"a load is thought to be gone", true, &Load{ID: 1, Machine: "w1", ReadyAt: noon.Add(-5 * time.Hour), ToldAt: noon.Add(-5 * time.Hour), AssumedEmpty: true}, Held},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, nil)
			m := &s.room.state.Machines[0]
			m.Hold = &Hold{Turn: 1, Since: called, Until: noon.Add(9 * time.Minute), LoadInside: c.inside}
			if c.load != nil {
				m.Load = 1
				s.room.state.Loads = []Load{*c.load}
			}
			if v := s.room.Snapshot(noon).Machine("w1"); v.Status != c.want || c.want == Held && !v.Since.Equal(called) {
				t.Errorf("it is %s since %s, want %s", v.Status, v.Since, c.want)
			}
		})
	}
}

// TestGraceInTheDark: a load that was within its grace when the power went is not
// overdue before power is back; one that was past it stays so.
func TestGraceInTheDark(t *testing.T) {
	for _, c := range []struct {
		told time.Duration // before the power went
		want Status
	}{{10*time.Minute - 1, Finished}, {10 * time.Minute, Overdue}, {time.Hour, Overdue}} {
		s := newScene(t, nil)
		s.room.state.Machines[0].Load = 1
		told := noon.Add(-c.told)
		s.room.state.Loads = []Load{{ID: 1, Machine: "w1", ReadyAt: told, ToldAt: told}}
		s.room.state.Supply.Since = noon
		if got := s.room.Snapshot(noon.Add(20 * time.Minute)).Machine("w1").Status; got != c.want {
			t.Errorf("told %s before the power went, it is %s, want %s", c.told, got, c.want)
		}
	}
}

// TestChangeOfLevels: what managers are told and what the log says.
func TestChangeOfLevels(t *testing.T) {
	wise := &wiseEngine{}
	changed := func(s *scene) {
		wise = &wiseEngine{know: cycle.Knowledge{Changed: noon.Add(-time.Hour)}}
		wise.plainEngine = *s.room.engines[0].(*plainEngine)
		s.room.engines[0] = wise
	}
	checkLeaves(t, []leaves{
		{
			name: "it draws another power", when: both(changed, pass(time.Minute)), do: power("w1", 300),
			want: []string{
				"tell managers levels-changed of machine/w1, washer 1, for 7d",
				"log walk-up w1, load 1, cycle 1, from 12:01",
				"log levels w1, from 11:00: changed",
			},
		},
		{
			name: "a manager lets it be learned anew", when: changed, do: event(ForgetLearned{Machine: "w1", Person: "manager"}),
			want: []string{"log levels w1 by manager: forgotten"},
		},
	})
	s := newScene(t, nil)
	changed(s)
	s.watts("w1", 300)
	s.wait(time.Hour)
	s.watts("w1", 1)
	set, _, _ := s.room.Step(s.now, ForgetLearned{Machine: "w1"})
	if len(set.Checkpoints) != 1 || set.Checkpoints[0].Machine != "w1" || !s.room.state.Machines[0].ChangedTold.IsZero() {
		t.Errorf("what is stored of it is %+v, last told of %s", set.Checkpoints, s.room.state.Machines[0].ChangedTold)
	}
	if first, again := s.room.Snapshot(s.now).Machine("w1").Learned, s.room.Snapshot(s.now).Machine("w1").Learned; first != again {
		t.Error("each snapshot works out anew what nothing has changed")
	}
}

// TestLagsAreLearned: how long after its end a cycle is declared over, of the cycles
// whose lengths are learned; the newest belong together.
func TestLagsAreLearned(t *testing.T) {
	s := newScene(t, oneWasher)
	for _, lag := range []time.Duration{3 * time.Minute, -time.Minute} { // a clock may be wrong
		s.room.state.Now = noon.Add(time.Hour + lag)
		s.room.learnLength(0, cycle.Event{Kind: cycle.Finished, Start: noon, End: noon.Add(time.Hour)})
	}
	l := &s.room.state.Learned
	if want := []time.Duration{3 * time.Minute, 0}; !reflect.DeepEqual(l.WashLags, want) || len(l.Washes) != 2 {
		t.Fatalf("the lags are %v, want %v", l.WashLags, want)
	}
	// Twenty lengths and more count alone: no prior is in them.
	l = &learned{}
	for range 15 {
		l.Washes = append(l.Washes, 40*time.Minute) // learned before lags were
	}
	for range 25 {
		l.Washes, l.WashLags = append(l.Washes, 50*time.Minute), append(l.WashLags, 5*time.Minute)
	}
	told := l.toTold(queue.Wash)
	if got, want := told.Span(), (queue.Span{Low: 45 * time.Minute, Median: 55 * time.Minute, High: 55 * time.Minute}); got != want {
		t.Errorf("others wait %v for such a wash, want %v: those of old with what is usual", got, want)
	}
	l.WashLags = l.WashLags[:1]
	l.WashLags[0] = 9 * time.Minute
	told = l.toTold(queue.Wash)
	// With one lag only, the usual one is the prior's, of two minutes.
	if got := told.Span(); got.Low != 42*time.Minute || got.Median != 52*time.Minute {
		t.Errorf("with few lags others wait %v", got)
	}
}

// TestAnswersAreLearned: who came, who did not, and who came after all.
func TestAnswersAreLearned(t *testing.T) {
	var l learned
	l.answered(-time.Second, false) // before the call: the hold counted from a later end
	l.answered(0, true)
	l.missed(false)
	l.answered(2*time.Minute, false)
	l.missed(true)
	if want := []time.Duration{0, 0, noAnswer, 2 * time.Minute, noAnswer}; !reflect.DeepEqual(l.Answers, want) {
		t.Fatalf("the answers are %v, want %v", l.Answers, want)
	}
	if want := []time.Duration{0, noAnswer}; !reflect.DeepEqual(l.Said, want) {
		t.Errorf("of those who had said so %v, want %v", l.Said, want)
	}
	if got := came(l.Answers); !reflect.DeepEqual(got, []time.Duration{0, 0, 2 * time.Minute}) {
		t.Errorf("those who came took %v", got)
	}
	l.cameAfterAll(true)
	l.cameAfterAll(false)
	if want := []time.Duration{0, 0, 2 * time.Minute}; !reflect.DeepEqual(l.Answers, want) || len(l.Said) != 1 {
		t.Errorf("two came after all: %v and %v", l.Answers, l.Said)
	}
	l.cameAfterAll(true) // nobody is missing any more
	if len(l.Answers) != 3 || len(l.Said) != 1 {
		t.Errorf("one more: %v and %v", l.Answers, l.Said)
	}
}

// TestVersionsOfOld: a room founded before versions were kept has its first one as
// soon as there is a second; each is stored, in order, and says who.
func TestVersionsOfOld(t *testing.T) {
	for name, ev := range map[string]Event{
		"longer": HoldLonger{Person: "manager", Home: "home-slow", On: true},
		"open":   OpenHomes{Person: "manager", On: false},
	} {
		s := newScene(t, nil)
		s.room.versions = nil
		set, _, _ := s.room.Step(s.now, ev)
		v := s.room.versions
		if len(v) != 2 || v[0].Version != 1 || !v[0].At.IsZero() || v[0].Person != "" || v[1].Version != 2 || v[1].Person != "manager" || !v[1].At.Equal(s.now) {
			t.Fatalf("%s: the versions are %+v", name, v)
		}
		if len(set.Facts) != 1 || set.Facts[0].Person != "manager" || s.room.state.RulesVersion != 2 {
			t.Errorf("%s: the log says %+v", name, set.Facts)
		}
		rows := append([]Row{set.Rows[1]}, set.Rows[0])
		rows = append(rows, set.Rows[2:]...) // a store gives them in any order
		room, err := Restore(testPlan(), Stored{Rows: rows}, newPlain)
		if err != nil || !reflect.DeepEqual(asStored(t, room.versions), asStored(t, v)) {
			t.Errorf("%s: read back they are %+v (%v)", name, room.versions, err)
		}
		rows[0].Value = []byte("{")
		if _, err := Restore(testPlan(), Stored{Rows: rows}, newPlain); err == nil {
			t.Errorf("%s: a version that does not read is taken", name)
		}
	}
}

// asStored is a value as JSON.
func asStored(t *testing.T, v any) string {
	t.Helper()
	data, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

// TestFounded: the first event puts the seed rules in force, once.
func TestFounded(t *testing.T) {
	s := newScene(t, nil)
	s.left = []string{}
	s.do(Founded{})
	s.do(Founded{})
	if len(s.left) != 1 || s.left[0] != "log rules: seed" || len(s.room.versions) != 1 || s.room.versions[0].Version != 1 {
		t.Errorf("it leaves %q and %+v", s.left, s.room.versions)
	}
}

// TestFiguresThatAreNone are shown, and stored, as nothing.
func TestFiguresThatAreNone(t *testing.T) {
	for v, want := range map[float64]float64{1.5: 1.5, -2: -2, 0: 0, math.Inf(1): 0, math.Inf(-1): 0} {
		if got := finite(v); got != want {
			t.Errorf("%g is %g, want %g", v, got, want)
		}
	}
	if got := finite(math.NaN()); got != 0 {
		t.Errorf("not a number is %g", got)
	}
}
