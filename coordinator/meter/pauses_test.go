package meter

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

// Whatever the settings: a pause is at least half of what it would be without
// chance, never more than the longest, and does not shrink as failures add up.
func TestPausesStayInBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chance := rapid.Float64Range(0, 0.999999).Draw(t, "chance")
		p := Pauses{
			First:   time.Duration(rapid.Int64Range(0, int64(time.Hour)).Draw(t, "first")),
			Longest: time.Duration(rapid.Int64Range(0, int64(24*time.Hour)).Draw(t, "longest")),
			Random:  func() float64 { return chance },
		}.withDefaults()
		var before time.Duration
		for failures := range 100 {
			got := p.pause(failures)
			if got > p.Longest || got < min(p.First, p.Longest)/2 || got <= 0 {
				t.Fatalf("after %d failures: %s, first %s, longest %s", failures, got, p.First, p.Longest)
			}
			if got < before {
				t.Fatalf("after %d failures: %s, before that %s", failures, got, before)
			}
			before = got
		}
		if full := p.Longest; before < full/2 {
			t.Fatalf("after 100 failures only %s of %s", before, full)
		}
	})
}

func TestPausesDefaults(t *testing.T) {
	p := Pauses{}.withDefaults()
	if p.First != time.Second || p.Longest != time.Minute {
		t.Errorf("%+v", p)
	}
	seen := map[time.Duration]bool{}
	for range 50 {
		seen[p.pause(0)] = true
	}
	if len(seen) < 2 {
		t.Error("many drivers would come back at the same moment")
	}
}
