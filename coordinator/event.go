package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Event is something that a Room is told. Events that residents cause carry
// the person and home that the caller has already authenticated.
type Event interface{ roomEvent() }

// The events of a room.
type (
	// Measured is one reading of a machine's meter.
	Measured struct {
		Machine MachineID
		Reading cycle.Reading
	}
	// Tick lets deadlines that are due take effect.
	Tick struct{}
	// Founded is the first event of a room: the seed rules are in force from now on.
	Founded struct{}
	// Reopened says that the program was not running since Since.
	Reopened struct{ Since time.Time }

	// Join puts a turn in the queue.
	Join struct {
		Person   PersonID
		Home     HomeID
		Need     queue.Need
		Wishes   queue.Wishes
		DryAfter bool
		// LeaveAtClosing is the choice of AtClosing, made when joining.
		LeaveAtClosing bool
		// Guest: of the home's guests, who have fewer turns at a time.
		Guest bool
		// By is the manager who takes the turn for somebody without a phone; empty: nobody.
		By PersonID
	}
	// Leave ends a waiting or called turn.
	Leave struct {
		Turn   TurnID
		Person PersonID
		Home   HomeID
	}
	// AtClosing chooses what happens to a turn that is not served before the room
	// closes: it leaves the queue, or waits for the morning.
	AtClosing struct {
		Turn   TurnID
		Person PersonID
		Home   HomeID
		Leave  bool
	}
	// LetNext lets the next eligible turn go first.
	LetNext struct {
		Turn   TurnID
		Person PersonID
		Home   HomeID
	}
	// OnMyWay says that a called resident is coming.
	OnMyWay struct {
		Turn   TurnID
		Person PersonID
		Home   HomeID
	}
	// NotNow keeps a turn's place but does not call it before Until.
	NotNow struct {
		Turn   TurnID
		Person PersonID
		Home   HomeID
		Until  time.Time
	}
	// Claim says that the load in a machine is the person's.
	Claim struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
	}
	// NotMe says that the start on the machine held for the person was not theirs.
	NotMe struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		// Load, here and below, may name a load of the person's instead of the
		// machine: what a notice says about it is not taken for one put in since.
		Load LoadID
	}
	// Collect says that a machine's drum is empty. Person is empty for a visitor
	// without an account; OnTable means that a stranger's load was put on the table.
	Collect struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		OnTable bool
		Load    LoadID
	}
	// MoreTime asks once for more time to collect the person's finished load.
	MoreTime struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		Load    LoadID
	}
	// DryAfter books a dryer behind the person's wash that is running in a machine.
	DryAfter struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
	}
	// OfferShare lets the owner of a load invite a neighbour of another home to share
	// it, by a one-time code of which the room keeps the hash only.
	OfferShare struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		Hash    string
	}
	// ShareLoad takes such an offer.
	ShareLoad struct {
		Hash   string
		Person PersonID
		Home   HomeID
	}
	// StillInside contradicts a report that the person's load was collected.
	StillInside struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		Load    LoadID
	}
	// Fetched says that a load was taken from the table: by its owner or their home,
	// by a manager, or by any resident where nobody knows whose it is. A manager may say
	// so of all that were forgotten there: Load is not looked at then.
	Fetched struct {
		Load               LoadID
		Person             PersonID
		Home               HomeID
		Manager, Forgotten bool
	}
	// Door says how the door of a machine stands, from a contact at its meter. A
	// state that is not new changes nothing.
	Door struct {
		Machine MachineID
		Open    bool
	}
	// ReportFault warns about a machine.
	ReportFault struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
		Text    string
	}
	// TakeOut takes a machine out of service (a manager's act).
	TakeOut struct {
		Machine MachineID
		Person  PersonID
		Text    string
	}
	// PutBack puts it into service again, and clears reported faults.
	PutBack struct {
		Machine MachineID
		Person  PersonID
	}
	// ForgetLearned makes what was learned about a machine's power as new, for one
	// that was repaired or replaced.
	ForgetLearned struct {
		Machine MachineID
		Person  PersonID
	}
	// LookedAfter says that a manager looked after a machine which wears: it was
	// cleaned or mended. Text, which may be empty, says what was done.
	LookedAfter struct {
		Machine MachineID
		Person  PersonID
		Text    string
	}
	// ByHand switches running by hand, for a machine whose meter is broken.
	ByHand struct {
		Machine MachineID
		Person  PersonID
		On      bool
	}
	// StartByHand and EndByHand are taps at a machine that is run by hand.
	StartByHand struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
	}
	EndByHand struct {
		Machine MachineID
		Person  PersonID
		Home    HomeID
	}
	// SetRules replaces the house rules; history keeps those it was made under.
	SetRules struct {
		Person PersonID
		Rules  Rules
		// Version is the one that the change was made from; 0: whichever is in force.
		Version int
	}
	// NoteWalkUp says that a manager has seen that a machine was started out of turn.
	NoteWalkUp struct {
		Machine MachineID
		Person  PersonID
	}
	// HoldLonger says whether machines are kept longer for a home (a manager's act);
	// it is a change of the house rules.
	HoldLonger struct {
		Person PersonID
		Home   HomeID
		On     bool
	}
	// MovedOut ends the turns of a person or of a whole home, and makes their loads unclaimed.
	MovedOut struct {
		Person PersonID // empty: the whole home
		Home   HomeID
		// TurnsOnly: what waits in the queue ends, loads and the turns they used stay.
		TurnsOnly bool
	}
	// Merged gives what is a person's, or a whole home's, to another: who signed up twice.
	Merged struct {
		Person PersonID // empty: the whole home
		Home   HomeID
		// Into takes over from Person, and is of IntoHome.
		Into     PersonID
		IntoHome HomeID
	}
	// OpenHomes says whether residents name their home themselves, or join by its
	// code (a manager's act); it is a change of the house rules.
	OpenHomes struct {
		Person PersonID
		On     bool
	}
)

func (Measured) roomEvent()      {}
func (Tick) roomEvent()          {}
func (Founded) roomEvent()       {}
func (Reopened) roomEvent()      {}
func (Join) roomEvent()          {}
func (Leave) roomEvent()         {}
func (AtClosing) roomEvent()     {}
func (LetNext) roomEvent()       {}
func (OnMyWay) roomEvent()       {}
func (NotNow) roomEvent()        {}
func (Claim) roomEvent()         {}
func (NotMe) roomEvent()         {}
func (Collect) roomEvent()       {}
func (MoreTime) roomEvent()      {}
func (DryAfter) roomEvent()      {}
func (OfferShare) roomEvent()    {}
func (ShareLoad) roomEvent()     {}
func (StillInside) roomEvent()   {}
func (Fetched) roomEvent()       {}
func (Door) roomEvent()          {}
func (ReportFault) roomEvent()   {}
func (TakeOut) roomEvent()       {}
func (PutBack) roomEvent()       {}
func (ForgetLearned) roomEvent() {}
func (LookedAfter) roomEvent()   {}
func (ByHand) roomEvent()        {}
func (StartByHand) roomEvent()   {}
func (EndByHand) roomEvent()     {}
func (SetRules) roomEvent()      {}
func (NoteWalkUp) roomEvent()    {}
func (HoldLonger) roomEvent()    {}
func (MovedOut) roomEvent()      {}
func (Merged) roomEvent()        {}
func (OpenHomes) roomEvent()     {}

// Reply is what a step tells its caller besides the changes.
type Reply struct {
	Turn TurnID // the turn that Join made
	Load LoadID // the load that Claim, Collect and the like were about
}
