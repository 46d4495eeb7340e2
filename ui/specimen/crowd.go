package specimen

import (
	"strings"

	"drumturn/coordinator"
	"drumturn/queue"
)

// Crowd is the path below which the crowded house is served.
const Crowd = "/crowd"

// The longest names that are taken: of a room (config), of a home and a person
// (40 letters), once as words and once as one word that cannot go on in another line.
const (
	longRoom   = "Laundry room in the basement of the garden wing"
	longHome   = "Garden wing, third floor, left, flat 12a"
	oneWord    = "Attic-floor-flat-of-the-rear-building-12"
	longPerson = "Wilhelmine-Charlotte of Rautenbreitenfel"
)

// NewCrowd makes another house: one room of twenty machines, and names as long as
// they may be.
func NewCrowd(hash func(secret string) string) *House {
	h := NewHouse(hash)
	room := crowdedRoom()
	h.rooms = []*coordinator.Snapshot{room}
	h.people.Invitations = map[coordinator.RoomID]coordinator.Invitation{room.Room: {Room: room.Room, Code: "tidewater"}}
	for i := range room.Machines {
		place := coordinator.Place{Room: room.Room, Machine: room.Machines[i].ID}
		h.people.MachineCodes[place] = coordinator.MachineCode{Place: place, Code: "printed"}
	}
	for id, home := range h.people.Homes {
		home.Name, home.Also = longHome, []string{oneWord}
		if id == "h12" {
			home.Name = oneWord
		}
		h.people.Homes[id] = home
	}
	for id, p := range h.people.Persons {
		p.Name = longPerson
		if p.Home == "h12" {
			p.Name = strings.ReplaceAll(longPerson, " ", "-")
		}
		h.people.Persons[id] = p
	}
	return h
}

// crowdedRoom has each machine of the full room two or three times, and many who wait.
func crowdedRoom() *coordinator.Snapshot {
	s := FullRoom()
	s.Room, s.Name = "hall", longRoom
	few := s.Machines
	s.Machines = nil
	for i := range 20 {
		m := few[i%len(few)]
		if i >= len(few) {
			m.ID, m.Number, m.Hold, m.Load = m.ID+coordinator.MachineID(rune('a'+i)), i+1, nil, nil
			if m.Status == coordinator.Held || m.Status == coordinator.Overdue || m.Status == coordinator.Finished {
				m.Status = coordinator.Free
			}
		}
		if m.Status == coordinator.Out {
			m.OutText = strings.Repeat("The drum belt is worn and the door does not close. ", 3) + strings.Repeat("Aa", 22)
			m.Faults = []coordinator.Fault{{At: In(-60), Text: m.OutText, Home: "h12"}}
		}
		s.Machines = append(s.Machines, m)
	}
	for i := range 12 {
		s.Turns = append(s.Turns, queue.Turn{ID: queue.TurnID(20 + i), Person: "hal", Home: "h7", Need: queue.Dry, State: queue.Waiting, Joined: In(-1)})
	}
	return s
}
