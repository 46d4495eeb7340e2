package coordinator

import (
	"fmt"
	"time"

	"drumturn/queue"
)

// Tariff is the price of energy from a date on. Prices are in millionths of the
// currency's unit, so that they are exact: 320000 is 0.32 EUR.
type Tariff struct {
	// From is the first local day on which it holds; zero: since ever.
	From Date `json:",omitzero"`
	// Currency is an ISO 4217 code.
	Currency string
	// MicrosPerKWh is the price of a kilowatt-hour outside of all windows.
	MicrosPerKWh int64
	// Windows are times of the week or year with another price. Where two hold at
	// once, the first in the list counts.
	Windows []TariffWindow `json:",omitempty"`
	// StandingMicros is what is charged for every StandingPer, whatever is used.
	StandingMicros int64     `json:",omitempty"`
	StandingPer    PerPeriod `json:",omitempty"`
	// Rounding is how an amount is brought to the currency's decimals.
	Rounding Rounding `json:",omitempty"`
	// CyclePrices are what a cycle costs whoever pays at the machine. They are told
	// as they are; nothing is reckoned with them.
	CyclePrices []CyclePrice `json:",omitempty"`
}

// TariffWindow is a stretch of the day, on some days of the week, in some part
// of the year, with a price of its own.
type TariffWindow struct {
	// Name is what people read: "night".
	Name         string
	MicrosPerKWh int64
	// Days of the week; none: every day.
	Days []time.Weekday `json:",omitempty"`
	// From and To are local times of day, NoClock both for the whole day. A window
	// whose To is not after its From goes on past midnight, and belongs to the day
	// on which it begins.
	From, To queue.Clock
	// SeasonFrom and SeasonTo are the first and the last day of the year, both
	// included; zero both for the whole year. A season may span the new year.
	SeasonFrom, SeasonTo YearDay
}

// CyclePrice is what one cycle of a machine costs.
type CyclePrice struct {
	Room    RoomID
	Machine MachineID
	Micros  int64
}

// YearDay is a day of every year.
type YearDay struct {
	Month time.Month
	Day   int
}

// String is the day like "10-31", month first.
func (d YearDay) String() string { return fmt.Sprintf("%02d-%02d", int(d.Month), d.Day) }

// Valid reports whether there is such a day in some year.
func (d YearDay) Valid() bool {
	t := time.Date(2028, d.Month, d.Day, 12, 0, 0, 0, time.UTC) // a leap year
	return t.Month() == d.Month && t.Day() == d.Day
}

func (d YearDay) ordinal() int { return int(d.Month)*32 + d.Day }

// PerPeriod is how often a standing charge comes.
type PerPeriod uint8

// The periods. A part of a month or year costs its share of the days.
const (
	PerMonth PerPeriod = iota
	PerDay
	PerYear
)

var perNames = map[PerPeriod]string{PerMonth: "month", PerDay: "day", PerYear: "year"}

// String returns the word used in building files; "" for what is none.
func (p PerPeriod) String() string { return perNames[p] }

// UnmarshalText reads the word that String gives.
func (p *PerPeriod) UnmarshalText(text []byte) error {
	return fromName(p, perNames, string(text), "no period of a standing charge: use day, month or year")
}

// MarshalText writes the word.
func (p PerPeriod) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// Rounding is what becomes of half of the smallest unit.
type Rounding uint8

// The ways to round. Only whole amounts of a report are rounded, once.
const (
	HalfUp   Rounding = iota // away from zero: the commercial way
	HalfEven                 // to the even neighbour
)

var roundingNames = map[Rounding]string{HalfUp: "half-up", HalfEven: "half-even"}

// String returns the word used in building files; "" for what is none.
func (r Rounding) String() string { return roundingNames[r] }

// UnmarshalText reads the word that String gives.
func (r *Rounding) UnmarshalText(text []byte) error {
	return fromName(r, roundingNames, string(text), "no way to round: use half-up or half-even")
}

// MarshalText writes the word.
func (r Rounding) MarshalText() ([]byte, error) { return []byte(r.String()), nil }

func fromName[V comparable](into *V, names map[V]string, text, wrong string) error {
	for v, name := range names {
		if name == text {
			*into = v
			return nil
		}
	}
	return fmt.Errorf("%q is %s", text, wrong)
}

// IsZero reports whether there is no tariff at all.
func (t *Tariff) IsZero() bool {
	return t.From.IsZero() && t.Currency == "" && t.MicrosPerKWh == 0 && len(t.Windows) == 0 && t.StandingMicros == 0 && len(t.CyclePrices) == 0
}

// Price is that of a kilowatt-hour in a window: 0 is the price outside of all
// windows, i that of the i-th. ok is false for a window that is not there.
func (t *Tariff) Price(window int) (micros int64, ok bool) {
	switch {
	case window == 0:
		return t.MicrosPerKWh, true
	case window > 0 && window <= len(t.Windows):
		return t.Windows[window-1].MicrosPerKWh, true
	}
	return 0, false
}

// CyclePrice is what a cycle of a machine costs, where one pays at the machine.
func (t *Tariff) CyclePrice(room RoomID, machine MachineID) (micros int64, ok bool) {
	for i := range t.CyclePrices {
		if c := &t.CyclePrices[i]; c.Room == room && c.Machine == machine {
			return c.Micros, true
		}
	}
	return 0, false
}

// TariffVersion is a tariff as it was set once. What was set is never changed.
type TariffVersion struct {
	// Version counts from 1.
	Version int
	Set     time.Time
	Tariff  Tariff
}

// Tariffs are all that were ever set, in the order of their versions.
type Tariffs []TariffVersion

// On is the tariff that holds on a local day: of those that have begun, the one
// that begins last; of two that begin on one day, the one set last. Nil: none.
func (t Tariffs) On(d Date) *TariffVersion {
	var best *TariffVersion
	for i := range t {
		if v := &t[i]; !d.Before(v.Tariff.From) && (best == nil || !v.Tariff.From.Before(best.Tariff.From)) {
			best = v
		}
	}
	return best
}

// Numbered is a version by its number; nil when there is none.
func (t Tariffs) Numbered(version int) *TariffVersion {
	for i := range t {
		if t[i].Version == version {
			return &t[i]
		}
	}
	return nil
}
