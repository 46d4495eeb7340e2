package queue

import (
	"slices"
	"time"
)

// Verdict says whether a turn may be called to a machine now, and if not, why.
type Verdict uint8

// The verdicts. Only Yes lets a turn be called.
const (
	Yes Verdict = iota + 1
	NotWaiting
	WrongKind
	NotAccessible
	NotLower
	TooSmall
	Reserved
	AskedLater
	BehindWash
	RecallWait
	LoadLimit
	RoomClosed
)

var verdictNames = [...]string{
	Yes: "eligible", NotWaiting: "not waiting", WrongKind: "wrong kind of machine", NotAccessible: "not an accessible machine",
	NotLower: "stacked above another machine", TooSmall: "too small", Reserved: "reserved for other homes",
	AskedLater: "asked not to be called yet", BehindWash: "its wash is not ready", RecallWait: "missed its last call a moment ago",
	LoadLimit: "the home has as many loads in the room as the house allows", RoomClosed: "no start allowed at this hour",
}

// String is the verdict in words.
func (v Verdict) String() string { return nameOf(verdictNames[:], int(v)) }

// Serves reports whether a machine of kind k can do what a turn needs.
func (k Kind) Serves(n Need) bool {
	switch n {
	case Wash:
		return k == Washer || k == WasherDryer
	case Dry:
		return k == Dryer || k == WasherDryer
	case WashAndDry:
		return k == WasherDryer
	default:
		return false
	}
}

// Fits says whether the turn can use the machine at all, whatever the hour.
func (t *Turn) Fits(m *Machine) Verdict {
	switch {
	case !m.Kind.Serves(t.Need):
		return WrongKind
	case t.Wishes.Accessible && !m.Accessible:
		return NotAccessible
	case t.Wishes.Lower && m.Stacked:
		return NotLower
	case t.Wishes.MinKg > 0 && m.CapacityKg > 0 && m.CapacityKg < t.Wishes.MinKg:
		return TooSmall
	case len(m.ReservedFor) > 0 && !slices.Contains(m.ReservedFor, t.Home):
		return Reserved
	}
	return Yes
}

// House is what eligibility needs to know of a room besides the turn and the machine.
type House struct {
	Limits Limits
	Hours  Hours
	Zone   *time.Location
	// Loads counts the loads of each home in the room that keep others from a machine.
	Loads map[HomeID]int
	// Whose is the home that one of those loads counts for; empty for a load that
	// does not count. nil: no turn carries one over.
	Whose func(load uint64) HomeID
	// Soon says whether a load is expected to be ready so soon that the dryer booked
	// behind it may be called; nil: none is.
	Soon func(load uint64) bool
	// Length is the typical length of a cycle for a need.
	Length func(Need) time.Duration
}

// Eligible is the one place that says whether a turn may be called to a free
// machine at now.
func (t *Turn) Eligible(m *Machine, h *House, now time.Time) Verdict {
	if t.State != Waiting {
		return NotWaiting
	}
	if v := t.Fits(m); v != Yes {
		return v
	}
	switch {
	case now.Before(t.NotBefore):
		return AskedLater
	case t.Behind != 0 && (t.Early || h.Soon == nil || !h.Soon(t.Behind)):
		return BehindWash
	case now.Before(t.Recall):
		return RecallWait
	case h.Limits.LoadsPerHome > 0 && h.others(t) >= h.Limits.LoadsPerHome:
		return LoadLimit
	case !h.Hours.MayStart(now, h.Length(t.Need), h.Zone):
		return RoomClosed
	}
	return Yes
}

// others counts the loads of a turn's home, but for the one that the turn is to
// dry: where a home may have one load in the room, it may carry that to the dryer.
func (h *House) others(t *Turn) int {
	n := h.Loads[t.Home]
	if t.Carries != 0 && h.Whose != nil && h.Whose(t.Carries) == t.Home {
		n--
	}
	return n
}
