package cycle

import (
	"math"
	"testing"
	"time"
)

// runOf is a past run with the power of each minute.
func runOf(programme int, watts ...float64) run {
	r := run{Programme: programme, Weight: 1, Length: time.Duration(len(watts)) * profileStep}
	for _, w := range watts {
		r.Codes = append(r.Codes, codeOf(w))
		r.Wh += w / 60
	}
	r.Marks = landmarks(r.Codes)
	return r
}

// minutes repeats a power.
func minutes(n int, w float64) (out []float64) {
	for range n {
		out = append(out, w)
	}
	return out
}

func course3(heat int) []float64 {
	c := append(minutes(8, 60), minutes(heat, 2000)...)
	return append(append(c, minutes(40, 120)...), minutes(6, 420)...)
}

func matched(s Settings, runs []run, watts ...float64) *matcher {
	m := &matcher{}
	m.jumpsOne, m.holds = pliant(s)
	m.begin(runs)
	for _, w := range watts {
		m.step(codeOf(w), runs)
	}
	return m
}

// expected is the mean remaining time by the weights of the known runs.
func expected(m *matcher, runs []run) time.Duration {
	var sum, total float64
	for i := range m.weight {
		for j := m.alive[i][0]; j < m.alive[i][1]; j++ {
			w := float64(m.weight[i][j])
			total += w
			sum += w * runs[i].left(j).Minutes()
		}
	}
	return time.Duration(sum / total * float64(time.Minute))
}

func TestMatcherFollowsTheSameRun(t *testing.T) {
	c := course3(15)
	runs := []run{runOf(1, c...), runOf(2, append(minutes(10, 60), minutes(20, 150)...)...)}
	for _, n := range []int{10, 25, 40, 60} {
		m := matched(washer(), runs, c[:n]...)
		want := time.Duration(len(c)-n) * time.Minute
		if got := expected(m, runs); (got - want).Abs() > 2*time.Minute {
			t.Errorf("after %d minutes %v are expected, want %v", n, got, want)
		}
		if m.of(0) < 0.9 && n > 10 {
			t.Errorf("after %d minutes the other run has weight %v", n, m.of(1))
		}
	}
}

// TestMatcherHasNoPlateauTrap: warping with an open end stops at the earliest of
// several equally good ends when the past run has a plateau, so that too long is
// said to be left (computed with R's dtw 1.23: query 2000 2000 150 150 150 against
// 2000 2000 2000 150 150 150 400 400 5 ends at 4, though 5 and 6 cost nothing
// either). Here elapsed time keeps the place.
func TestMatcherHasNoPlateauTrap(t *testing.T) {
	ref := []float64{2000, 2000, 2000, 150, 150, 150, 400, 400, 5}
	runs := []run{runOf(1, ref...)}
	m := matched(washer(), runs, 2000, 2000, 150, 150, 150)
	best, at := float32(0), -1
	for j := m.alive[0][0]; j < m.alive[0][1]; j++ {
		if m.weight[0][j] > best {
			best, at = m.weight[0][j], j+1
		}
	}
	if at < 5 {
		t.Errorf("the place is minute %d of the past run, want the end of its plateau", at)
	}
	long := []run{runOf(1, course3(15)...)}
	m = matched(washer(), long, course3(15)[:8+15+30]...)
	if got := expected(m, long); got > 18*time.Minute || got < 15*time.Minute {
		t.Errorf("on a plateau of 40 minutes, 10 before its end, %v are said to be left, want 16 min and a little, for it may last longer", got)
	}
}

// TestMatcherBridgesALongerHeat: the heat takes half as long again as ever.
func TestMatcherBridgesALongerHeat(t *testing.T) {
	runs := []run{runOf(1, course3(14)...), runOf(1, course3(16)...)}
	now := course3(23)
	m := matched(washer(), runs, now[:8+23+10]...)
	want := time.Duration(len(now)-(8+23+10)) * time.Minute
	if got := expected(m, runs); (got - want).Abs() > 4*time.Minute {
		t.Errorf("%v expected, want %v", got, want)
	}
}

// TestMatcherWeightsAreADistribution whatever comes.
func TestMatcherWeightsAreADistribution(t *testing.T) {
	runs := []run{runOf(1, course3(15)...), runOf(2, minutes(30, 150)...), {Codes: nil}, {Codes: []byte{9}, Cut: true}}
	m := matched(washer(), runs)
	for i := range 200 {
		m.step(uint8(i*37), runs)
		sum := m.novel + m.beyond
		for k := range runs {
			for j, w := range m.weight[k] {
				if w < 0 || math.IsNaN(float64(w)) {
					t.Fatalf("step %d: weight %v", i, w)
				}
				if w > 0 && (j < m.alive[k][0] || j >= m.alive[k][1]) {
					t.Fatalf("step %d: a weight outside of what is alive", i)
				}
				sum += float64(w)
			}
		}
		if sum < 0.95 || sum > 1.05 {
			t.Fatalf("step %d: weights add up to %v", i, sum)
		}
	}
}

func TestMatcherKnowsTheEnd(t *testing.T) {
	c := course3(15)
	runs := []run{runOf(1, c...)}
	near, known := matched(washer(), runs, c[:len(c)-1]...).near(nearEnd, runs)
	if near < 0.9 || known < 0.9 {
		t.Errorf("a minute before the end: near %v, known %v", near, known)
	}
	if near, _ := matched(washer(), runs, c[:20]...).near(nearEnd, runs); near > 0.05 {
		t.Errorf("in the heat: near %v", near)
	}
	if near, known := matched(washer(), nil, 100).near(nearEnd, nil); near != 0 || known != 0 {
		t.Error("nothing known")
	}
}

func TestMatcherLikest(t *testing.T) {
	c := course3(15)
	runs := []run{runOf(1, c...), runOf(2, minutes(30, 150)...)}
	m := matched(washer(), runs, c...)
	now := runOf(0, c...)
	if got := m.likest(runs, &now); got != 0 {
		t.Errorf("like run %d", got)
	}
	odd := runOf(0, minutes(200, 30)...)
	if got := m.likest(runs, &odd); got != -1 {
		t.Errorf("a run of another length and energy is like %d", got)
	}
}

func TestLandmarks(t *testing.T) {
	codes := runOf(1, course3(15)...).Codes
	got := landmarks(codes)
	want := []int{8, 23, 63}
	if len(got) != len(want) {
		t.Fatalf("landmarks %v, want %v", got, want)
	}
	for i := range want {
		if d := got[i] - want[i]; d < -1 || d > 1 {
			t.Errorf("landmarks %v, want %v", got, want)
		}
	}
	if got := landmarks(nil); got != nil {
		t.Errorf("of nothing: %v", got)
	}
	var busy []byte
	for i := range 200 {
		busy = append(busy, byte(40+150*(i/6%2)))
	}
	if got := landmarks(busy); len(got) != landmarksMost {
		t.Errorf("%d landmarks kept", len(got))
	}
}

// TestUnseenProgrammeStaysPossible: most programmes begin alike, so that however well the
// only known run fits, its end is not the only one in the interval: somebody may have
// chosen a shorter one.
func TestUnseenProgrammeStaysPossible(t *testing.T) {
	e, at := learnedWith(t, 1)
	c := newProgrammes(1).wash(at)
	var half []Reading
	for _, r := range sample(c, 10*time.Second) {
		if r.At.Before(c.start.Add(c.end.Sub(c.start) / 2)) {
			half = append(half, r)
		}
	}
	watchAll(e, half)
	now := half[len(half)-1].At
	left, ok := e.Remaining(now)
	if want := novelShare * e.mem.Past.novelty(); !ok || e.match.novel < want-1e-9 || want < 0.1 {
		t.Fatalf("a programme never seen has %v, want %v", e.match.novel, want)
	}
	if truth := c.end.Sub(now); (left.Median - truth).Abs() > 6*time.Minute {
		t.Errorf("%v left, want %v", left.Median, truth)
	}
}
