package cycle

import (
	"math"
	"testing"
	"time"
)

// Six pauses at 4 W and six ends at 0 W: by hand, with a prior worth two rests.
func TestRestsWeighPausesAgainstEnds(t *testing.T) {
	var r rests
	for range 6 {
		r.pause(4)
		countRest(&r.Ends, 0, 1)
	}
	// The share of both bins in common is half of each, and an eighth, halved.
	common := (0.5 + 1.0/8) / 2
	p, e := (6+2*common)/8, 2*common/8
	for _, c := range []struct {
		w, want float64
	}{{4, p / e}, {0, e / p}, {1, 1}} {
		if got := r.favours(c.w); math.Abs(got-min(restOn, max(1.0/restMost, c.want))) > 1e-9 {
			t.Errorf("at %g W a pause is %g times likelier, want %g", c.w, got, c.want)
		}
	}
}

func TestRestsKnowNothingAtFirst(t *testing.T) {
	var r rests
	for _, w := range []float64{0, 0.3, 3, 7, 200, 30_000} {
		if got := r.favours(w); got != 1 {
			t.Errorf("with nothing seen, %g W favours a pause %g times", w, got)
		}
	}
}

func TestRestsAreBounded(t *testing.T) {
	var r rests
	for range 10_000 {
		r.pause(5)
		r.end(0)
	}
	if got := r.favours(5); got != restOn {
		t.Errorf("a power seen in pauses only favours one %g times, want %d", got, restOn)
	}
	if got := r.favours(0); got != 1.0/restMost {
		t.Errorf("a power seen at ends only favours a pause %g times, want 1/%d", got, restMost)
	}
	r.forgetEnd(200)
	if _, got := seenRests(&r.Ends, restBins-2, 1); got != 0 {
		t.Errorf("%g ends are left", got)
	}
}

func TestRestPlacesDouble(t *testing.T) {
	for _, c := range []struct {
		w, want float64
	}{{0, 0}, {0.125, 0}, {0.25, 1}, {0.5, 2}, {1, 3}, {2, 4}, {2.828427, 4.5}, {4, 5}, {16, 7}, {3000, 7}, {math.NaN(), 0}} {
		b, next := restPlace(c.w)
		if got := float64(b) + next; math.Abs(got-c.want) > 1e-6 || b+1 >= restBins {
			t.Errorf("%g W is at %g, want %g", c.w, got, c.want)
		}
	}
}

// No edge parts like from like: a hundredth of a watt makes no difference.
func TestRestsHaveNoEdges(t *testing.T) {
	var r rests
	for range 20 {
		r.pause(3)
		r.end(1)
	}
	for w := 0.05; w < 20; w += 0.01 {
		a, b := r.favours(w), r.favours(w+0.01)
		if math.Abs(math.Log(a/b)) > 1.5 { // hard bins would step by 5
			t.Errorf("%.2f W favours a pause %g times, %.2f W %g times", w, a, w+0.01, b)
		}
	}
}

// A machine whose electronics stay on in pauses, at 5 W, and switch off at the end
// waits long for a stop at 5 W near its end, and not at all long for one at 0 W.
func TestNeedFollowsTheRests(t *testing.T) {
	var p pauses
	var r rests
	h := habitOf(Settings{Washer: true})
	at := place{Near: 0.5, After: true}
	for range 20 {
		for range 8 {
			p.add(40*time.Second, place{})
			r.pause(5)
		}
		p.ended()
		r.end(0)
	}
	plain := p.need(0.02, at, h, 1)
	on, off := p.need(0.02, at, h, r.favours(5)), p.need(0.02, at, h, r.favours(0))
	if !(on > 2*plain && off < plain*2/3) {
		t.Errorf("needs %v at 5 W, %v at 0 W, %v where it is not known", on, off, plain)
	}
}
