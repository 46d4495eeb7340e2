package meter

import (
	"math"
	"time"

	"drumturn/coordinator/cycle"
)

// Sample is one reading as it came from a meter.
type Sample struct {
	// Watts is the active power, W; NaN when the meter gives only its register.
	Watts float64
	// Wh is the meter's cumulative register, Wh; NaN when it has none.
	Wh float64
	// Stamp is the time that the payload carries; zero when it carries none. It is
	// evidence only: the time of a step is always the room's own clock.
	Stamp time.Time
	// Door is what a door contact at the meter says; NoDoor when it says nothing.
	Door Door
}

// Measures reports whether the sample is a reading of power or energy; else it
// only tells of the door.
func (s Sample) Measures() bool { return !math.IsNaN(s.Watts) || !math.IsNaN(s.Wh) }

// Power is a sample of watts alone, without a time of its own.
func Power(watts float64) Sample { return Sample{Watts: watts, Wh: math.NaN()} }

// Reading is the sample as the room takes it at now: at its stamp, or at now
// when it has none or its clock is a little fast.
func (s Sample) Reading(now time.Time) cycle.Reading {
	at := now
	if !s.Stamp.IsZero() && s.Stamp.Before(now) {
		at = s.Stamp
	}
	return cycle.Reading{At: at, Watts: s.Watts, Wh: s.Wh}
}

// The bounds of what is believed. They only catch nonsense (a wrong unit, a
// wrong register, a meter fitted backwards): a household machine draws less
// than 4 kW, a large commercial dryer less than 60 kW (common practice, no source).
const (
	// MaxWatts is the highest power that is believed, W.
	MaxWatts = 100e3
	// NoiseWatts is how far below zero a meter may stray around 0 W.
	NoiseWatts = 5
	// MaxWh is the highest register that is believed: 100 GWh, in Wh.
	MaxWh = 100e9
	// MaxAhead is how far a stamp may lie ahead of the clock.
	MaxAhead = 2 * time.Minute
)

// firstStamp is the earliest stamp that is believed: a meter's clock that was
// never set starts at 1970 or so.
var firstStamp = time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)

// Check is the one check that every reading passes. It returns the sample as it
// may be used (noise below zero is 0 W), or a *Refusal that says what is wrong
// with it and how to mend it.
func Check(meter string, s Sample, now time.Time) (Sample, error) {
	if !s.Measures() && s.Door == NoDoor {
		return s, Refuse(meter, Empty, "the reading has neither watts nor watt-hours; say in the meter's settings where they are")
	}
	if err := checkWatts(meter, s.Watts); err != nil {
		return s, err
	}
	if s.Wh < 0 || s.Wh > MaxWh {
		return s, Refuse(meter, Implausible, "a register of %g Wh is not possible; check its unit (Wh or kWh) and its place in the message", s.Wh)
	}
	if err := checkStamp(meter, s.Stamp, now); err != nil {
		return s, err
	}
	if s.Watts < 0 {
		s.Watts = 0
	}
	return s, nil
}

func checkWatts(meter string, w float64) error {
	switch {
	case w < -NoiseWatts:
		return Refuse(meter, Implausible, "%g W is below zero; the meter is fitted the wrong way round, or it is the wrong value of the message", w)
	case w > MaxWatts:
		return Refuse(meter, Implausible, "%g W is more than a machine can draw (limit %g W); check the unit and the place in the message", w, float64(MaxWatts))
	}
	return nil
}

func checkStamp(meter string, stamp, now time.Time) error {
	switch {
	case stamp.IsZero():
		return nil
	case stamp.After(now.Add(MaxAhead)):
		return Refuse(meter, StampAhead, "its time %s is %s ahead of the clock here; set the meter's clock, or leave the time out of the meter's settings",
			stamp.UTC().Format(time.RFC3339), stamp.Sub(now).Round(time.Second))
	case stamp.Before(firstStamp):
		return Refuse(meter, StampUnset, "its time %s shows that the meter's clock was never set; set it, or leave the time out of the meter's settings",
			stamp.UTC().Format(time.RFC3339))
	}
	return nil
}
