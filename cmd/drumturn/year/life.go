package year

import (
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// stage is how far a load has come.
type stage uint8

const (
	wantsWash stage = iota
	washing
	washed // its wash is over, and in the washer or on the table
	wantsDry
	inDryer
	dried
	done
	gone
)

// life is what becomes of a wish.
type life struct {
	*Wish
	stage stage
	tries int // for a machine, of this stage
	// end is when its wash was over.
	end time.Time
	// Under the queue: its turn, how often it was called, and whether it is
	// past hoping for a dryer.
	turn   coordinator.TurnID
	calls  int
	undry  bool
	nudges int
}

// reason says why somebody went without.
type reason string

// The reasons.
const (
	gaveUp reason = "gave up"
	shut   reason = "room shut"
	missed reason = "missed twice"
	noSlot reason = "no slot"
)

// drum is one machine as it is, whatever the room believes.
type drum struct {
	id      coordinator.MachineID
	kind    queue.Kind
	inside  *life // whose laundry is in it
	running bool
	tape    tape // what it draws; under the queue only
}

// policy is a way to run the room.
type policy interface {
	// wishes: somebody wants to wash now. wet: their wash is out and wants a dryer.
	wishes(*life)
	wet(*life)
	// started: they pressed the button; over: the programme has ended.
	started(*life, *drum)
	over(*life, *drum)
	// fetched: they took their load out of the drum themselves.
	fetched(*life, *drum)
	// leaves: they no longer want a machine.
	leaves(*life)
	// waitsOn reports whether they stay although their patience is over.
	waitsOn(*life) bool
	// closes is when the room shuts for the night.
	closes()
}

// kind is the machine that the load wants, or is in.
func (l *life) kind() queue.Kind {
	if l.stage >= wantsDry {
		return queue.Dryer
	}
	return queue.Washer
}

// waiting reports whether the load wants a machine.
func (l *life) waiting() bool { return l.stage == wantsWash || l.stage == wantsDry }
