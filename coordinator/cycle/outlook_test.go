package cycle

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestPriorIsLogNormal: of a log-normal law the logarithms are normal, so the equally
// likely points lie symmetrically about the median's (closed form): the mean of their
// logarithms is the median's, their deviation is nearly sigma, and two thirds of them
// lie within a factor of 1.5.
func TestPriorIsLogNormal(t *testing.T) {
	for _, c := range []struct {
		s      Settings
		median float64
	}{{Settings{Washer: true}, 95}, {Settings{Dryer: true}, 65}, {Settings{}, 95}} {
		points := priorSpread(c.s)
		var sum, squares float64
		within := 0
		for i, p := range points {
			x := math.Log(p.Minutes() / c.median)
			sum += x
			squares += x * x
			if math.Abs(x) <= math.Log(1.5) {
				within++
			}
			if mirror := math.Log(points[priorPoints-1-i].Minutes() / c.median); math.Abs(x+mirror) > 1e-9 {
				t.Errorf("%v min: point %d is not opposite its mirror", c.median, i)
			}
		}
		if !slices.IsSorted(points[:]) || math.Abs(sum) > 1e-9 {
			t.Errorf("%v min: %v", c.median, points)
		}
		if deviation := math.Sqrt(squares / priorPoints); deviation < 0.37 || deviation > 0.40 {
			t.Errorf("%v min: the deviation is %.3f", c.median, deviation)
		}
		if within < 10 || within > 12 { // of 16: two thirds are 10.7
			t.Errorf("%v min: %d of %d within a factor of 1.5", c.median, within, priorPoints)
		}
	}
}

// TestPriorOfBoth: a machine that washes and dries does one half of its cycles in one
// go; of the rest one half are washes, the other dryings. The points are those of the
// three laws, sorted.
func TestPriorOfBoth(t *testing.T) {
	var want []time.Duration
	for _, part := range []struct {
		n      int
		median float64
	}{{4, 95}, {4, 65}, {8, 170}} {
		points := make([]time.Duration, part.n)
		logNormal(points, part.median)
		want = append(want, points...)
	}
	slices.Sort(want)
	if got := priorSpread(Settings{Washer: true, Dryer: true}); !slices.Equal(got[:], want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// TestOutlookIsKept: the expected end goes nine minutes either way at most, unless a
// phase has begun or nothing was said before.
func TestOutlookIsKept(t *testing.T) {
	first := outlook{At: clockAt(0), Median: clockAt(90), Low: clockAt(80), High: clockAt(110), Phases: 2}
	for name, c := range map[string]struct {
		from, to, want outlook
	}{
		"the first word":         {outlook{}, first, first},
		"a little later":         {first, outlook{At: clockAt(1), Median: clockAt(95), Low: clockAt(85), High: clockAt(115), Phases: 2}, outlook{At: clockAt(1), Median: clockAt(95), Low: clockAt(85), High: clockAt(115), Phases: 2}},
		"much later":             {first, outlook{At: clockAt(1), Median: clockAt(150), Low: clockAt(85), High: clockAt(180), Phases: 2}, outlook{At: clockAt(1), Median: clockAt(99), Low: clockAt(85), High: clockAt(180), Phases: 2}},
		"much later, and surely": {first, outlook{At: clockAt(1), Median: clockAt(150), Low: clockAt(140), High: clockAt(180), Phases: 2}, outlook{At: clockAt(1), Median: clockAt(99), Low: clockAt(99), High: clockAt(180), Phases: 2}},
		"much earlier":           {first, outlook{At: clockAt(1), Median: clockAt(30), Low: clockAt(20), High: clockAt(40), Phases: 2}, outlook{At: clockAt(1), Median: clockAt(81), Low: clockAt(20), High: clockAt(81), Phases: 2}},
		"a phase began":          {first, outlook{At: clockAt(1), Median: clockAt(30), Low: clockAt(20), High: clockAt(40), Phases: 3}, outlook{At: clockAt(1), Median: clockAt(30), Low: clockAt(20), High: clockAt(40), Phases: 3}},
	} {
		o := c.from
		if o.move(c.to); o != c.want {
			t.Errorf("%s: %+v, want %+v", name, o, c.want)
		}
	}
}

// TestOutlookAsSeen: as time passes each part of it comes nearer and stops at nothing;
// from the expected end on the cycle is overdue.
func TestOutlookAsSeen(t *testing.T) {
	o := outlook{At: clockAt(0), Median: clockAt(30), Low: clockAt(20), High: clockAt(45), About: true}
	for _, c := range []struct {
		now  int
		want Estimate
	}{
		{0, Estimate{Median: 30 * time.Minute, Low: 20 * time.Minute, High: 45 * time.Minute, About: true}},
		{25, Estimate{Median: 5 * time.Minute, High: 20 * time.Minute, About: true}},
		{30, Estimate{High: 15 * time.Minute, About: true, Overdue: true}},
		{60, Estimate{About: true, Overdue: true}},
	} {
		if got := o.estimate(clockAt(float64(c.now))); got != c.want {
			t.Errorf("after %d min: %+v, want %+v", c.now, got, c.want)
		}
	}
}

// TestOutlookAnyWords: whatever is reckoned, what is said is in order, never jumps
// within a phase, and comes to what is reckoned when that stays the same.
func TestOutlookAnyWords(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		var o outlook
		minute := func(what string) time.Time { return clockAt(float64(rapid.IntRange(0, 300).Draw(rt, what))) }
		for n := range rapid.IntRange(1, 12).Draw(rt, "words") {
			last := o
			to := outlook{At: clockAt(float64(n)), Median: minute("median"), Phases: rapid.IntRange(1, 2).Draw(rt, "phases")}
			to.Low, to.High = earliest(to.Median, minute("low")), latest(to.Median, minute("high"))
			o.move(to)
			if o.Low.After(o.Median) || o.High.Before(o.Median) || o.At != to.At || o.Phases != to.Phases {
				rt.Fatalf("%+v was said of %+v", o, to)
			}
			if jump := o.Median.Sub(last.Median).Abs(); n > 0 && last.Phases == o.Phases && jump > jumpMost {
				rt.Fatalf("the expected end jumps by %s", jump)
			}
			for range 34 { // 300 minutes in steps of nine
				o.move(to)
			}
			if !o.Median.Equal(to.Median) || !o.Low.Equal(to.Low) || !o.High.Equal(to.High) {
				rt.Fatalf("%+v is said for ever of %+v", o, to)
			}
		}
	})
}

func earliest(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func latest(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}
