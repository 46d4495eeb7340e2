package cycle

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestLastRunBeforeAnyHistory(t *testing.T) {
	// 75 and 60 minutes are common practice, no source.
	for _, c := range []struct {
		set    Settings
		length time.Duration
	}{
		{Settings{Washer: true}, 75 * time.Minute},
		{Settings{Dryer: true}, 60 * time.Minute},
		{Settings{Washer: true, Dryer: true}, 135 * time.Minute},
		{Settings{}, 75 * time.Minute},
	} {
		var l LastRun
		e := l.Remaining(c.set, 15*time.Minute)
		if e.Median != c.length-15*time.Minute || !e.About || e.Overdue {
			t.Errorf("%+v: %+v", c.set, e)
		}
		if e.Low >= e.Median/2 || e.High <= e.Median*3/2 {
			t.Errorf("%+v: [%v, %v] claims to know more than it does", c.set, e.Low, e.High)
		}
	}
}

func TestLastRun(t *testing.T) {
	var l LastRun
	l.Keep(90 * time.Minute)
	l.Keep(60 * time.Minute)
	e := l.Remaining(Settings{Washer: true}, 20*time.Minute)
	if e.Median != 40*time.Minute || e.About || e.Overdue || e.High < 70*time.Minute {
		t.Errorf("start + length of the last run: %+v", e)
	}
	e = l.Remaining(Settings{Washer: true}, 75*time.Minute)
	if e.Median != 0 || e.Low != 0 || !e.Overdue || e.High < 15*time.Minute {
		t.Errorf("past the last run, the one before went on for 15 minutes more: %+v", e)
	}
	e = l.Remaining(Settings{Washer: true}, 5*time.Hour)
	if e.Median != 0 || !e.Overdue || e.High != anyMinute {
		t.Errorf("past all runs: %+v", e)
	}
}

func TestLastRunKeepsABoundedHistory(t *testing.T) {
	var l LastRun
	for i := range 100 {
		l.Keep(time.Duration(i+1) * time.Minute)
	}
	if len(l.Lengths) != lastRunKeeps || l.Lengths[0] != 69*time.Minute || l.Lengths[lastRunKeeps-1] != 100*time.Minute {
		t.Errorf("kept %v", l.Lengths)
	}
	if l.shortest() != 69*time.Minute || l.Longest(Settings{}) != 100*time.Minute {
		t.Errorf("from %v to %v", l.shortest(), l.Longest(Settings{}))
	}
	if !l.has(62*time.Minute+30*time.Second) || l.has(time.Minute) {
		t.Error("within a tenth of a kept run, or not")
	}
}

// The interval is meant to hold 80 of 100 when lengths come from one distribution.
func TestLastRunInterval(t *testing.T) {
	held, asked := 0, 0
	var l LastRun
	lengths := []int{60, 92, 61, 64, 88, 59, 120, 66, 63, 70, 58, 90, 62, 61, 119, 64, 60, 89, 65, 60}
	for round := range 20 {
		for i := range lengths {
			truth := time.Duration(lengths[(i*7+round)%len(lengths)]) * time.Minute
			if e := l.Remaining(Settings{}, 0); !e.About {
				asked++
				if e.Low <= truth && truth <= e.High {
					held++
				}
			}
			l.Keep(truth)
		}
	}
	if share := float64(held) / float64(asked); share < 0.75 || share > 0.97 {
		t.Errorf("the interval holds %.2f of the truths", share)
	}
}

func TestLastRunIsOrdered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var l LastRun
		minutes := rapid.SliceOfN(rapid.IntRange(0, 500), 0, 50).Draw(t, "minutes")
		for _, m := range minutes {
			l.Keep(time.Duration(m) * time.Minute)
		}
		elapsed := time.Duration(rapid.IntRange(0, 600).Draw(t, "elapsed")) * time.Minute
		e := l.Remaining(Settings{}, elapsed)
		if e.Low < 0 || e.Median < e.Low || e.High < e.Median || e.Overdue != (e.Median == 0) {
			t.Fatalf("after %v of %v: %+v", elapsed, minutes, e)
		}
	})
}

func TestFixedRemaining(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	if _, ok := p.engine.Remaining(p.now); ok {
		t.Error("remaining of nothing")
	}
	p.power(0, time.Minute).power(300, 10*time.Minute)
	if e, ok := p.engine.Remaining(p.now); !ok || !e.About || e.Median != 65*time.Minute+10*time.Second {
		t.Errorf("first cycle: %+v, %v", e, ok)
	}
	p.power(300, 30*time.Minute).power(0, 5*time.Minute)
	if _, ok := p.engine.Remaining(p.now); ok {
		t.Error("remaining after the end")
	}
	p.power(300, 10*time.Minute)
	if e, ok := p.engine.Remaining(p.now); !ok || e.About || e.Median != 30*time.Minute+10*time.Second {
		t.Errorf("second cycle: %+v, %v", e, ok)
	}
	if e, _ := p.engine.Remaining(p.now.Add(time.Hour)); !e.Overdue || e.Median != 0 {
		t.Errorf("past the length of the last run: %+v", e)
	}
}
