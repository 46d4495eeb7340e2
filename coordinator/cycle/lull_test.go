package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestSplit: which part of the time between two readings was work.
func TestSplit(t *testing.T) {
	const s = time.Second
	for _, c := range []struct {
		what             string
		d                time.Duration
		was, is          bool
		usual, work, low time.Duration
	}{
		{"rest", 10 * s, false, false, 0, 0, 10 * s},
		{"work begins with the second reading", 10 * s, false, true, 0, 0, 10 * s},
		{"work", 10 * s, true, true, 0, 10 * s, 0},
		{"work ends with the second reading", 10 * s, true, false, 0, 10 * s, 0},
		{"in time", 10 * s, true, false, 10 * s, 10 * s, 0},
		{"late: work may have ended where a reading is missing", 30 * s, true, false, 10 * s, 10 * s, 20 * s},
		{"late, at work before and after: what is between is not known", 300 * s, true, true, 30 * s, 60 * s, 0},
		{"of a quick meter at least the time of a start counts", 300 * s, true, true, s, onsetSure, 0},
		{"a quick meter in time", 2 * s, true, true, s, 2 * s, 0},
	} {
		if work, low := split(c.d, c.was, c.is, c.usual); work != c.work || low != c.low {
			t.Errorf("%s: %v of work and %v without, want %v and %v", c.what, work, low, c.work, c.low)
		}
	}
}

// TestSplitMakesNoTime: work and rest are never more than the time there was.
func TestSplitMakesNoTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := time.Duration(rapid.Int64Range(0, 1e12).Draw(t, "d"))
		was, is := rapid.Bool().Draw(t, "was"), rapid.Bool().Draw(t, "is")
		work, low := split(d, was, is, time.Duration(rapid.Int64Range(0, 1e11).Draw(t, "usual")))
		if work < 0 || low < 0 || work+low > d || !was && work > 0 {
			t.Fatalf("%v of work, %v without in %v", work, low, d)
		}
		if !(was && is) && work+low != d {
			t.Fatalf("%v of %v", work+low, d)
		}
	})
}

// playLull lets a lull see readings 5 s apart, # at work and . below, up to where it
// is over; at is how many it took, 0 when it is not over.
func playLull(rule resumption, pattern string) (l lull, at int) {
	l.begin(t0, 7, 0)
	for i, c := range pattern {
		if l.step(t0.Add(time.Duration(i+1)*5*time.Second), 5*time.Second, c == '#', rule) {
			return l, i + 1
		}
	}
	return l, 0
}

func TestLullCounts(t *testing.T) {
	l, over := playLull(resumesDryer, "...##....#....")
	if over != 0 || l.Pulses != 2 || l.lasted() != 70*time.Second || l.Work != 15*time.Second || l.Low != 55*time.Second {
		t.Errorf("over after %d readings; %+v", over, l)
	}
	if want := t0.Add(50 * time.Second); !l.Began.Equal(want) || l.N != 1 || l.Run != 0 {
		t.Errorf("the last pulse is that of %v with %d readings, and %v of the next", l.Began.Sub(t0), l.N, l.Run)
	}
	if l.Wh != 7 || !l.From.Equal(t0) {
		t.Errorf("it began at %v with %v Wh", l.From.Sub(t0), l.Wh)
	}
}

// TestLullIsOver: work in one stretch of resumeAfter ends any lull, and shorter
// stretches do only where they fill enough of the time.
func TestLullIsOver(t *testing.T) {
	for _, c := range []struct {
		what, pattern string
		rule          resumption
		at            int
	}{
		{"one stretch after a long rest", "............######", resumesDryer, 18},
		{"the stretch must be one", "............###.###.###.", resumesDryer, 0},
		{"half the time is enough for a washer", "..##.", resumesWasher, 5},
		{"and not for a dryer", "..##.", resumesDryer, 0},
		{"a single reading is no work yet", "#", resumesWasher, 0},
		{"a washer's short turn, with a rest as long", ".#.#.#", resumesWasher, 5},
		{"a dryer's turn of one reading never counts", ".#.#.#.#.#", resumesDryer, 0},
	} {
		if _, at := playLull(c.rule, c.pattern); at != c.at {
			t.Errorf("%s, %s: over after %d readings, want %d", c.what, c.pattern, at, c.at)
		}
	}
}

// TestQuiet follows the glow, and no turn of the drum.
func TestQuiet(t *testing.T) {
	var l lull
	l.quiet(300)
	if l.QuietW != 0 {
		t.Errorf("a turn is taken for %v W of glow", l.QuietW)
	}
	l.quiet(6)
	if l.QuietW != 6 {
		t.Errorf("the first is taken as it is: %v W", l.QuietW)
	}
	for range 60 {
		l.quiet(4)
		l.quiet(90)
	}
	if l.QuietW < 4 || l.QuietW > 4.1 {
		t.Errorf("after many of 4 W: %v W", l.QuietW)
	}
}

// TestOnsetForgets: after a rest the next work begins anew, and that of one reading
// of a slow meter does not wait for the rest to be long.
func TestOnsetForgets(t *testing.T) {
	step := func(o *onset, s int, high bool) {
		d := time.Duration(s) * time.Second
		o.step(t0.Add(d), d, 100, high, 3, time.Hour)
	}
	o := onset{Usual: 9 * time.Second}
	step(&o, 5, true)
	step(&o, 5, true)
	step(&o, 5, false)
	if !o.Active || o.Run != 0 || o.N != 2 {
		t.Errorf("a short rest: %+v", o)
	}
	step(&o, 5, true)
	if o.LowRun != 0 || o.N != 3 || o.Wh != 3 {
		t.Errorf("work again: %+v", o)
	}
	for range 12 {
		step(&o, 5, false)
	}
	if o.Active || o.Usual != 9*time.Second {
		t.Errorf("a long rest: %+v", o)
	}
	step(&o, 60, true)
	step(&o, 60, false)
	if o.Active {
		t.Errorf("one reading of a slow meter: %+v", o)
	}
}

// TestOnsetInOneStretch: where work must be whole, turns with rests start nothing.
func TestOnsetInOneStretch(t *testing.T) {
	for _, whole := range []bool{false, true} {
		o, sure := onset{}, 0
		for i := range 40 {
			o.Whole = whole
			if at := t0.Add(time.Duration(i) * 10 * time.Second); o.step(at, 10*time.Second, 100, i%4 != 3, 0, time.Minute) {
				sure++
			}
		}
		if (sure > 0) == whole {
			t.Errorf("whole %v: sure %d times", whole, sure)
		}
	}
}
