package queue

import "time"

// Need is what a turn wants done with one load.
type Need uint8

// The needs. WashAndDry asks for a washer-dryer that does both in one load.
const (
	Wash Need = iota + 1
	Dry
	WashAndDry
)

var needNames = [...]string{Wash: "wash", Dry: "dry", WashAndDry: "wash-and-dry"}

// String returns the word used in forms and pages.
func (n Need) String() string { return nameOf(needNames[:], int(n)) }

// MarshalText writes the word.
func (n Need) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// UnmarshalText reads the word that String gives.
func (n *Need) UnmarshalText(text []byte) error {
	i, err := valueOf("need", needNames[:], string(text))
	*n = Need(i)
	return err
}

// State is where a turn is in its life.
type State uint8

// The states of a turn. Missed is a turn that ended because its second call
// was missed; a first miss only moves it back one place.
const (
	Waiting State = iota + 1
	Called
	Started
	Missed
	Left
)

var stateNames = [...]string{Waiting: "waiting", Called: "called", Started: "started", Missed: "missed", Left: "left"}

// String returns the word for the state.
func (s State) String() string { return nameOf(stateNames[:], int(s)) }

// MarshalText writes the word.
func (s State) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// UnmarshalText reads the word that String gives.
func (s *State) UnmarshalText(text []byte) error {
	i, err := valueOf("state of a turn", stateNames[:], string(text))
	*s = State(i)
	return err
}

// Wishes narrow the machines that a turn takes.
type Wishes struct {
	Accessible bool    `json:",omitempty"`
	Lower      bool    `json:",omitempty"` // not one stacked above another
	MinKg      float64 `json:",omitempty"` // smallest capacity that will do, kg
}

// Turn is one place in the queue.
type Turn struct {
	ID     TurnID
	Person PersonID
	Home   HomeID
	Need   Need
	Wishes Wishes `json:",omitzero"`
	State  State
	Joined time.Time
	// Calls counts the times that this turn was called, Misses those that it let lapse.
	Calls  int `json:",omitempty"`
	Misses int `json:",omitempty"`
	// Ways are the turns behind it that it lets go first. A slice that is shared:
	// it is replaced, never written to.
	Ways []Way `json:",omitempty"`
	// Returned: its call was taken back since it was last called, so that it stands
	// at the head.
	Returned bool `json:",omitempty"`
	// Tried: a short test run has given the turn back, which happens once.
	Tried bool `json:",omitempty"`
	// NotBefore is the "not now until" that the resident chose.
	NotBefore time.Time `json:",omitzero"`
	// LeaveAt is the resident's choice at closing: when set, the turn leaves at the
	// first closing after it that finds it waiting; zero, it waits for the morning.
	LeaveAt time.Time `json:",omitzero"`
	// Recall is the earliest instant of the next call after a missed one,
	// unless another turn is called before.
	Recall time.Time `json:",omitzero"`
	// DryAfter books a dryer behind this wash. Behind, on the turn so booked, is
	// the number of the load that must be ready, or soon be, before it is called.
	// Early: it was called before the load was ready, which happens once.
	DryAfter bool   `json:",omitempty"`
	Behind   uint64 `json:",omitempty"`
	Early    bool   `json:",omitempty"`
	// Carries, on the turn so booked, is the number of the same load until its end: it
	// is that laundry which is to be dried, no load more.
	Carries uint64 `json:",omitempty"`
	// Machine, CalledAt and HoldUntil are set while Called (and Machine while Started).
	Machine   MachineID `json:",omitempty"`
	CalledAt  time.Time `json:",omitzero"`
	HoldUntil time.Time `json:",omitzero"`
	// OnWay is when the called resident said that they are on their way.
	OnWay time.Time `json:",omitzero"`
}
