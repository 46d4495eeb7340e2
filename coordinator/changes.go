package coordinator

import (
	"encoding/json"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// Unit is what has a sequence of its own in the store: a room, or Building.
type Unit = RoomID

// Building is the unit of people, homes, sessions and the rest that no room owns.
const Building Unit = ""

// Row is one record of a unit's state. A nil Value deletes it.
type Row struct {
	Table, Key string
	Value      []byte
}

// Fact is one line of history: what happened, when, to which machine.
type Fact struct {
	// At is the now of the step.
	At   time.Time
	Kind FactKind
	// Machine is empty where the fact is not about one.
	Machine MachineID `json:",omitempty"`
	// Person and Home are blanked when history by person has been kept long enough.
	Person PersonID `json:",omitempty"`
	Home   HomeID   `json:",omitempty"`
	Turn   TurnID   `json:",omitempty"`
	// By is the turn that was called before Turn, and Why (FactOvertaken).
	By   TurnID           `json:",omitempty"`
	Why  queue.Overtaking `json:",omitempty"`
	Load LoadID           `json:",omitempty"`
	// Cycle is the cycle's number on its machine, for facts about cycles.
	Cycle    uint64        `json:",omitempty"`
	Start    time.Time     `json:",omitzero"`
	End      time.Time     `json:",omitzero"`
	EnergyWh float64       `json:",omitempty"`
	PeakW    float64       `json:",omitempty"`
	Wait     time.Duration `json:",omitempty"`
	Note     string        `json:",omitempty"`
	// About is what a manager's act was about: see AboutPerson and its like. Blanked as Person is.
	About string `json:",omitempty"`
}

// FactKind names what happened.
type FactKind string

// The kinds of fact.
const (
	FactJoined FactKind = "joined"
	FactLeft   FactKind = "left"   // Note: why, when its resident did not say so just now: "closing", "wash taken back", "dries where it washed", "moved out"
	FactCalled FactKind = "called" // Wait: since joining
	FactMissed FactKind = "missed"
	// FactTakenBack: a call was taken back without blame; Note says why.
	FactTakenBack FactKind = "taken-back"
	// FactForgiven: a missed call counts no more, the machine had been started in time.
	FactForgiven  FactKind = "forgiven"
	FactPassed    FactKind = "passed" // let the next one go first, or not now
	FactOnWay     FactKind = "on-way" // the called resident is coming; End: the hold's lapse
	FactStarted   FactKind = "started"
	FactWalkUp    FactKind = "walk-up" // a start with nobody called
	FactCycle     FactKind = "cycle"   // a cycle is over; Note: finished, stopped_early or presumed
	FactClaimed   FactKind = "claimed"
	FactNotMine   FactKind = "not-mine"
	FactCollected FactKind = "collected" // Wait: since told-at; Note: how
	FactShared    FactKind = "shared"    // somebody of another home has laundry in the load too
	FactFetched   FactKind = "fetched"   // a load was taken from the table; Wait: since it was put there
	FactStillIn   FactKind = "still-in"  // a report of collection was contradicted
	FactNudged    FactKind = "nudged"    // Note: step and audience
	FactFault     FactKind = "fault"
	FactOut       FactKind = "out"
	FactBack      FactKind = "back"
	FactSilent    FactKind = "silent"
	FactHeard     FactKind = "heard"
	FactSupply    FactKind = "supply" // a supply interruption began or ended; Note says which
	FactRules     FactKind = "rules"
	FactLevels    FactKind = "levels" // what was learned of a machine's power changed, or was forgotten
	FactAssumed   FactKind = "assumed-empty"
	FactForgotten FactKind = "forgotten" // a load was not collected for a day
	FactOvertook  FactKind = "overtook"  // a walk-up while somebody waited; names nobody
	// FactOvertaken: Turn waits on while By, which joined later, is called; Why says why.
	FactOvertaken FactKind = "overtaken"
	// FactSeen: a manager has seen that a load was started out of turn.
	FactSeen FactKind = "seen"
	// FactLookedAfter: a manager looked after a machine that wears; Note: what was done.
	FactLookedAfter FactKind = "looked-after"
	FactMoreTime    FactKind = "more-time" // the owner asked for more; End: until when
	FactChose       FactKind = "chose"     // a choice about a turn; Note says which
	FactTestRun     FactKind = "test-run"  // a short run that did not use up its turn
)

// MachineReading is a reading with the machine it is about.
type MachineReading struct {
	Machine MachineID
	cycle.Reading
}

// MachineCheckpoint is a detector's memory with the machine it is about.
type MachineCheckpoint struct {
	Machine MachineID
	cycle.Checkpoint
}

// ChangeSet is what one step changes: all of it is stored in one transaction, or
// none. Effects leave after the commit.
type ChangeSet struct {
	Unit Unit
	// Expect is the sequence the unit must be at; the commit moves it to
	// Expect+1. Sets that carry only Readings do not move it and are not checked.
	Expect uint64
	// At is the now of the step.
	At          time.Time
	Rows        []Row
	Checkpoints []MachineCheckpoint
	// Notices are created unless one of the same key exists.
	Notices []Notice
	// Withdraw cancels what is unsent about these subjects. Notices of the same
	// set are created after it.
	Withdraw []Subject
	Facts    []Fact
	// Readings are what was buffered up to and including the cause.
	Readings []MachineReading
}

// Moves reports whether the set changes state, not only readings.
func (c *ChangeSet) Moves() bool {
	return len(c.Rows)+len(c.Checkpoints)+len(c.Notices)+len(c.Withdraw)+len(c.Facts) > 0
}

// Put adds a row with v as JSON. v must be of a type that always encodes.
func (c *ChangeSet) Put(table, key string, v any) {
	data, err := json.Marshal(v)
	if err != nil {
		panic("coordinator: state does not encode: " + err.Error())
	}
	c.Rows = append(c.Rows, Row{Table: table, Key: key, Value: data})
}

// Drop deletes a row.
func (c *ChangeSet) Drop(table, key string) {
	c.Rows = append(c.Rows, Row{Table: table, Key: key})
}
