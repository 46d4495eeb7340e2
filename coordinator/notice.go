package coordinator

import (
	"strconv"
	"time"

	"drumturn/queue"
)

// NoticeKind says what a notice is about.
type NoticeKind string

// The kinds of notice.
const (
	TurnCalled   NoticeKind = "turn-called"   // a machine is held for you until Until
	TurnMissed   NoticeKind = "turn-missed"   // your hold lapsed; you moved back one place
	TurnEnded    NoticeKind = "turn-ended"    // your second call lapsed; the turn is over
	TurnReturned NoticeKind = "turn-returned" // the held machine cannot be used; you are at the head again
	TurnClosed   NoticeKind = "turn-closed"   // the room closes and the turn leaves, as you chose
	LoadBegun    NoticeKind = "load-begun"    // the machine held for you runs: yours unless you say "not me"
	LoadReady    NoticeKind = "load-ready"    // your load is done
	LoadNudge    NoticeKind = "load-nudge"    // your load still waits (Step counts)
	LoadWaiting  NoticeKind = "load-waiting"  // to the next in the queue: a load is still in the machine
	LoadLeft     NoticeKind = "load-left"     // to the manager: a load stays uncollected
	LoadMoved    NoticeKind = "load-moved"    // a neighbour put your load on the table
	LoadTaken    NoticeKind = "load-taken"    // somebody says your machine is empty
	FaultTold    NoticeKind = "fault-told"    // to the manager: a fault was reported
	MeterSilent  NoticeKind = "meter-silent"  // to the manager: a meter is silent
	// LevelsChanged, to the manager: a machine draws another power than it used to.
	LevelsChanged NoticeKind = "levels-changed"
	// MachineOut, to the manager: the reports of two homes took a machine out of service.
	MachineOut NoticeKind = "machine-out"
	// LoadFault: a fault of the machine with your load was reported; with Reason
	// "out" the machine is out of service.
	LoadFault NoticeKind = "load-fault"
	// TurnPassed: a machine that you wait for was started by somebody who was not
	// called; your place is kept.
	TurnPassed NoticeKind = "turn-passed"
	// WalkUpTold, to the manager: the same, where the house wants to know of it.
	WalkUpTold NoticeKind = "walk-up-told"
)

// Role addresses a notice to whoever has it, instead of to a person.
type Role string

// Managers are all managers of the building.
const Managers Role = "managers"

// Subject is what a notice belongs to: a load or a turn of a room (or, for
// notices to managers about a machine, that machine). Withdrawing a subject
// cancels what is unsent about it.
type Subject struct {
	Room    RoomID
	Turn    TurnID    `json:",omitempty"`
	Load    LoadID    `json:",omitempty"`
	Machine MachineID `json:",omitempty"`
}

// String is the subject as part of keys: "room/load/7", "room/turn/3" or "room/machine/2".
func (s Subject) String() string {
	switch {
	case s.Load != 0:
		return string(s.Room) + "/load/" + strconv.FormatUint(uint64(s.Load), 10)
	case s.Turn != 0:
		return string(s.Room) + "/turn/" + strconv.FormatUint(uint64(s.Turn), 10)
	default:
		return string(s.Room) + "/machine/" + string(s.Machine)
	}
}

// Thread is what a notice belongs to for the person who reads it: of one
// thread, a newer notice takes the older one's place. All about a load or a
// turn is one thread, but for faults; of a machine, each kind is one of its own,
// so that a silent meter does not hide a fault.
func (n *Notice) Thread() string {
	if n.Subject.Load == 0 && n.Subject.Turn == 0 || n.Kind == LoadFault {
		return n.Subject.String() + "/" + string(n.Kind)
	}
	return n.Subject.String()
}

// SameAddressee reports whether both are to the same person or role.
func (n *Notice) SameAddressee(o *Notice) bool { return n.To == o.To && n.Role == o.Role }

// ResidentKinds are the kinds that residents get, in the order of a wash day.
func ResidentKinds() []NoticeKind {
	return []NoticeKind{
		TurnCalled, TurnMissed, TurnEnded, TurnReturned, TurnClosed, TurnPassed, LoadBegun, LoadReady, LoadNudge, LoadWaiting, LoadMoved, LoadTaken, LoadFault,
	}
}

// ManagerKinds are the kinds that managers get.
func ManagerKinds() []NoticeKind {
	return []NoticeKind{
		LoadLeft, FaultTold, MachineOut, WalkUpTold, MeterSilent, LevelsChanged,
	}
}

// Waits reports whether quiet hours delay notices of the kind. They never delay
// what a person asked for by standing in the queue: it is of no use later.
func (k NoticeKind) Waits() bool {
	switch k {
	case TurnCalled, TurnMissed, TurnEnded, TurnReturned, TurnClosed, LoadBegun:
		return false
	}
	return true
}

// Notice is one thing to be told to one person (or to the managers), as stored
// before it is sent. Step decides that and when; package push decides how.
type Notice struct {
	Subject Subject
	Kind    NoticeKind
	// Step tells repeats of a kind about one subject apart: the step of the
	// ladder, or the count of calls.
	Step int
	// To is the person, or empty when Role is set.
	To   PersonID `json:",omitempty"`
	Role Role     `json:",omitempty"`
	// Made is the instant of the step that made it.
	Made time.Time
	// UsefulUntil is when telling it is pointless.
	UsefulUntil time.Time
	// What the text needs.
	Machine     int        // number within the room
	MachineKind queue.Kind // washer, dryer or washer-dryer
	Until       time.Time  `json:",omitzero"`  // the hold's lapse, or the expected end
	ReadyAt     time.Time  `json:",omitzero"`  // back-dated end of the cycle
	LoadInside  bool       `json:",omitempty"` // the called machine still holds a load
	Reason      string     `json:",omitempty"` // why: "stopped-early", "presumed", a fault's text
	// MoreTime is how much more time the owner of the load could ask for when it was made.
	MoreTime time.Duration `json:",omitzero"`
}

// Key identifies a notice for ever: it is created once, whatever happens.
func (n *Notice) Key() string {
	to := string(n.To)
	if to == "" {
		to = "@" + string(n.Role)
	}
	return n.Subject.String() + "/" + string(n.Kind) + "/" + strconv.Itoa(n.Step) + "/" + to
}
