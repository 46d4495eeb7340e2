package year

import (
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
)

// Lengths is a law of lengths around a median: lognormal, and for a Spread of
// 0.7, say, two in three lie within a factor of two.
type Lengths struct {
	Median time.Duration
	Spread float64
}

// Habits is how people behave. Shares are 0 to 1.
type Habits struct {
	// Weekly is how many washes a home wants done in a week, on average.
	Weekly float64
	// Dries is the share of washes that want a dryer afterwards; BooksDryer is
	// the share of those whose dryer is booked with the wash.
	Dries, BooksDryer float64
	// WalksUp is the share of washes of people who never use the queue or the list:
	// they look for a machine that is free. Claims is the share of their loads that
	// they claim, Barges the share of them who start a machine that they see is held
	// for somebody, and PushesIn of those who start a free one although others wait for one.
	WalksUp, Claims, Barges, PushesIn float64
	// Walk is how long somebody who is called takes until the machine runs.
	Walk Lengths
	// Misses is the share of calls (and of booked slots) to which nobody comes.
	Misses float64
	// Late is how long after the end (or after being told of it) a load is fetched;
	// the share Forgets is fetched after Forgotten instead. From 23 to 7 o'clock nobody comes.
	Late      Lengths
	Forgets   float64
	Forgotten Lengths
	// NeverTap is the share of homes that never say that a machine is empty;
	// Taps is how often others do.
	NeverTap, Taps float64
	// Heeds is the share of nudges that bring somebody down, after Hurry.
	Heeds float64
	Hurry Lengths
	// Moves is the share of people without a call or slot who put a stranger's
	// finished load on the table, when there is no empty machine.
	Moves float64
	// Back is when somebody who came in vain tries again, Patience how long people
	// want a machine before they give up.
	Back, Patience Lengths
}

// Usual are the habits of the first half-year.
func Usual() *Habits {
	return &Habits{
		Weekly: 2.1, Dries: 0.45, BooksDryer: 0.5,
		WalksUp: 0.12, Claims: 0.4, Barges: 0.04, PushesIn: 0.3,
		Walk: Lengths{4 * time.Minute, 0.6}, Misses: 0.08,
		Late: Lengths{9 * time.Minute, 1}, Forgets: 0.05, Forgotten: Lengths{4 * time.Hour, 0.6},
		NeverTap: 0.4, Taps: 0.75, Heeds: 0.4, Hurry: Lengths{8 * time.Minute, 0.6},
		Moves: 0.35, Back: Lengths{40 * time.Minute, 0.5}, Patience: Lengths{6 * time.Hour, 0.4},
	}
}

// Careless are habits that are worse in every way: later, fewer taps, more
// missed calls and walk-ups, and a little more laundry.
func Careless() *Habits {
	h := Usual()
	h.Weekly, h.WalksUp, h.Misses = 2.3, 0.25, 0.2
	h.Late.Median, h.Forgets = 25*time.Minute, 0.1
	h.NeverTap, h.Heeds = 0.6, 0.25
	h.Walk.Median = 6 * time.Minute
	return h
}

// hourly is how keen people are on a wash at each hour of a working day and of a
// weekend, relative to the busiest.
var hourly = [2][24]float64{
	{7: 0.5, 8: 0.6, 9: 0.6, 10: 0.5, 11: 0.4, 12: 0.4, 13: 0.4, 14: 0.5, 15: 0.6, 16: 0.8, 17: 1, 18: 1, 19: 0.5},
	{7: 0.1, 8: 0.5, 9: 0.9, 10: 1, 11: 1, 12: 0.8, 13: 0.8, 14: 0.8, 15: 0.8, 16: 0.7, 17: 0.6, 18: 0.4, 19: 0.2},
}

// programmes are what is washed with, by share.
var programmes = []struct {
	share float64
	what  sim.Programme
}{{0.45, sim.Cotton40}, {0.12, sim.Cotton60}, {0.28, sim.Quick}, {0.08, sim.Eco}, {1, sim.Cold}}

// Setting is a building and its time.
type Setting struct {
	Seed                   uint64
	Homes, Washers, Dryers int
	// Born is the midnight with which it begins, in UTC; it lasts Days.
	Born time.Time
	Days int
	// Habits hold until day ChangeOn, then Changed, where that is not nil.
	Habits, Changed *Habits
	ChangeOn        int
	// Slot is the length of the slots of the booking list.
	Slot time.Duration
	// Rules changes the default house rules of the queue; nil for none.
	Rules func(*coordinator.Rules)
}

// The room opens at 7, and nothing is started after half past eight in the
// evening; twenty minutes later it shuts. Waits count opening hours only.
const (
	opensAt     = 7 * time.Hour
	lastStart   = 20*time.Hour + 30*time.Minute
	shutAt      = lastStart + 20*time.Minute
	nobodyComes = 23 * time.Hour
)

// Year is the setting of the benchmark: 40 homes, 3 washers and 2 dryers.
func Year() Setting {
	return Setting{
		Seed: 1, Homes: 40, Washers: 3, Dryers: 2, Born: time.Date(2031, 1, 6, 0, 0, 0, 0, time.UTC), Days: 365,
		Habits: Usual(), Slot: 3 * time.Hour,
	}
}

// ChangingYear is the same year in which habits change at its middle.
func ChangingYear() Setting {
	s := Year()
	s.Changed, s.ChangeOn = Careless(), 182
	return s
}

// habitsAt are those in force.
func (s *Setting) habitsAt(t time.Time) *Habits {
	if s.Changed != nil && !t.Before(s.Born.AddDate(0, 0, s.ChangeOn)) {
		return s.Changed
	}
	return s.Habits
}

// until is the end of the time in which people want something.
func (s *Setting) until() time.Time { return s.Born.AddDate(0, 0, s.Days) }
