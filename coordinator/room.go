package coordinator

import (
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// NewEngine makes the cycle engine of one machine.
type NewEngine func(cycle.Settings) cycle.Engine

// Room is the state of one laundry room. Step is the only way to change it. A
// Room is not safe for use by two goroutines.
type Room struct {
	plan    Plan
	engines []cycle.Engine
	state   roomState
	// watts is each machine's last power, zeroAt since when it is at 0 W after it
	// was not, glows whether it was seen to draw standby power. They only matter
	// for minutes and are not stored.
	watts  []float64
	zeroAt []time.Time
	glows  []bool
	// known is what each engine has learned, as of the last event; nil: ask it.
	known []*cycle.Knowledge
	// versions are the house rules that were ever in force, oldest first; only appended to.
	versions []RulesVersion

	seq   uint64    // of the last change set handed out
	out   ChangeSet // the set under construction
	dirty bool      // whether out moves the state
	reply Reply
}

// roomState is what is stored of a room, besides its detectors' checkpoints.
type roomState struct {
	Now          time.Time
	Rules        Rules
	RulesVersion int
	LastTurn     TurnID
	LastLoad     LoadID
	// Told numbers the notices that can repeat about one subject, for their keys.
	Told     int
	Turns    queue.Line
	Machines []machineState
	Loads    []Load
	Table    []TableLoad `json:",omitempty"`
	Supply   supplyState
	// QuietUntil is until when a silent meter is not told to the managers,
	// because the program itself was down.
	QuietUntil time.Time `json:",omitzero"`
	Learned    learned
}

// machineState is what a room knows of one machine beyond its wiring.
type machineState struct {
	ID    MachineID
	Since time.Time // when the present status began
	// DoorOpen is how a door contact says that the door stands; false without one.
	DoorOpen bool   `json:",omitempty"`
	Cycle    uint64 // number of the running or last cycle
	Running  bool
	Start    time.Time `json:",omitzero"` // of the running cycle
	Load     LoadID    `json:",omitempty"`
	Hold     *Hold     `json:",omitempty"`
	// Lapsed is the last hold that was missed, and whose: a start may turn out to
	// have been within it.
	Lapsed *lapsedHold `json:",omitempty"`

	Silent      bool      `json:",omitempty"`
	SilentSince time.Time `json:",omitzero"`
	SilentTold  bool      `json:",omitempty"`
	Silences    int       `json:",omitempty"`

	Out      bool      `json:",omitempty"`
	OutSince time.Time `json:",omitzero"`
	OutText  string    `json:",omitempty"`
	ByHand   bool      `json:",omitempty"`
	// ForSilence: it is run by hand because nothing was heard of it.
	ForSilence bool    `json:",omitempty"`
	Faults     []Fault `json:",omitempty"`
	// FaultCount numbers the faults ever reported, for notice keys.
	FaultCount int `json:",omitempty"`

	// Unsure is since when a running machine's detector knows nothing of it (it
	// relearns): when it then sees no work for unsureFor, the cycle is presumed over.
	Unsure time.Time `json:",omitzero"`
	// ChangedTold is the change of the machine's levels that managers were told of.
	ChangedTold time.Time `json:",omitzero"`
	// LookedAfter is when a manager last said to have looked after its wear.
	LookedAfter time.Time `json:",omitzero"`
	// Deferred is an end that waits to see whether the supply interruption explains it.
	Deferred *cycle.Event `json:",omitempty"`

	// Emptied is the load last reported collected, so that its owner can contradict.
	Emptied   *Load     `json:",omitempty"`
	EmptiedAt time.Time `json:",omitzero"`
	// EmptiedTurn is the turn that load had used.
	EmptiedTurn *queue.Turn `json:",omitempty"`
}

// NewRoom makes a room that has seen nothing, under the plan's seed rules.
func NewRoom(plan Plan, engine NewEngine) *Room {
	r := &Room{plan: plan, state: roomState{Rules: plan.Seed, RulesVersion: 1}}
	r.wire(engine)
	return r
}

// wire makes engines and states for the plan's machines, keeping the states
// that the room has already.
func (r *Room) wire(engine NewEngine) {
	old := r.state.Machines
	r.state.Machines = make([]machineState, len(r.plan.Machines))
	r.engines = make([]cycle.Engine, len(r.plan.Machines))
	r.watts = make([]float64, len(r.plan.Machines))
	r.zeroAt = make([]time.Time, len(r.plan.Machines))
	r.glows = make([]bool, len(r.plan.Machines))
	r.known = make([]*cycle.Knowledge, len(r.plan.Machines))
	for i := range r.plan.Machines {
		m := &r.plan.Machines[i]
		r.engines[i] = engine(m.Power)
		// A machine without a meter can only be run by hand.
		r.state.Machines[i] = machineState{ID: m.ID, ByHand: m.Meter == "", ForSilence: m.Meter == ""}
		for j := range old {
			if old[j].ID == m.ID {
				r.state.Machines[i] = old[j]
			}
		}
	}
}

// Plan returns the room's wiring.
func (r *Room) Plan() Plan { return r.plan }

// Seq returns the sequence of the last change set that the room handed out.
func (r *Room) Seq() uint64 { return r.seq }

// Step takes an event at now and answers with what to store. A refusal is an
// *Error and changes nothing but what had fallen due before the event. now never
// goes back; an earlier one counts as the latest seen.
//
// A change set whose Moves is false need not be stored.
func (r *Room) Step(now time.Time, ev Event) (ChangeSet, Reply, error) {
	if m, ok := ev.(Measured); ok {
		return r.Measure(now, m.Machine, m.Reading), Reply{}, nil
	}
	now = r.begin(now)
	if reopened, ok := ev.(Reopened); ok {
		r.reopen(now, reopened.Since)
	}
	r.tick(now)
	err := r.handle(now, ev)
	r.settle(now)
	return r.end(now), r.reply, err
}

// Measure takes one reading. Readings that change nothing give a set that does
// not move; the caller buffers the reading for the store either way.
func (r *Room) Measure(now time.Time, id MachineID, reading cycle.Reading) ChangeSet {
	i := r.index(id)
	if i < 0 {
		return ChangeSet{}
	}
	now = r.begin(now)
	before := r.engines[i].Status().Last.At
	if reading.At.After(before) {
		r.noticeZero(i, reading, now)
		r.hear(i, r.engines[i].Read(now, reading), now)
		if before.IsZero() {
			r.firstHeard(i)
		}
		if !r.state.Machines[i].Unsure.IsZero() {
			r.resolveUnsure(i, now)
		}
	}
	if !r.dirty {
		return ChangeSet{}
	}
	r.settle(now)
	return r.end(now)
}

// begin starts a step and returns its now.
func (r *Room) begin(now time.Time) time.Time {
	if now.Before(r.state.Now) {
		now = r.state.Now
	}
	r.state.Now = now
	r.out = ChangeSet{Unit: r.plan.ID, Expect: r.seq, At: now}
	r.dirty = false
	r.reply = Reply{}
	return now
}

// end closes the step's change set.
func (r *Room) end(now time.Time) ChangeSet {
	if r.dirty {
		r.out.Put("room", "state", &r.state)
		r.seq++
	}
	return r.out
}

// touch marks the state as changed.
func (r *Room) touch() { r.dirty = true }

// tick lets time pass for the engines. One may have several things to say, one
// after the other: an end, then silence.
func (r *Room) tick(now time.Time) {
	for i, e := range r.engines {
		for range 8 {
			if due := e.Next(); due.IsZero() || due.After(now) {
				break
			}
			r.hear(i, e.Tick(now), now)
		}
	}
}

// settle lets every deadline that is due take effect, and calls turns to the
// machines that are open. One effect may make another due at once.
func (r *Room) settle(now time.Time) {
	for range 8 {
		r.endSupply(now)
		r.endByHand(now)
		r.tellSilent(now)
		if !r.supplyOut() {
			r.lapseHolds(now)
			r.goesOnAfter(now)
			r.climb(now)
			r.reportPast(now)
			r.forgetTable(now)
			r.closeTurns(now)
			r.callTurns(now)
		}
		if due := r.Deadline(); due.IsZero() || due.After(now) {
			return
		}
	}
}

// fact adds a line of history to the set.
func (r *Room) fact(f Fact) {
	f.At = r.state.Now
	r.out.Facts = append(r.out.Facts, f)
	r.touch()
}

// tell adds a notice about machine i to the set.
func (r *Room) tell(i int, n Notice) {
	n.Made = r.state.Now
	n.Subject.Room = r.plan.ID
	n.Machine = r.plan.Machines[i].Number
	n.MachineKind = r.plan.Machines[i].Kind
	r.out.Notices = append(r.out.Notices, n)
	r.touch()
}

// again is the step of a notice that may repeat about one subject.
func (r *Room) again() int {
	r.state.Told++
	return r.state.Told
}

// withdraw cancels what is unsent about a subject of this room.
func (r *Room) withdraw(s Subject) {
	s.Room = r.plan.ID
	r.out.Withdraw = append(r.out.Withdraw, s)
	r.touch()
}

// index finds a machine's place in the plan; -1 for an unknown one.
func (r *Room) index(id MachineID) int {
	for i := range r.plan.Machines {
		if r.plan.Machines[i].ID == id {
			return i
		}
	}
	return -1
}

// load finds an open load; nil for none.
func (r *Room) load(id LoadID) *Load {
	for i := range r.state.Loads {
		if r.state.Loads[i].ID == id {
			return &r.state.Loads[i]
		}
	}
	return nil
}

// Checkpoint is a change set that stores every engine's memory, so that a
// restart need not fold all the readings since the last event again.
func (r *Room) Checkpoint(now time.Time) ChangeSet {
	now = r.begin(now)
	for i := range r.engines {
		r.checkpoint(i)
	}
	return r.end(now)
}
