package queue

import "time"

// Overtaking says why a turn was called before one that had joined earlier.
type Overtaking string

// The reasons, as they are stored. The first ones say what keeps the earlier turn
// from the machine; the last three, why the later one goes first.
const (
	OverUnfit    Overtaking = "cannot-use"     // its wishes do not fit the machine
	OverReserved Overtaking = "reserved"       // the machine is for other homes
	OverLater    Overtaking = "not-now"        // it asked not to be called yet
	OverWash     Overtaking = "wash-not-ready" // the wash that its dryer is for is not over
	OverLimit    Overtaking = "at-limit"       // its home has as many loads as it may
	OverClosed   Overtaking = "too-late"       // its load would not be over before closing
	OverMissed   Overtaking = "missed-call"    // it missed a call
	OverLetNext  Overtaking = "let-next"       // it let the next one go first
	OverReturned Overtaking = "call-returned"  // the later turn's call had been taken back, without blame
)

// Overtakings are all reasons.
func Overtakings() []Overtaking {
	return []Overtaking{OverUnfit, OverReserved, OverLater, OverWash, OverLimit, OverClosed, OverMissed, OverLetNext, OverReturned}
}

var overtakingOf = map[Verdict]Overtaking{
	NotAccessible: OverUnfit, NotLower: OverUnfit, TooSmall: OverUnfit, Reserved: OverReserved, AskedLater: OverLater,
	BehindWash: OverWash, RecallWait: OverMissed, LoadLimit: OverLimit, RoomClosed: OverClosed,
}

// Overtaken reports why turn k, which is about to be called to the machine, goes
// before turn e; false when it does not overtake it: e joined later, does not wait,
// or waits for other work than the machine does.
func (l Line) Overtaken(k, e int, m *Machine, h *House, now time.Time) (Overtaking, bool) {
	v := l[e].Eligible(m, h, now)
	if l[e].ID >= l[k].ID || v == NotWaiting || v == WrongKind {
		return "", false
	}
	if why, kept := overtakingOf[v]; kept {
		return why, true
	}
	if l[k].Returned && k < e {
		return OverReturned, true
	}
	why, _ := l.Yields(e, m, h, now)
	return why, true
}
