package main

import (
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// TestEngineChoice: a machine is watched by the learning engine, and by the plain
// rule where somebody has set one.
func TestEngineChoice(t *testing.T) {
	if _, learns := engine(cycle.DefaultSettings()).(*cycle.Learned); !learns {
		t.Error("by default nothing is learned")
	}
	byPower, byTime := cycle.DefaultSettings(), cycle.DefaultSettings()
	byPower.IdleBelowW = 8
	byTime.IdleFor = 5 * time.Minute
	for _, s := range []cycle.Settings{byPower, byTime} {
		if _, plain := engine(s).(*cycle.Fixed); !plain {
			t.Errorf("the rule that was set is not used: %+v", s)
		}
	}
}
