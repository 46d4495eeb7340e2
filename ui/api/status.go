package api

import (
	"net/http"
	"time"

	"drumturn/coordinator"
	"drumturn/queue"
)

// Building is the building with its rooms.
type Building struct {
	Name  string  `json:"name"`
	AsOf  instant `json:"as_of"`
	Rooms []Room  `json:"rooms"`
}

// Room is a room with its machines.
type Room struct {
	ID   coordinator.RoomID `json:"id"`
	Name string             `json:"name"`
	// Zone is its IANA time zone.
	Zone string  `json:"zone"`
	AsOf instant `json:"as_of"`
	// Waiting counts the turns that wait to be called.
	Waiting int `json:"waiting"`
	// Interrupted: the supply is away.
	Interrupted bool      `json:"interrupted"`
	Machines    []Machine `json:"machines"`
}

// Machine is what a machine does.
type Machine struct {
	ID     coordinator.MachineID `json:"id"`
	Number int                   `json:"number"`
	Kind   string                `json:"kind"`
	Status string                `json:"status"`
	Since  instant               `json:"since"`
	// Until is when a hold lapses, or a running machine is expected to end; Earliest
	// and Latest bound that with 80 % confidence.
	Until    *instant `json:"until,omitempty"`
	Earliest *instant `json:"earliest,omitempty"`
	Latest   *instant `json:"latest,omitempty"`
	// MayHoldLoad: free, and a load that nobody collected may be inside.
	MayHoldLoad bool `json:"may_hold_load"`
	// ByHand: its meter is not asked; starts and ends are those that people report.
	ByHand bool `json:"by_hand"`
	// Cycle numbers its cycles; EnergyWh is that of the one that runs, or of the last.
	Cycle    uint64  `json:"cycle"`
	EnergyWh float64 `json:"energy_wh"`
	// PowerW is the newest reading, of the instant HeardAt; both are left out where
	// no meter was heard.
	PowerW  *float64 `json:"power_w,omitempty"`
	HeardAt *instant `json:"heard_at,omitempty"`
}

// instant is a time as RFC 3339 writes it, in UTC and whole seconds.
type instant time.Time

// MarshalText writes it.
func (t instant) MarshalText() ([]byte, error) {
	return []byte(time.Time(t).UTC().Truncate(time.Second).Format(time.RFC3339)), nil
}

// known is an instant, or nothing for one that is not known.
func known(t time.Time) *instant {
	if t.IsZero() {
		return nil
	}
	i := instant(t)
	return &i
}

func (s *Server) building(*http.Request) (Building, error) {
	out := Building{Name: s.o.Building, AsOf: instant(s.o.House.Now()), Rooms: []Room{}}
	for _, id := range s.o.House.Rooms() {
		if snap := s.o.House.Snapshot(id); snap != nil {
			out.Rooms = append(out.Rooms, roomOf(snap))
		}
	}
	return out, nil
}

// snapshot is the room that the address names.
func (s *Server) snapshot(r *http.Request) (*coordinator.Snapshot, error) {
	id := coordinator.RoomID(r.PathValue("room"))
	if snap := s.o.House.Snapshot(id); snap != nil {
		return snap, nil
	}
	return nil, notFound("room.unknown", "There is no room “{room}” in this building.", "room", id)
}

func (s *Server) room(r *http.Request) (Room, error) {
	snap, err := s.snapshot(r)
	if err != nil {
		return Room{}, err
	}
	return roomOf(snap), nil
}

func (s *Server) machine(r *http.Request) (Machine, error) {
	snap, err := s.snapshot(r)
	if err != nil {
		return Machine{}, err
	}
	id := coordinator.MachineID(r.PathValue("machine"))
	if m := snap.Machine(id); m != nil {
		return machineOf(m), nil
	}
	return Machine{}, notFound("machine.unknown", "There is no machine “{machine}” in this room.", "machine", id)
}

func roomOf(snap *coordinator.Snapshot) Room {
	out := Room{ID: snap.Room, Name: snap.Name, Zone: "UTC", AsOf: instant(snap.At), Interrupted: !snap.SupplySince.IsZero(), Machines: []Machine{}}
	if snap.Zone != nil {
		out.Zone = snap.Zone.String()
	}
	for i := range snap.Turns {
		if snap.Turns[i].State == queue.Waiting {
			out.Waiting++
		}
	}
	for i := range snap.Machines {
		out.Machines = append(out.Machines, machineOf(&snap.Machines[i]))
	}
	return out
}

func machineOf(m *coordinator.MachineView) Machine {
	out := Machine{
		ID: m.ID, Number: m.Number, Kind: m.Kind.String(), Status: m.Status.String(), Since: instant(m.Since), Until: known(m.Until),
		Earliest: known(m.Low), Latest: known(m.High), MayHoldLoad: m.MayHoldLoad, ByHand: m.ByHand, Cycle: m.Cycle, EnergyWh: m.EnergyWh,
	}
	if out.HeardAt = known(m.Heard); out.HeardAt != nil {
		out.PowerW = &m.Watts
	}
	return out
}
