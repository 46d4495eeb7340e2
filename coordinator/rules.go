package coordinator

import (
	"fmt"
	"slices"
	"time"

	"drumturn/queue"
)

// Audience is whom a step of the ladder tells.
type Audience uint8

// The audiences.
const (
	TellOwner Audience = iota + 1
	TellNext           // the person next in the queue for the machine
	TellManager
)

var audienceNames = map[Audience]string{TellOwner: "owner", TellNext: "next", TellManager: "manager"}

// String returns the word used in building files.
func (a Audience) String() string { return audienceNames[a] }

// MarshalText writes the word.
func (a Audience) MarshalText() ([]byte, error) { return []byte(a.String()), nil }

// UnmarshalText reads the word that String gives.
func (a *Audience) UnmarshalText(text []byte) error {
	for v, name := range audienceNames {
		if name == string(text) {
			*a = v
			return nil
		}
	}
	return fmt.Errorf("%q is nobody the ladder can tell: use owner, next or manager", text)
}

// LadderStep tells Tell when a finished load is still there After its owner was told.
type LadderStep struct {
	After time.Duration
	Tell  Audience
}

// Manner says what the house does about a start with nobody called while
// somebody waited who could have had the machine. Whatever it is, the board and
// the log show such a start, without a name.
type Manner uint8

// The manners. What they do happens when the time for "not me" is over: until
// then the load may be claimed by the very person who was first in the queue.
const (
	Allowed   Manner = iota // nobody is told
	Tolerated               // the one who waited is told that their place is kept
	Reported                // the managers are told as well
)

var mannerNames = [...]string{Allowed: "allowed", Tolerated: "tolerated", Reported: "reported"}

// String returns the word used in building files; "" for what is none.
func (m Manner) String() string {
	if int(m) < len(mannerNames) {
		return mannerNames[m]
	}
	return ""
}

// MarshalText writes the word.
func (m Manner) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// UnmarshalText reads the word that String gives.
func (m *Manner) UnmarshalText(text []byte) error {
	for v, name := range mannerNames {
		if name == string(text) {
			*m = Manner(v)
			return nil
		}
	}
	return fmt.Errorf("%q is nothing that a house does about walk-ups: use allowed, tolerated or reported", text)
}

// Rules are the house rules of one room. They live in the store, versioned;
// the building file seeds them.
type Rules struct {
	// Hold is how long a called resident's machine is kept.
	Hold time.Duration
	// LongerHold is the same for the homes in LongerHoldHomes, who need more time
	// to come; never less than Hold.
	LongerHold      time.Duration
	LongerHoldHomes []HomeID // stored when empty, too: a seed may name some
	// DryCallAhead is how long before the expected end of a wash the dryer that was
	// booked behind it may be called; its hold counts from the end. 0: called at the end.
	DryCallAhead time.Duration
	// OnMyWayAdds is how much longer a machine is kept for a called resident who
	// says that they are on their way, once; 0: they only tell the others.
	OnMyWayAdds time.Duration
	// Grace is how long after the ready notice a load is not yet overdue.
	Grace time.Duration
	// Ladder is what happens while a finished load stays: rising After. The
	// ready notice to the owner is step 0 and not listed.
	Ladder []LadderStep
	// Limits are per home.
	Limits queue.Limits
	// Hours are the opening hours, local time.
	Hours queue.Hours
	// NightFrom and NightTo bound the room's night, in which the ladder pauses
	// for all but the manager; NoClock for none.
	NightFrom, NightTo queue.Clock
	// CallUncollectedAfter is when the head is called although the load is still
	// inside, counted from told-at. Zero: 10 minutes, or the grace where that is longer.
	CallUncollectedAfter time.Duration
	// AssumeEmptyAfter is when, with nobody waiting, the board says "free, may hold a load".
	AssumeEmptyAfter time.Duration
	// RecallAfter is how long a missed turn is not called again, unless another was called.
	RecallAfter time.Duration
	// NotMeWithin is how long the holder may say that a start was not theirs.
	NotMeWithin time.Duration
	// MoreTime is what the owner of a finished load gets who asks for more time,
	// once, while nobody waits for the machine; MoreTimeWaiting the same while
	// somebody does. Zero: not given.
	MoreTime, MoreTimeWaiting time.Duration
	// WalkUps is what happens about starts with nobody called while others wait.
	WalkUps Manner
	// OpenHomes lets a resident name their home themselves (honour system);
	// otherwise each home has a printed code.
	OpenHomes bool
	// WallTouch lets people without a phone join, claim and collect at the
	// room's screen, with their home's code.
	WallTouch bool
	// KeepDays is how many days history is kept by person.
	KeepDays int
	// PerHomeFigures keeps sums of use and energy for each home, and shows them to
	// the manager. Bills made of them may need a meter that the law has approved.
	PerHomeFigures bool
	// Text is what the house tells everybody on the room's page; may be empty.
	Text string `json:",omitempty"`
}

// DefaultRules are the rules of a house that says nothing. Grace and hold of 10
// to 15 minutes are common in published laundry-room rules.
func DefaultRules() Rules {
	return Rules{
		Hold:         10 * time.Minute,
		LongerHold:   20 * time.Minute,
		DryCallAhead: 3 * time.Minute,
		Grace:        10 * time.Minute,
		Ladder: []LadderStep{
			{10 * time.Minute, TellOwner},
			{15 * time.Minute, TellNext},
			{30 * time.Minute, TellManager},
		},
		Limits:           queue.Limits{TurnsPerHome: 2, LoadsPerHome: 2},
		Hours:            queue.AlwaysOpen(),
		NightFrom:        22 * 60,
		NightTo:          7 * 60,
		AssumeEmptyAfter: 3 * time.Hour,
		RecallAfter:      10 * time.Minute,
		NotMeWithin:      15 * time.Minute,
		MoreTime:         10 * time.Minute,
		WalkUps:          Allowed,
		OpenHomes:        true,
		KeepDays:         90,
	}
}

// since are the rules that came later than stored rooms: one stored before them
// takes them from its seed.
func (r *Rules) since() Rules {
	return Rules{
		MoreTime: r.MoreTime, MoreTimeWaiting: r.MoreTimeWaiting, WalkUps: r.WalkUps, LongerHold: r.LongerHold,
		LongerHoldHomes: slices.Clone(r.LongerHoldHomes), DryCallAhead: r.DryCallAhead, OnMyWayAdds: r.OnMyWayAdds, WallTouch: r.WallTouch,
		PerHomeFigures: r.PerHomeFigures, Text: r.Text,
	}
}

// HoldFor is how long a machine is kept for a called resident of a home.
func (r *Rules) HoldFor(home HomeID) time.Duration {
	if slices.Contains(r.LongerHoldHomes, home) {
		return max(r.Hold, r.LongerHold)
	}
	return r.Hold
}

// callUncollected is when the next one is called although a load may be inside, in
// a house that says nothing. Most loads that nobody reported are out of the drum by
// then; the simulated years in DEVELOPERS.md show what waiting longer costs.
const callUncollected = 10 * time.Minute

// CallWithLoadAfter is CallUncollectedAfter with its default applied.
func (r *Rules) CallWithLoadAfter() time.Duration {
	if r.CallUncollectedAfter > 0 {
		return r.CallUncollectedAfter
	}
	return max(r.Grace, callUncollected)
}
