package coordinator

import (
	"slices"
	"time"
)

// PublicEvent is a fact as other programs are told of it. It names no person, no
// home, no turn and no load, and carries no text that somebody typed.
type PublicEvent struct {
	// ID is unique within the room, and rises.
	ID   string    `json:"id"`
	At   time.Time `json:"at"`
	Room RoomID    `json:"room"`
	Kind FactKind  `json:"kind"`
	// Machine is empty where the event is not about one.
	Machine MachineID `json:"machine,omitempty"`
	// Detail says more where there is more to say, in a word.
	Detail string `json:"detail,omitempty"`
	// Cycle, Start, End, EnergyWh and PeakW are those of a cycle that is over.
	Cycle    uint64     `json:"cycle,omitempty"`
	Start    *time.Time `json:"start,omitempty"`
	End      *time.Time `json:"end,omitempty"`
	EnergyWh *float64   `json:"energy_wh,omitempty"`
	PeakW    *float64   `json:"peak_w,omitempty"`
	// WaitS is how long it took: of a call since joining, of a collection since the
	// load was told of; seconds.
	WaitS float64 `json:"wait_s,omitempty"`
}

// publicKinds are the kinds of fact that other programs are told of, and whether
// the fact's note is a word of ours.
var publicKinds = []struct {
	kind   FactKind
	detail bool
}{
	{FactJoined, true}, {FactLeft, false}, {FactCalled, false}, {FactMissed, false}, {FactTakenBack, true}, {FactStarted, false},
	{FactWalkUp, false}, {FactCycle, true}, {FactCollected, true}, {FactFault, false}, {FactOut, false}, {FactBack, false},
	{FactSilent, false}, {FactHeard, false}, {FactSupply, true}, {FactLevels, false}, {FactAssumed, false}, {FactForgotten, false}, {FactTestRun, false},
}

// PublicKinds lists the kinds of event that other programs are told of.
func PublicKinds() []FactKind {
	out := make([]FactKind, len(publicKinds))
	for i, k := range publicKinds {
		out[i] = k.kind
	}
	return out
}

// Public is a fact of a room as other programs are told of it; ok is false when
// they are not.
func (f *StoredFact) Public(room RoomID) (ev PublicEvent, ok bool) {
	i := slices.IndexFunc(publicKinds, func(k struct {
		kind   FactKind
		detail bool
	}) bool {
		return k.kind == f.Kind
	})
	if i < 0 {
		return PublicEvent{}, false
	}
	ev = PublicEvent{ID: f.ID.String(), At: f.At.UTC(), Room: room, Kind: f.Kind, Machine: f.Machine, WaitS: f.Wait.Seconds()}
	if publicKinds[i].detail {
		ev.Detail = f.Note
	}
	if f.Kind == FactCycle {
		start, end := f.Start.UTC(), f.End.UTC()
		ev.Cycle, ev.Start, ev.End, ev.EnergyWh, ev.PeakW = f.Cycle, &start, &end, &f.EnergyWh, &f.PeakW
	}
	return ev, true
}
