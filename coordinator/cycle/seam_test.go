package cycle

import (
	"slices"
	"testing"
	"time"
)

// ending is a washer that works since the test's begin, with a lull at 70 minutes, its
// place in the programme as it is given.
func ending(s Settings, p place) *Learned {
	l := New(s)
	m := &l.mem
	m.Running, m.Start = true, clockAt(0)
	m.Phases.Strong, m.Phases.StrongUntil = Spin, clockAt(69)
	m.Lull = lull{Active: true, From: clockAt(70), Wh: 600, At: p, Placed: true}
	for range 80 {
		m.Profile.Codes, m.Profile.Began = append(m.Profile.Codes, codeOf(150)), append(m.Profile.Began, 0)
	}
	return l
}

// TestSew: a pause is remembered as a seam where it was likely the end, and long enough
// for somebody to change the load.
func TestSew(t *testing.T) {
	end, midst := place{Near: 1, After: true}, place{Near: 0}
	washer, dryer := Settings{Washer: true}, Settings{Dryer: true}
	for name, c := range map[string]struct {
		s     Settings
		at    place
		pause time.Duration
		sewn  bool
	}{
		"at the end, minutes":               {washer, end, 12 * time.Minute, true},
		"at the end, too short":             {washer, end, seamLeast - time.Second, false},
		"in the midst, as long as it takes": {washer, midst, seamLeast, false},
		"a dryer at its end":                {dryer, end, 12 * time.Minute, true},
	} {
		l := ending(c.s, c.at)
		l.sew(clockAt(82), c.pause)
		s := l.mem.Seam
		if got := !s.Next.IsZero(); got != c.sewn {
			t.Errorf("%s: sewn %v, want %v", name, got, c.sewn)
		}
		if want := (seam{End: clockAt(70), Next: clockAt(82), EndWh: 600, NextWh: l.mem.Energy.Wh(), Strong: Spin, StrongUntil: clockAt(69), Pause: c.pause, At: c.at}); c.sewn && s != want {
			t.Errorf("%s: %+v, want %+v", name, s, want)
		}
	}
}

// TestSewWantsMoreOfADryer: what is likely enough to be a wash's end may be the pause
// in which a machine that does both goes over to drying. The chances lie on either side.
func TestSewWantsMoreOfADryer(t *testing.T) {
	both := Settings{Washer: true, Dryer: true}
	between := 0
	for near := 0.0; near <= 1; near += 0.01 {
		for _, pause := range []time.Duration{time.Minute, 3 * time.Minute, 8 * time.Minute} {
			l := ending(both, place{Near: near, After: true})
			l.follow()
			chance := 1 - l.mem.Pauses.goesOn(pause, l.mem.Lull.At, l.habit(), 1)
			l.sew(clockAt(82), pause)
			if got, want := !l.mem.Seam.Next.IsZero(), chance >= seamChanceDries; got != want {
				t.Fatalf("an end as likely as %.2f is sewn: %v", chance, got)
			}
			if chance > seamChance && chance < seamChanceDries {
				between++
			}
		}
	}
	if between == 0 {
		t.Error("no chance was between the two bounds: the test tells nothing")
	}
}

// torn is a seam that holds: the wash was over at 70 minutes, other work began at 80.
func torn() *Learned {
	l := ending(Settings{Washer: true}, place{Near: 1, After: true})
	m := &l.mem
	m.Seam = seam{End: clockAt(70), Next: clockAt(75), EndWh: 600, NextWh: 603, Strong: Spin, StrongUntil: clockAt(69), Pause: 5 * time.Minute, At: m.Lull.At}
	m.Lull = lull{}
	m.PeakW, m.TopW = 2000, 2100
	for i := range m.Profile.Codes {
		m.Profile.Codes[i] = byte(i)
	}
	m.Phases.Now, m.Phases.Strong, m.Phases.Spun = Heat, Heat, true
	return l
}

// TestRip: at a heat after the seam the first cycle is over since before it, and the
// second runs since after it, with what its minutes were.
func TestRip(t *testing.T) {
	l := torn()
	l.mem.Pauses.count(l.mem.Seam.Pause, l.mem.Seam.At, 1) // as a pause of the first cycle
	l.rip(clockAt(81), clockAt(80))
	if n := l.mem.Pauses.Close; n != 0 {
		t.Errorf("what was an end still counts as a pause: %v", n)
	}
	if len(l.events) != 2 {
		t.Fatalf("events %+v", l.events)
	}
	end, start := l.events[0], l.events[1]
	if end.Kind != Finished || !end.Start.Equal(clockAt(0)) || !end.End.Equal(clockAt(70)) || !end.At.Equal(clockAt(81)) {
		t.Errorf("the first: %+v", end)
	}
	if start.Kind != Started || !start.Start.Equal(clockAt(75)) || !start.At.Equal(clockAt(81)) {
		t.Errorf("the second: %+v", start)
	}
	m := &l.mem
	if want := []byte{75, 76, 77, 78, 79}; !m.Running || !slices.Equal(m.Profile.Codes, want) || len(m.Profile.Began) != len(want) {
		t.Errorf("the second's minutes are %v, want %v", m.Profile.Codes, want)
	}
	if m.Phases.Strong != Heat || m.Phases.Spun || m.Phases.Reheated || m.StartWh != 603 || m.PeakW != 2000 || !m.WorkAt.Equal(clockAt(80)) {
		t.Errorf("the second is %+v, %v Wh, %v W, at work %s", m.Phases, m.StartWh, m.PeakW, m.WorkAt)
	}
	l.events = l.events[:0]
	if l.rip(clockAt(82), clockAt(82)); len(l.events) > 0 {
		t.Errorf("ripped twice: %+v", l.events)
	}
}

// TestNoRip: without a seam, too late after it, with no strong phase or hardly a cycle
// before it, the heat belongs to the cycle that runs. The seam is forgotten by it.
func TestNoRip(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*seam)
		at     time.Time
		ripped bool
	}{
		"at the last moment":    {func(*seam) {}, clockAt(75).Add(seamMost), true},
		"too late":              {func(*seam) {}, clockAt(75).Add(seamMost + time.Second), false},
		"no seam":               {func(s *seam) { *s = seam{} }, clockAt(80), false},
		"no strong phase":       {func(s *seam) { s.Strong = NoPhase }, clockAt(80), false},
		"as short as a cycle":   {func(s *seam) { s.End = clockAt(0).Add(cycleLeast) }, clockAt(80), true},
		"shorter than a cycle":  {func(s *seam) { s.End = clockAt(0).Add(cycleLeast - time.Second) }, clockAt(80), false},
		"more than was kept of": {func(s *seam) { s.Next = clockAt(200) }, clockAt(201), true},
	} {
		l := torn()
		c.change(&l.mem.Seam)
		l.rip(c.at, c.at)
		if got := len(l.events) == 2; got != c.ripped {
			t.Errorf("%s: ripped %v, want %v (%+v)", name, got, c.ripped, l.events)
		}
		if l.mem.Seam != (seam{}) || !l.mem.Running {
			t.Errorf("%s: the seam is %+v, the machine runs %v", name, l.mem.Seam, l.mem.Running)
		}
	}
}
