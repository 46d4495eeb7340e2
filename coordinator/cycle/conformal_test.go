package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestPart(t *testing.T) {
	const m = time.Minute
	for _, c := range []struct {
		elapsed, left time.Duration
		want          uint8
	}{
		{0, 60 * m, 0}, {14 * m, 46 * m, 0}, {15 * m, 45 * m, 1}, {30 * m, 30 * m, 2},
		{45 * m, 15 * m, 3}, {60 * m, 0, 3}, {600 * m, 0, 3}, {0, 0, 0},
	} {
		if got := part(c.elapsed, c.left); got != c.want {
			t.Errorf("after %v with %v left: quarter %d, want %d", c.elapsed, c.left, got, c.want)
		}
	}
}

func TestWidenKeepsALeastDistance(t *testing.T) {
	var c conformal
	below, above := c.widen(0, 0, 10*time.Minute)
	if below != 42*time.Second || above != 10*time.Minute {
		t.Errorf("%v and %v", below, above)
	}
	c.Log[2] = 0.6931471805599453 // twice as wide
	below, above = c.widen(2, 3*time.Minute, 5*time.Minute)
	if (below-6*time.Minute).Abs() > time.Second || (above-10*time.Minute).Abs() > time.Second {
		t.Errorf("twice 3 and 5 minutes are %v and %v", below, above)
	}
	if b, _ := c.widen(1, 3*time.Minute, 0); b != 3*time.Minute {
		t.Errorf("another quarter is widened too: %v", b)
	}
}

// TestConformalLearns: misses widen the quarter that they were in, hits narrow it
// slowly, and a minute after the end teaches nothing.
func TestConformalLearns(t *testing.T) {
	const m = time.Minute
	tell := func(median, below, above time.Duration) conformal {
		var c conformal
		for range 10 {
			c.say(1, median, below, above)
		}
		c.learn(60 * m)
		return c
	}
	for what, c := range map[string]struct {
		got   conformal
		wider bool
	}{
		"too early": {tell(30*m, m, m), true},
		"too late":  {tell(90*m, m, m), true},
		"held":      {tell(55*m, 20*m, 20*m), false},
	} {
		if w := c.got.Log[1] > 0; w != c.wider || c.got.Log[1] == 0 {
			t.Errorf("%s: the factor's logarithm is %v", what, c.got.Log[1])
		}
		if c.got.Log[0] != 0 || c.got.Log[2] != 0 || c.got.Log[3] != 0 {
			t.Errorf("%s: other quarters move: %v", what, c.got.Log)
		}
	}
	var c conformal
	for range 10 {
		c.say(0, 50*m, m, m)
	}
	c.learn(0)
	if c.Log != [4]float64{} {
		t.Errorf("a cycle of no length taught %v", c.Log)
	}
	c.reset()
	if len(c.Said) != 0 {
		t.Error("what was said of the last cycle stays")
	}
}

func TestConformalIsBounded(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var c conformal
		for range rapid.IntRange(1, 60).Draw(t, "cycles") {
			wide := time.Duration(rapid.IntRange(0, 200).Draw(t, "width")) * time.Minute
			median := time.Duration(rapid.IntRange(0, 200).Draw(t, "median")) * time.Minute
			for range rapid.IntRange(0, profileMost+20).Draw(t, "minutes") {
				c.say(uint8(rapid.IntRange(0, 3).Draw(t, "part")), median, wide, wide)
				if t.Failed() || len(c.Said) > profileMost {
					t.Fatalf("%d minutes kept", len(c.Said))
				}
				if len(c.Said) > 20 {
					break
				}
			}
			c.learn(time.Duration(rapid.IntRange(0, 300).Draw(t, "length")) * time.Minute)
			c.reset()
			for _, v := range c.Log {
				if !(v >= -logMost && v <= logMost) {
					t.Fatalf("%v", c.Log)
				}
			}
		}
	})
	var c conformal
	for range 2 * profileMost {
		c.say(0, 0, 0, 0)
	}
	if len(c.Said) != profileMost {
		t.Errorf("%d minutes kept", len(c.Said))
	}
}
