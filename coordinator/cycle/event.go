package cycle

import (
	"fmt"
	"time"
)

// Kind says what an Event tells.
type Kind uint8

// The kinds of event.
const (
	// Started: a cycle began at Start.
	Started Kind = iota + 1
	// PhaseBegan: the running cycle entered Phase.
	PhaseBegan
	// Finished: the cycle's programme was over at End.
	Finished
	// StoppedEarly: the cycle ended at End without completing its programme.
	StoppedEarly
	// Presumed: the cycle ended while the meter was silent; End is the last
	// instant at which it was seen to work.
	Presumed
	// Silent: nothing is known of the machine any more (since Start).
	Silent
	// Heard: the meter speaks again after Silent.
	Heard
	// Stalled: the running cycle goes on far longer than it should.
	Stalled
	// Resumed: the cycle last declared over goes on; the declaration was wrong.
	Resumed
	// Withdrawn: what was said to have started was no cycle, but somebody pressing
	// buttons or a pump that ran for a moment; there is nothing to collect.
	Withdrawn
)

var kindNames = [...]string{
	Started: "started", PhaseBegan: "phase", Finished: "finished", StoppedEarly: "stopped_early",
	Presumed: "presumed", Silent: "unknown", Heard: "heard", Stalled: "stalled", Resumed: "resumed",
	Withdrawn: "withdrawn",
}

// String returns the word that replays and logs print.
func (k Kind) String() string {
	if int(k) < len(kindNames) && kindNames[k] != "" {
		return kindNames[k]
	}
	return "?"
}

// Ends reports whether the event closes a cycle.
func (k Kind) Ends() bool { return k == Finished || k == StoppedEarly || k == Presumed }

// Event is something that the engine came to know.
type Event struct {
	Kind Kind
	// At is when the engine said it: the now of the call.
	At time.Time
	// Start is the back-dated begin of the cycle (of the silence for Silent).
	Start time.Time
	// End is the back-dated end of the programme, on events that close a cycle.
	End time.Time
	// Phase is the phase that began, on PhaseBegan.
	Phase Phase
	// EnergyWh is the energy from Start to End, Wh, on events that close a cycle.
	EnergyWh float64
	// PeakW is the highest power of the cycle, W.
	PeakW float64
}

// Phase is a part of a programme.
type Phase uint8

// The phases. After is what may follow the end: anti-crease pulses, a display that glows.
const (
	NoPhase Phase = iota
	Fill
	Heat
	Tumble
	Spin
	Pause
	CoolDown
	After
)

var phaseNames = [...]string{
	NoPhase: "none", Fill: "fill", Heat: "heat", Tumble: "tumble", Spin: "spin",
	Pause: "pause", CoolDown: "cool-down", After: "after",
}

// String returns the word for the phase.
func (p Phase) String() string {
	if int(p) < len(phaseNames) {
		return phaseNames[p]
	}
	return "?"
}

// MarshalText writes the word.
func (p Phase) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the word that String gives.
func (p *Phase) UnmarshalText(text []byte) error {
	for i, name := range phaseNames {
		if name == string(text) {
			*p = Phase(i)
			return nil
		}
	}
	return fmt.Errorf("%q is no phase of a cycle", text)
}
