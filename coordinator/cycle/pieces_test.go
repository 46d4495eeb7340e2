package cycle

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestCadence(t *testing.T) {
	var c cadence
	for i := range 600 {
		d := 8 * time.Second
		if i%10 == 9 {
			d = 30 * time.Second
		}
		c.add(d)
	}
	if c.Usual < 7*time.Second || c.Usual > 9*time.Second {
		t.Errorf("usual %v", c.Usual)
	}
	if c.Long < 12*time.Second || c.Long > 40*time.Second {
		t.Errorf("long %v", c.Long)
	}
	if h := c.hold(10 * time.Minute); h < 3*c.Usual || h > 2*time.Minute {
		t.Errorf("believed for %v", h)
	}
	if h := (&cadence{Usual: time.Hour, Long: time.Hour}).hold(10 * time.Minute); h != 10*time.Minute {
		t.Errorf("never longer than silence: %v", h)
	}
}

func TestOnset(t *testing.T) {
	type step struct {
		s    int
		high bool
	}
	for name, c := range map[string]struct {
		steps []step
		want  bool
	}{
		"one artefact":      {[]step{{5, true}, {5, false}, {5, false}}, false},
		"two apart":         {[]step{{5, true}, {5, false}, {60, false}, {5, true}, {5, false}}, false},
		"goes on":           {[]step{{5, true}, {5, true}, {5, true}, {5, true}, {5, true}}, true},
		"two slow readings": {[]step{{30, true}, {30, true}}, true},
		"one slow reading":  {[]step{{60, true}, {60, false}}, false},
		"flickers":          {[]step{{6, true}, {6, true}, {6, false}, {6, true}, {6, true}, {6, true}, {6, true}}, true},
		"pulses":            {[]step{{5, true}, {5, true}, {5, false}, {20, false}, {20, false}, {5, true}, {5, true}, {5, false}, {45, false}}, false},
	} {
		var o onset
		at, sure := t0, false
		for _, s := range c.steps {
			at = at.Add(time.Duration(s.s) * time.Second)
			sure = o.step(at, time.Duration(s.s)*time.Second, 100, s.high, 0, onsetSure) || sure
		}
		if sure != c.want {
			t.Errorf("%s: sure %v", name, sure)
		}
	}
	var o onset
	for i, w := range []float64{900, 60, 70, 65, 62} {
		o.step(t0.Add(time.Duration(i*10)*time.Second), 10*time.Second, w, true, 0, time.Hour)
	}
	if o.PeakW != 70 {
		t.Errorf("peak %v W: a single artefact is none", o.PeakW)
	}
}

func TestLull(t *testing.T) {
	play := func(rule resumption, pattern string, d time.Duration) (over bool, l lull) {
		l.begin(t0, 0, 0)
		at := t0
		for _, c := range pattern {
			at = at.Add(d)
			if l.step(at, d, c == '#', rule) {
				return true, l
			}
		}
		return false, l
	}
	for _, c := range []struct {
		rule    resumption
		pattern string
		d       time.Duration
		over    bool
	}{
		{resumesWasher, "..........", 5 * time.Second, false},
		{resumesWasher, "....#.....#....", 5 * time.Second, false},                          // glow with spikes
		{resumesWasher, "..####", 5 * time.Second, true},                                    // turns again
		{resumesDryer, "..........##..........##..........##", 5 * time.Second, false},      // against creases
		{resumesDryer, "..........#######", 5 * time.Second, true},                          // goes on
		{resumesDryer, ".#.#.#.#", 30 * time.Second, false},                                 // means of pulses
		{resumption{share: 0.5, readings: 1, loosens: true}, "...#", 5 * time.Second, true}, // loosening
	} {
		if over, _ := play(c.rule, c.pattern, c.d); over != c.over {
			t.Errorf("%+v %s: over %v", c.rule, c.pattern, over)
		}
	}
	if _, l := play(resumesDryer, ".....#", 10*time.Second); l.lasted() != time.Minute || l.Pulses != 1 {
		t.Errorf("lasted %v with %d pulses", l.lasted(), l.Pulses)
	}
}

func TestProfile(t *testing.T) {
	var p profile
	n := p.add(100, 90*time.Second, 90*time.Second)
	n += p.add(400, 60*time.Second, 60*time.Second)
	if n != 2 || len(p.Codes) != 2 {
		t.Fatalf("%d steps", n)
	}
	if got := wattsOf(p.Codes[1]); math.Abs(got-250) > 10 {
		t.Errorf("second minute %v W, want the mean of 100 and 400", got)
	}
	p.add(9999, 3*time.Minute, 0) // a hole: nothing heard
	if len(p.Codes) != 5 || p.Codes[4] != p.Codes[3] {
		t.Errorf("a hole repeats the last minute: %v", p.Codes)
	}
	p.reset()
	p.add(100, 1000*time.Hour, time.Hour)
	if len(p.Codes) != profileMost {
		t.Errorf("%d minutes kept", len(p.Codes))
	}
}

// TestProfileSplits: a reading split in two gives the same profile.
func TestProfileSplits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a, b profile
		for range rapid.IntRange(1, 30).Draw(t, "readings") {
			w := float64(rapid.IntRange(0, 2000).Draw(t, "W"))
			d := time.Duration(rapid.IntRange(2, 200).Draw(t, "s")) * time.Second
			first := time.Duration(rapid.Int64Range(0, int64(d)).Draw(t, "split"))
			a.add(w, d, d)
			b.add(w, first, first)
			b.add(w, d-first, d-first)
		}
		if len(a.Codes) != len(b.Codes) {
			t.Fatalf("%d and %d minutes", len(a.Codes), len(b.Codes))
		}
		for i := range a.Codes {
			if d := int(a.Codes[i]) - int(b.Codes[i]); d < -1 || d > 1 {
				t.Fatalf("minute %d: %d and %d", i, a.Codes[i], b.Codes[i])
			}
		}
	})
}

func TestProgrammes(t *testing.T) {
	var p programmes
	like := -1
	for i := range runsKept + 40 {
		r := runOf(0, minutes(60, 100+float64(i%3))...)
		if got := p.keep(r, like); got != 1 {
			t.Fatalf("run %d is of programme %d", i, got)
		}
		like = 0
	}
	if n := p.keep(runOf(0, minutes(20, 300)...), -1); n != 2 {
		t.Errorf("a new programme has number %d", n)
	}
	for range 2 * runsKept {
		first := slices.IndexFunc(p.Runs, func(r run) bool { return r.Programme == 1 })
		p.keep(runOf(0, minutes(60, 100)...), first)
	}
	if len(p.Runs) != runsKept || p.count(2, 0) != 1 {
		t.Errorf("%d runs, %d of the seldom programme", len(p.Runs), p.count(2, 0))
	}
	var weight float64
	for _, r := range p.Runs {
		weight += r.Weight
	}
	if want := float64(3*runsKept + 41); math.Abs(weight-want) > 1e-6 {
		t.Errorf("the runs stand for %v, want %v", weight, want)
	}
}

func TestNovelty(t *testing.T) {
	var p programmes
	if got := p.novelty(); got != 1 {
		t.Errorf("of nothing: %v", got)
	}
	for i := range 20 {
		like := -1
		if i > 0 {
			like = 0
		}
		p.keep(runOf(0, 100), like)
	}
	if got := p.novelty(); got > 0.2 {
		t.Errorf("after 20 runs of one programme: %v", got)
	}
}

func TestEndings(t *testing.T) {
	var e endings
	if a, n := e.alike(time.Minute, time.Minute); a != 0 || n != 0 || e.soonest() != 0 {
		t.Error("nothing is known")
	}
	for i := range 30 {
		e.add(time.Duration(100+i) * time.Second)
	}
	if a, n := e.alike(125*time.Second, 5*time.Second); n != endingsKept || a != 10 {
		t.Errorf("%d of %d alike", a, n)
	}
	if e.soonest() != 118*time.Second {
		t.Errorf("soonest %v", e.soonest())
	}
}

func TestSpread(t *testing.T) {
	var s, b spread
	s.add(10*time.Minute, 1)
	s.add(20*time.Minute, 1)
	s.add(60*time.Minute, 2)
	q := s.quantiles([3]float64{0.1, 0.4, 0.9})
	for i, want := range []time.Duration{10 * time.Minute, 20 * time.Minute, 60 * time.Minute} {
		if (q[i] - want).Abs() > spreadStep {
			t.Errorf("quantile %d: %v, want %v", i, q[i], want)
		}
	}
	b.addBlurred(&s, 0.1)
	if math.Abs(b.total-4) > 1e-9 {
		t.Errorf("blurring keeps the weight: %v", b.total)
	}
	if w := b.quantiles([3]float64{0.5, 0.75, 0.99}); w[2] <= 61*time.Minute {
		t.Errorf("and widens it: %v", w)
	}
	s.add(1000*time.Hour, 1)
	s.add(-time.Hour, 1)
	s.reset()
	if q := s.quantiles([3]float64{0.1, 0.5, 0.9}); q != [3]time.Duration{} || s.total != 0 {
		t.Errorf("after a reset: %v", q)
	}
}

func TestOutlookDoesNotJump(t *testing.T) {
	at := func(min int) time.Time { return t0.Add(time.Duration(min) * time.Minute) }
	o := outlook{}
	o.move(outlook{At: at(0), Median: at(90), Low: at(80), High: at(100)})
	o.move(outlook{At: at(1), Median: at(30), Low: at(25), High: at(35)})
	if got := o.Median; !got.Equal(at(81)) || o.High.Before(o.Median) || o.Low.After(o.Median) {
		t.Errorf("without a phase it moves to %v", got.Sub(t0))
	}
	o.move(outlook{At: at(2), Median: at(30), Low: at(25), High: at(35), Phases: 1})
	if !o.Median.Equal(at(30)) {
		t.Errorf("with a phase it moves to %v", o.Median.Sub(t0))
	}
	e := o.estimate(at(50))
	if !e.Overdue || e.Median != 0 || e.Low != 0 || e.High != 0 {
		t.Errorf("overdue: %+v", e)
	}
}

// TestConformalCovers: whatever the stated widths, after a while four in five of
// the truths lie inside, as long as misses are not all or nothing.
func TestConformalCovers(t *testing.T) {
	for _, width := range []float64{0.5, 5, 60} {
		var c conformal
		g := newProgrammes(3)
		inside, n := 0, 0
		for k := range 400 {
			length := 60 * time.Minute
			for i := range 60 {
				truth := 60 - float64(i+1)
				off := g.rnd.NormFloat64() * 6
				p := part(time.Duration(i+1)*time.Minute, time.Duration(truth*float64(time.Minute)))
				median := time.Duration((truth + off) * float64(time.Minute))
				bare := time.Duration(width * float64(time.Minute))
				if k > 200 && median > 10*time.Minute {
					below, above := c.widen(p, bare, bare)
					n++
					if d := time.Duration(off * float64(time.Minute)); d <= below && -d <= above {
						inside++
					}
				}
				c.say(p, median, bare, bare)
			}
			c.learn(length)
			c.reset()
		}
		if share := float64(inside) / float64(n); share < 0.72 || share > 0.88 {
			t.Errorf("stated %v min: %.2f inside", width, share)
		}
	}
}

func TestPriorSpread(t *testing.T) {
	for _, c := range []struct {
		set    Settings
		median time.Duration
	}{{washer(), 95 * time.Minute}, {dryer(), 65 * time.Minute}, {Settings{Washer: true, Dryer: true}, 113 * time.Minute}} {
		p := priorSpread(c.set)
		mid := (p[7] + p[8]) / 2
		if (mid - c.median).Abs() > 3*time.Minute {
			t.Errorf("%+v: median %v", c.set, mid)
		}
		for i := 1; i < len(p); i++ {
			if p[i] <= p[i-1] {
				t.Errorf("points out of order: %v", p)
			}
		}
	}
}
