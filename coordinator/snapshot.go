package coordinator

import (
	"fmt"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Status is a machine's status, as people see it.
type Status uint8

// The statuses.
const (
	Free     Status = iota + 1
	Held            // kept for a called resident until Until
	Running         // Until is the expected end
	Finished        // a load inside, within grace
	Overdue         // a load inside, past grace
	Unknown         // the meter is silent: never shown as free
	Out             // out of service
)

var statusNames = [...]string{
	Free: "free", Held: "held", Running: "running", Finished: "finished",
	Overdue: "overdue", Unknown: "unknown", Out: "out",
}

// String returns the status word.
func (s Status) String() string {
	if int(s) < len(statusNames) && statusNames[s] != "" {
		return statusNames[s]
	}
	return "?"
}

// MarshalText writes the word.
func (s Status) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// EndReason says how a load's cycle ended.
type EndReason string

// The reasons.
const (
	EndDone     EndReason = "done"
	EndStopped  EndReason = "stopped-early"
	EndPresumed EndReason = "presumed" // it ended while the meter was silent
	EndReported EndReason = "as-reported"
)

// Load is laundry in a drum, from the start of its cycle until it is collected.
type Load struct {
	ID      LoadID
	Machine MachineID
	// Cycle is the number of the machine's cycle that it was last run by.
	Cycle uint64
	// Owner is empty for an unclaimed load.
	Owner PersonID `json:",omitempty"`
	Home  HomeID   `json:",omitempty"`
	// Turn is the turn that it used, if any.
	Turn      TurnID `json:",omitempty"`
	StartedAt time.Time
	// ReadyAt is the back-dated end of the cycle; ToldAt when it was declared. Zero while running.
	ReadyAt time.Time `json:",omitzero"`
	ToldAt  time.Time `json:",omitzero"`
	Reason  EndReason `json:",omitempty"`
	// Round counts how often it became ready: once, unless it was run again.
	Round int `json:",omitempty"`
	// Pause is how much later the ladder runs, for the nights and supply interruptions in it.
	Pause time.Duration `json:",omitempty"`
	// Steps is how many steps of the ladder were taken, Taken which ones (a bit each).
	Steps int    `json:",omitempty"`
	Taken uint64 `json:",omitempty"`
	// Called is the number of turns called with this load inside.
	Called int `json:",omitempty"`
	// Restarted: a step of the ladder that lapsed while the program was down was restarted.
	Restarted bool `json:",omitempty"`
	// AssumedEmpty: nobody said so, but the board may say "free, may hold a load".
	AssumedEmpty bool `json:",omitempty"`
	// Forgotten: it was not collected for a day; the managers were told again.
	Forgotten bool `json:",omitempty"`
	// FaultTold: its owner was told that something is wrong with the machine.
	FaultTold bool `json:",omitempty"`
	// Dried: the washer-dryer that washed it went on to dry it.
	Dried bool `json:",omitempty"`
	// Past is the turn that could have had the machine when nobody who was called
	// started this load; PastSince is when that was seen, PastTold that the house
	// has done about it what its rules say.
	Past      TurnID    `json:",omitempty"`
	PastSince time.Time `json:",omitzero"`
	PastTold  bool      `json:",omitempty"`
	// PastSeen: a manager has seen it.
	PastSeen bool `json:",omitempty"`
	// StopSeen: a manager took the machine out of service because it was stopped early.
	StopSeen bool `json:",omitempty"`
	// Shared are people of other homes who have laundry in it too. ShareHash is the
	// hash of the one-time code by which the owner invites another one.
	Shared    []Sharer `json:",omitempty"`
	ShareHash string   `json:",omitempty"`
	// MoreUntil is until when the owner asked for more time, MoreTold that they
	// were told that it is over. A load gets more time once.
	MoreUntil time.Time `json:",omitzero"`
	MoreTold  bool      `json:",omitempty"`
}

// Ready reports whether the load's cycle is over.
func (l *Load) Ready() bool { return !l.ReadyAt.IsZero() }

// Hold keeps a free machine for a called resident.
type Hold struct {
	Turn  TurnID
	Since time.Time
	Until time.Time
	// LoadInside: the previous load had not been collected when the turn was called.
	LoadInside bool `json:",omitempty"`
	// Ahead: the wash that the dryer is for has not ended. The hold counts from its
	// end; Until is when the call is taken back if it does not end.
	Ahead bool `json:",omitempty"`
	// OnWay: the called resident said that they are on their way.
	OnWay bool `json:",omitempty"`
	// Restarted: the hold lapsed while the program was down, and was restarted in full.
	Restarted bool `json:",omitempty"`
}

// Fault is a resident's report.
type Fault struct {
	At   time.Time
	Home HomeID
	Text string
}

// MachineView is one machine in a Snapshot.
type MachineView struct {
	Machine
	Status Status
	// Since is when the status began.
	Since time.Time
	// Until is the hold's lapse (Held) or the expected end (Running); zero when not known.
	Until time.Time
	// Low and High bound the expected end with 80 % confidence (Running).
	Low, High time.Time
	// About, AnyMinute and Stalled qualify the expected end.
	About, AnyMinute, Stalled bool
	Phase                     cycle.Phase
	// Load is the load in the drum, or nil. A copy.
	Load *Load
	// Hold is set while Held, or when a turn was called with a load inside. A copy.
	Hold *Hold
	// MayHoldLoad: free, but an uncollected load may still be inside.
	MayHoldLoad bool
	// OpenToWalkUps: free after a missed call; the queue lets anybody start it.
	OpenToWalkUps bool
	// MoreTime is how much more time the owner of the load would get now; 0: none.
	MoreTime time.Duration
	ByHand   bool
	// MeterBack: it is run by hand because its meter was not heard, which is now.
	MeterBack bool
	Faults    []Fault
	OutText   string
	// LookedAfter is when a manager last said to have looked after its wear.
	LookedAfter time.Time
	// Watts and Heard are the newest reading and its instant.
	Watts float64
	Heard time.Time
	// EnergyWh is that of the running or last cycle so far; Cycle its number.
	EnergyWh float64
	Cycle    uint64
	// Learned is what was learned of its power; nil when its engine does not learn.
	Learned *cycle.Knowledge
}

// Snapshot is a room at one instant. It is immutable: readers share it.
type Snapshot struct {
	Room RoomID
	Name string
	Zone *time.Location
	// Seq is the sequence of the last commit in it.
	Seq uint64
	At  time.Time
	// Rules are the house rules in force, RulesVersion counts their changes.
	Rules        Rules
	RulesVersion int
	// Versions are the house rules that were ever in force, oldest first, shared
	// with the room, which only appends to them.
	Versions []RulesVersion
	// Machines are in the order of their numbers.
	Machines []MachineView
	// Table are the loads on the table, oldest first.
	Table []TableLoad
	// Turns are those waiting or called (in queue order) and those started whose
	// load is not collected.
	Turns []queue.Turn
	// Forecasts are for the waiting turns, in their order. They were worked out at
	// ForecastAt, which may be before At: a turn that joined since has none yet.
	Forecasts  []Forecast
	ForecastAt time.Time
	// IfYouJoin is the forecast for a newcomer, by need.
	IfYouJoin map[queue.Need]Forecast
	// TooLong is the work for which no day's opening hours are long enough.
	TooLong []TooLong
	// SupplySince is set during a supply interruption.
	SupplySince time.Time
}

// Machine finds a machine by id; nil when there is none.
func (s *Snapshot) Machine(id MachineID) *MachineView {
	for i := range s.Machines {
		if s.Machines[i].ID == id {
			return &s.Machines[i]
		}
	}
	return nil
}

// Turn finds a turn by id; nil when there is none.
func (s *Snapshot) Turn(id TurnID) *queue.Turn {
	for i := range s.Turns {
		if s.Turns[i].ID == id {
			return &s.Turns[i]
		}
	}
	return nil
}

// EventID is the text that tells a room's snapshots apart for event streams.
func (s *Snapshot) EventID() string {
	foreseen := int64(0)
	if !s.ForecastAt.IsZero() {
		foreseen = s.ForecastAt.UnixMilli()
	}
	return fmt.Sprintf("%d.%d.%d", s.Seq, s.At.UnixMilli(), foreseen)
}
