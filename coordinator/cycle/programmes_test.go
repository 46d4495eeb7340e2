package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestRunsAlike: about as long, within four minutes or a tenth, and about as much
// energy; whichever is asked.
func TestRunsAlike(t *testing.T) {
	const m = time.Minute
	for _, c := range []struct {
		what  string
		a, b  run
		alike bool
	}{
		{"the same", run{Length: 60 * m, Wh: 500}, run{Length: 60 * m, Wh: 500}, true},
		{"a short one four minutes longer", run{Length: 20 * m, Wh: 100}, run{Length: 24 * m, Wh: 100}, true},
		{"a short one five minutes longer", run{Length: 20 * m, Wh: 100}, run{Length: 25 * m, Wh: 100}, false},
		{"a long one a tenth longer", run{Length: 180 * m, Wh: 100}, run{Length: 200 * m, Wh: 100}, true},
		{"a long one a fifth longer", run{Length: 160 * m, Wh: 100}, run{Length: 200 * m, Wh: 100}, false},
		{"a quarter less energy", run{Length: 60 * m, Wh: 400}, run{Length: 60 * m, Wh: 300}, true},
		{"half the energy", run{Length: 60 * m, Wh: 400}, run{Length: 60 * m, Wh: 200}, false},
	} {
		if ab, ba := c.a.alike(&c.b), c.b.alike(&c.a); ab != c.alike || ba != c.alike {
			t.Errorf("%s: alike %v, and the other way round %v", c.what, ab, ba)
		}
	}
}

// TestRareProgrammesStay: whatever comes, there are never too many runs, all weights
// together are as many as were kept, and of a programme at least its few newest stay.
func TestRareProgrammesStay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var p programmes
		kept, seen := 0, map[int]int{}
		for range rapid.IntRange(1, 3*runsKept).Draw(t, "runs") {
			like := -1
			if len(p.Runs) > 0 && p.Last < 20 && rapid.IntRange(0, 40).Draw(t, "new") > 0 || p.Last >= 20 {
				like = rapid.IntRange(0, len(p.Runs)-1).Draw(t, "like")
			}
			seen[p.keep(run{Length: time.Duration(kept)}, like)]++
			kept++
		}
		sum := 0.0
		for i, r := range p.Runs {
			sum += r.Weight
			if i > 0 && r.Length <= p.Runs[i-1].Length {
				t.Fatal("they are not in the order in which they came")
			}
		}
		if len(p.Runs) != min(kept, runsKept) || sum < float64(kept)-1e-6 || sum > float64(kept)+1e-6 {
			t.Fatalf("%d runs of %d, with a weight of %v", len(p.Runs), kept, sum)
		}
		for programme, n := range seen {
			if p.count(programme, 0) < min(n, runsFew) {
				t.Fatalf("%d runs of programme %d, which ran %d times", p.count(programme, 0), programme, n)
			}
		}
	})
}

// TestProfileOfPartlyHeardMinutes: a minute's power is the mean of what was heard of
// it, and phases are noted in the minute in which they began.
func TestProfileOfPartlyHeardMinutes(t *testing.T) {
	var p profile
	p.add(600, 40*time.Second, 20*time.Second) // of 40 s only 20 were heard
	p.phase(p.add(60, 20*time.Second, 20*time.Second), 1)
	p.phase(p.add(100, 2*time.Minute, 2*time.Minute), 1)
	p.phase(p.add(100, 2*time.Minute, 2*time.Minute), 3)
	if w := wattsOf(p.Codes[0]); w < 320 || w > 340 {
		t.Errorf("20 s of 600 W and 20 s of 60 W have a mean of %v W", w)
	}
	if got := string(p.Began); got != "\x01\x00\x00\x01\x00" {
		t.Errorf("phases began in %q", got)
	}
	rest := p.since(3)
	var q profile
	q.add(9, 3*time.Minute, 3*time.Minute)
	q.set(rest)
	q.Codes[0]++
	if len(q.Codes) != 2 || len(q.Began) != 2 || q.Phases != 3 || p.Codes[3] == q.Codes[0] {
		t.Errorf("what follows minute 3 is %+v", q)
	}
}

// TestTheSixStrongestLandmarks are kept, in their order.
func TestTheSixStrongestLandmarks(t *testing.T) {
	var codes []byte
	level := []byte{40, 75, 150, 60, 220, 100, 250, 20, 160} // the first step is the weakest but one
	for _, l := range level {
		for range 10 {
			codes = append(codes, l)
		}
	}
	got := landmarks(codes)
	want := []int{30, 40, 50, 60, 70, 80} // without those of 35 and 75
	if len(got) != len(want) {
		t.Fatalf("%v, want %v", got, want)
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("%v, want %v", got, want)
		}
	}
}

// TestSpreadQuantilesInterpolate: of weight that is even over a step, the share p lies
// below the p-th part of the step.
func TestSpreadQuantilesInterpolate(t *testing.T) {
	var s spread
	s.addAt(10, 4)
	q := s.quantiles([3]float64{0.25, 0.5, 1})
	for i, want := range []float64{307.5, 315, 330} {
		near(t, "quantile", q[i].Seconds(), want, 0.01)
	}
}
