package cycle

import (
	"errors"
	"time"
)

// ErrVersion is returned by Restore for a checkpoint of another layout.
var ErrVersion = errors.New("checkpoint is of another version")

// Settings are what the building file may say about one machine's power. The
// defaults are the fixed rule (common practice, no source): a finished machine
// draws 1-2 W, so below 3 W for 3 minutes is finished and above 3 W started.
type Settings struct {
	// Dryer and Washer say what the machine can do (both for a washer-dryer).
	Washer, Dryer bool
	// IdleBelowW is the power below which the machine may be done, W.
	IdleBelowW float64
	// IdleFor is how long power must stay below IdleBelowW.
	IdleFor time.Duration
	// SilentAfter is how long without a reading until nothing is known.
	SilentAfter time.Duration
	// Doubt is the accepted chance that a declared end is wrong, 0 to 1.
	Doubt float64
	// RegisterModulusWh is the value at which the meter's register begins again
	// at 0, Wh (RegisterModulusBits, RegisterModulusDigits); zero when it never
	// rolls over, or when nobody knows: a fall then counts as a reset.
	RegisterModulusWh float64
}

// DefaultSettings is the fixed rule.
func DefaultSettings() Settings {
	return Settings{
		Washer: true, IdleBelowW: 3, IdleFor: 3 * time.Minute, SilentAfter: 10 * time.Minute, Doubt: 0.02,
	}
}
