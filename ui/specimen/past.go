package specimen

import (
	"context"
	"math"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/coordinator/usage/hindsight"
)

// Past is what is kept of washer 2 in the cellar: three cycles a day, one of
// which was stopped early, and an hour in which its meter was silent. Of the
// other machines nothing is kept.
type Past struct{}

// The washes of a day, by the minute of the day at which they begin.
var washesAt = [...]int{6*60 + 30, 9*60 + 20, 17 * 60}

const (
	washLength = 63 * time.Minute
	cutAfter   = 17 * time.Minute
	silentFrom = 8 * 60 // minutes of the day on which it is looked at
	silentTo   = 8*60 + 50
)

// cut reports whether a wash was stopped early: yesterday's second.
func cut(day time.Time, k int) bool { return k == 1 && day.Equal(midnight(Noon).AddDate(0, 0, -1)) }

func midnight(t time.Time) time.Time {
	y, m, d := t.In(Zone).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, Zone)
}

// wash is one cycle as a fact, before it is known whether it is in the past.
func wash(day time.Time, k int) coordinator.Fact {
	start := day.Add(time.Duration(washesAt[k]) * time.Minute)
	number := uint64(3*int(day.Sub(midnight(Noon).AddDate(0, 0, -120))/(24*time.Hour)) + k + 1)
	f := coordinator.Fact{
		Kind: coordinator.FactCycle, Machine: "w2", Cycle: number, Start: start, End: start.Add(washLength),
		EnergyWh: 688 + float64(number%7)*6, PeakW: 2050 + float64(number%5)*4, Note: cycle.Finished.String(),
	}
	if cut(day, k) {
		f.End, f.EnergyWh, f.Note = start.Add(cutAfter), 431, cycle.StoppedEarly.String()
	}
	f.At = f.End.Add(110 * time.Second)
	return f
}

// Facts implements ui.Past.
func (Past) Facts(_ context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	if first := Noon.AddDate(0, 0, -120); from.Before(first) {
		from = first
	}
	if to.After(Noon) {
		to = Noon
	}
	if unit == coordinator.Building {
		return acts(from, to, fn)
	}
	for day := midnight(from).AddDate(0, 0, -1); unit == "cellar" && day.Before(to); day = day.AddDate(0, 0, 1) {
		for k := range washesAt {
			if f := wash(day, k); !f.At.Before(from) && f.At.Before(to) && !fn(f) {
				return nil
			}
		}
	}
	return nil
}

// Readings implements ui.Past: one every ten seconds.
func (Past) Readings(_ context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	if to.After(Noon) {
		to = Noon
	}
	if first := Noon.AddDate(0, 0, -30); from.Before(first) {
		from = first
	}
	at := from.Truncate(10 * time.Second)
	if at.Before(from) {
		at = at.Add(10 * time.Second)
	}
	today := midnight(Noon)
	for ; unit == "cellar" && machine == "w2" && at.Before(to); at = at.Add(10 * time.Second) {
		if m := int(at.Sub(today) / time.Minute); m >= silentFrom && m < silentTo {
			continue
		}
		if !fn(coordinator.MachineReading{Machine: machine, Reading: cycle.Power(at, drawn(at))}) {
			break
		}
	}
	return nil
}

// drawn is the machine's power at an instant, W.
func drawn(at time.Time) float64 {
	day := midnight(at)
	for k, m := range washesAt {
		in := at.Sub(day.Add(time.Duration(m) * time.Minute))
		if in >= 0 && in < washLength && !(cut(day, k) && in >= cutAfter) {
			return washing(in)
		}
	}
	if in := at.Sub(In(-37)); in >= 0 {
		return washing(in)
	}
	return 1.6
}

// washing is the power of a wash so long after its start, W.
func washing(in time.Duration) float64 {
	m, s := in.Minutes(), int(in.Seconds())
	turn := 4.0
	if s%40 < 30 {
		turn = 170 + 25*math.Sin(float64(s)/9)
	}
	switch {
	case m < 4:
		return 12
	case m < 21:
		return 2050 + 6*math.Sin(float64(s)/50)
	case m > 33 && m < 36:
		return 3
	case m >= 55 && m < 62:
		return 330 + 90*(m-55)/7
	}
	return turn
}

// Engine implements ui.Past.
func (Past) Engine(s cycle.Settings) cycle.Engine { return cycle.New(s) }

// Meter implements ui.Past.
func (Past) Meter(name string) (hindsight.Meter, bool) {
	if name != "cellar-w2" {
		return hindsight.Meter{}, false
	}
	return hindsight.Meter{Heard: Noon.Add(-8 * time.Second), Watts: 171, Wh: math.NaN(), Taken: 251_904, Failures: 31, Refused: 2, Skew: 700 * time.Millisecond, HasSkew: true}, true
}
