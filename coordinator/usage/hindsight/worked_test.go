package hindsight

import (
	"math"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// script is an engine that says what it was told to, by the time; and notes what it got.
type script struct {
	status func(now time.Time) cycle.Status
	due    []time.Time
	now    time.Time
	read   []time.Time
	ticked []time.Time
}

func (s *script) Read(now time.Time, _ cycle.Reading) []cycle.Event {
	s.now, s.read = now, append(s.read, now)
	return nil
}

func (s *script) Tick(now time.Time) []cycle.Event {
	s.ticked = append(s.ticked, now)
	s.due = s.due[1:]
	return nil
}

func (s *script) Next() time.Time {
	if len(s.due) == 0 {
		return time.Time{}
	}
	return s.due[0]
}

func (s *script) Status() cycle.Status {
	if s.status == nil {
		return cycle.Status{}
	}
	return s.status(s.now)
}

func (s *script) Remaining(now time.Time) (cycle.Estimate, bool) {
	return cycle.Estimate{Median: dawn.Add(time.Hour).Sub(now)}, true
}
func (s *script) Checkpoint() (cycle.Checkpoint, error) { return cycle.Checkpoint{}, nil }
func (s *script) Restore(cycle.Checkpoint) error        { return nil }

// every is a shelf with a reading each so often between two times after dawn.
func every(step, from, to time.Duration) *shelf {
	s := &shelf{}
	for d := from; d <= to; d += step {
		s.readings = append(s.readings, cycle.Power(dawn.Add(d), 5))
	}
	return s
}

// aCycle ran from dawn for an hour, and was told of two minutes later.
var aCycle = coordinator.Fact{Kind: coordinator.FactCycle, Machine: "w1", Cycle: 3, Start: dawn, End: dawn.Add(time.Hour), At: dawn.Add(62 * time.Minute)}

// TestPhasesByHand: each begins when the engine dates it, though not before the cycle, and
// ends where the next begins, the last with the cycle. What comes after the end is left
// out, and so is one that is dated no later than the one before.
func TestPhasesByHand(t *testing.T) {
	type said struct {
		from, since int // minutes: from when on it is said, and since when it is said to be
		phase       cycle.Phase
	}
	type told struct {
		phase    cycle.Phase
		from, to int
	}
	for name, c := range map[string]struct {
		said []said
		want []told
	}{
		"none":                      {[]said{{0, 0, cycle.NoPhase}, {30, 30, cycle.After}}, nil},
		"one":                       {[]said{{0, 0, cycle.Heat}}, []told{{cycle.Heat, 0, 60}}},
		"one that began before":     {[]said{{0, -3, cycle.Heat}}, []told{{cycle.Heat, 0, 60}}},
		"three":                     {[]said{{0, 0, cycle.Tumble}, {12, 10, cycle.Heat}, {33, 30, cycle.Tumble}}, []told{{cycle.Tumble, 0, 10}, {cycle.Heat, 10, 30}, {cycle.Tumble, 30, 60}}},
		"the same, said anew":       {[]said{{0, 0, cycle.Heat}, {20, 20, cycle.Heat}}, []told{{cycle.Heat, 0, 60}}},
		"one that is dated back":    {[]said{{0, 0, cycle.Tumble}, {20, 10, cycle.Heat}, {25, 10, cycle.Spin}}, []told{{cycle.Tumble, 0, 10}, {cycle.Heat, 10, 60}}},
		"after the end":             {[]said{{0, 0, cycle.Heat}, {61, 60, cycle.Spin}}, []told{{cycle.Heat, 0, 60}}},
		"at rest in between":        {[]said{{0, 0, cycle.Heat}, {20, 20, cycle.NoPhase}, {30, 30, cycle.Spin}}, []told{{cycle.Heat, 0, 30}, {cycle.Spin, 30, 60}}},
		"just before it, told late": {[]said{{0, 0, cycle.Heat}, {61, 59, cycle.Spin}}, []told{{cycle.Heat, 0, 59}, {cycle.Spin, 59, 60}}},
	} {
		e := &script{status: func(now time.Time) cycle.Status {
			status := cycle.Status{Running: true, Start: dawn}
			for _, s := range c.said {
				if !now.Before(dawn.Add(time.Duration(s.from) * time.Minute)) {
					status.Phase, status.PhaseSince = s.phase, dawn.Add(time.Duration(s.since)*time.Minute)
				}
			}
			return status
		}}
		story, err := Tell(ctx, every(time.Minute, 0, 62*time.Minute), place, e, nil, aCycle)
		if err != nil {
			t.Fatal(err)
		}
		var got []told
		for _, p := range story.Phases {
			got = append(got, told{p.Phase, int(p.From.Sub(dawn).Minutes()), int(p.To.Sub(dawn).Minutes())})
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%s: told are %v, want %v", name, got, c.want)
		}
	}
}

// TestSaidByHand: the remaining time is asked for each minute from the start on, until
// the end, and of the cycle only: of one that began a quarter of an hour beside it, not of
// one that began earlier still.
func TestSaidByHand(t *testing.T) {
	for name, c := range map[string]struct {
		start time.Duration // as the engine dates it, after dawn
		run   bool
		want  int
	}{
		"the cycle":                  {0, true, 61},
		"a quarter of an hour late":  {15 * time.Minute, true, 61},
		"a quarter of an hour early": {-15 * time.Minute, true, 61},
		"another":                    {-15*time.Minute - 1, true, 0},
		"a later one":                {15*time.Minute + 1, true, 0},
		"none":                       {0, false, 0},
	} {
		e := &script{status: func(now time.Time) cycle.Status {
			return cycle.Status{Running: c.run && !now.Before(dawn), Start: dawn.Add(c.start)}
		}}
		story, err := Tell(ctx, every(20*time.Second, -30*time.Minute, 90*time.Minute), place, e, nil, aCycle)
		if err != nil || len(story.Said) != c.want || story.Behind != 0 {
			t.Fatalf("%s: %d times, %v", name, len(story.Said), err)
		}
		for i, s := range story.Said {
			if !s.At.Equal(dawn.Add(time.Duration(i)*time.Minute)) || s.Left.Median != time.Hour-time.Duration(i)*time.Minute {
				t.Errorf("%s: said %d is %+v", name, i, s)
			}
		}
		// It is given the readings from a quarter of an hour before the start until it was told.
		if first, last := e.read[0], e.read[len(e.read)-1]; !first.Equal(dawn.Add(-15*time.Minute)) || !last.Equal(aCycle.At) {
			t.Errorf("%s: it read from %v to %v", name, first, last)
		}
	}
}

// TestWhatFallsDueInBetween: an engine is ticked at each instant that was due before a
// reading, up to eight times, and not at one that is the reading's own.
func TestWhatFallsDueInBetween(t *testing.T) {
	minute := func(m int) time.Time { return dawn.Add(time.Duration(m) * time.Minute) }
	e := &script{due: []time.Time{minute(1), minute(2), minute(5)}}
	for i := range 20 {
		e.due = append(e.due, minute(5).Add(time.Duration(i+1)*time.Second))
	}
	s := &shelf{readings: []cycle.Reading{cycle.Power(minute(0), 1), cycle.Power(minute(5), 1), cycle.Power(minute(10), 1)}}
	if _, err := Tell(ctx, s, place, e, nil, aCycle); err != nil {
		t.Fatal(err)
	}
	want := []time.Time{minute(1), minute(2), minute(5)}
	for i := range 7 {
		want = append(want, minute(5).Add(time.Duration(i+1)*time.Second))
	}
	if !slices.EqualFunc(e.ticked, want, time.Time.Equal) {
		t.Errorf("ticked at %v, want %v", e.ticked, want)
	}
}

// TestCyclesBefore: those before it are read first, from a quarter of an hour before they
// began until ten minutes after they were told, but no reading twice.
func TestCyclesBefore(t *testing.T) {
	before := aCycle
	before.Start, before.End, before.At = dawn.Add(-2*time.Hour), dawn.Add(-time.Hour), dawn.Add(-58*time.Minute)
	close := before
	close.Start, close.End, close.At = dawn.Add(-50*time.Minute), dawn.Add(-12*time.Minute), dawn.Add(-11*time.Minute)
	for _, c := range []struct {
		before []coordinator.Fact
		want   int // readings, one a minute, in all
	}{
		{nil, 15 + 62 + 1},
		{[]coordinator.Fact{before}, 15 + 62 + 10 + 15 + 62 + 1},
		// The first ends where the next begins, that one where the cycle itself does.
		{[]coordinator.Fact{before, close}, 15 + 62 - 7 + 50 + 15 + 62 + 1},
	} {
		e := &script{}
		story, err := Tell(ctx, every(time.Minute, -4*time.Hour, 2*time.Hour), place, e, c.before, aCycle)
		if err != nil || story.Behind != len(c.before) {
			t.Fatal(story.Behind, err)
		}
		if n := len(slices.CompactFunc(slices.Clone(e.read), time.Time.Equal)); n != len(e.read) || !slices.IsSortedFunc(e.read, time.Time.Compare) {
			t.Errorf("%d cycles before: a reading is given twice, or out of order", len(c.before))
		}
		if len(e.read) != c.want {
			t.Errorf("%d cycles before: %d readings, want %d", len(c.before), len(e.read), c.want)
		}
	}
}

// TestHearingByHand: gaps are longer than the silence, the time before the first reading
// and after the last among them; distances are told in two digits.
func TestHearingByHand(t *testing.T) {
	nan := math.NaN()
	hear := func(silent time.Duration, to float64, at ...float64) Hearing { // seconds after dawn
		s := &shelf{}
		for _, sec := range at {
			s.readings = append(s.readings, cycle.Reading{At: dawn.Add(time.Duration(sec * float64(time.Second))), Watts: 5, Wh: nan})
		}
		got, err := Hear(ctx, s, place, dawn.Add(time.Duration(to*float64(time.Second))), silent, dawn)
		if err != nil {
			t.Fatal(err)
		}
		return got[0]
	}
	for name, c := range map[string]struct {
		got     Hearing
		n, gaps int
		unheard float64 // seconds
		longest float64
		usual   time.Duration
		long    time.Duration
	}{
		"steady":                    {hear(time.Minute, 60, 0, 10, 20, 30, 40, 50), 6, 0, 0, 0, 10 * time.Second, 10 * time.Second},
		"as long as the silence":    {hear(time.Minute, 120, 0, 60, 120-1e-9), 3, 0, 0, 0, time.Minute, time.Minute},
		"a little longer":           {hear(time.Minute, 121, 0, 60.001, 61), 3, 1, 60.001, 60.001, 1 * time.Second, time.Minute},
		"before the first":          {hear(time.Minute, 200, 100, 150, 199), 3, 1, 100, 100, 50 * time.Second, 50 * time.Second},
		"after the last":            {hear(time.Minute, 200, 0, 50), 2, 1, 150, 150, 50 * time.Second, 50 * time.Second},
		"two gaps":                  {hear(time.Minute, 400, 0, 100, 130, 330, 390), 5, 2, 300, 200, time.Minute, 200 * time.Second},
		"no silence is set":         {hear(0, 9000, 0, 4000), 2, 0, 0, 0, 4000 * time.Second, 4000 * time.Second},
		"one":                       {hear(time.Minute, 30, 10), 1, 0, 0, 0, 0, 0},
		"tenths of a second":        {hear(time.Minute, 10, 0, 0.26, 0.52), 3, 0, 0, 0, 300 * time.Millisecond, 300 * time.Millisecond},
		"ten seconds, tenths":       {hear(time.Minute, 30, 0, 10, 20), 3, 0, 0, 0, 10 * time.Second, 10 * time.Second},
		"above ten, whole seconds":  {hear(time.Minute, 60, 0, 12.6, 25.2), 3, 0, 0, 0, 13 * time.Second, 13 * time.Second},
		"above a minute, ten":       {hear(time.Hour, 400, 0, 96, 192), 3, 0, 0, 0, 100 * time.Second, 100 * time.Second},
		"half are short, one long":  {hear(time.Hour, 400, 0, 2, 4, 6, 206), 5, 0, 0, 0, 2 * time.Second, 200 * time.Second},
		"the same instant, repeats": {hear(time.Minute, 20, 0, 0, 0, 10), 4, 0, 0, 0, 0, 10 * time.Second},
	} {
		g := c.got
		if g.Readings != c.n || g.Gaps != c.gaps || math.Abs(g.Unheard.Seconds()-c.unheard) > 1e-6 || math.Abs(g.Longest.Seconds()-c.longest) > 1e-6 || g.Usual != c.usual || g.Long != c.long || g.HasRegister || g.Resets != 0 {
			t.Errorf("%s: %+v", name, g)
		}
	}
	if got, err := Hear(ctx, &shelf{}, place, dawn, time.Minute); err != nil || len(got) != 0 {
		t.Errorf("no look: %+v, %v", got, err)
	}
}

// TestRegistersByHand: one that stands is not reset; one that falls is, each time.
func TestRegistersByHand(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		wh     []float64
		has    bool
		resets int
	}{
		{[]float64{nan, nan}, false, 0}, {[]float64{5}, true, 0}, {[]float64{5, 5, 6}, true, 0}, {[]float64{5, 4, 6, 0}, true, 2}, {[]float64{5, nan, 4}, true, 1}, {[]float64{nan, 4, nan, 5}, true, 0},
	} {
		s := &shelf{}
		for i, wh := range c.wh {
			s.readings = append(s.readings, cycle.Reading{At: dawn.Add(time.Duration(i) * time.Second), Watts: 5, Wh: wh})
		}
		got, err := Hear(ctx, s, place, dawn.Add(time.Minute), time.Hour, dawn)
		if err != nil || got[0].HasRegister != c.has || got[0].Resets != c.resets {
			t.Errorf("%v: %+v, %v", c.wh, got, err)
		}
	}
}
