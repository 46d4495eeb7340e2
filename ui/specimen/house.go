package specimen

import (
	"context"
	"strings"
	"time"

	"drumturn/coordinator"
)

// House is a building in which nothing happens.
type House struct {
	rooms  []*coordinator.Snapshot
	people *coordinator.People
}

// Secret is the cookie of somebody in the building.
func Secret(who coordinator.PersonID) string { return "secret-of-" + string(who) }

// NewHouse makes it. hash is how the pages keep cookies and tokens.
func NewHouse(hash func(secret string) string) *House {
	cellar := FullRoom()
	cellar.Rules.WallTouch = true
	h := &House{
		rooms: []*coordinator.Snapshot{cellar, SmallRoom(), loft(), outage(), shut()},
		people: &coordinator.People{
			Persons: map[coordinator.PersonID]coordinator.Person{}, Homes: map[coordinator.HomeID]coordinator.Home{},
			Sessions: map[string]coordinator.Session{}, Invitations: map[coordinator.RoomID]coordinator.Invitation{},
			Subscriptions: map[string]coordinator.Subscription{},
			MachineCodes:  map[coordinator.Place]coordinator.MachineCode{}, Passes: map[string]coordinator.Pass{},
			WaysIn: map[coordinator.PersonID]coordinator.WayIn{}, ManagerInvites: map[string]coordinator.ManagerInvite{},
			Tokens: tokens, Webhooks: webhooks, HookStates: hookStates,
			FirstToken: hash("token"),
		},
	}
	for _, s := range h.rooms {
		h.people.Invitations[s.Room] = coordinator.Invitation{Room: s.Room, Code: "tidewater"}
		for i := range s.Machines {
			place := coordinator.Place{Room: s.Room, Machine: s.Machines[i].ID}
			h.people.MachineCodes[place] = coordinator.MachineCode{Place: place, Code: "printed-" + string(place.Machine)}
		}
	}
	for who, home := range map[coordinator.PersonID]string{"ann": "12", "bob": "3", "cat": "5", "dan": "6", "eve": "7", "fay": "8", "zed": "9", "gil": "4", "hal": "7", "ivy": "1", "kit": "2", Manager: ""} {
		h.enrol(who, home, hash(Secret(who)))
	}
	h.managers(hash)
	zed := h.people.Persons["zed"]
	zed.Mail = coordinator.Mail{
		Address: "zed@example.org", Since: Noon.AddDate(0, -1, 0), Off: mailOff,
		Asked: coordinator.MailAsked{Address: "zed@example.net", Hash: "-", Expires: Noon.AddDate(1, 0, 0)},
	}
	h.people.Persons["zed"] = zed
	return h
}

func (h *House) enrol(who coordinator.PersonID, home, session string) {
	p := coordinator.Person{ID: who, Manager: who == Manager, Joined: Noon.AddDate(0, -2, 0)}
	if home != "" {
		p.Home, p.Name = coordinator.HomeID("h"+home), strings.ToUpper(string(p.ID[:1]))+string(p.ID[1:])
		h.people.Homes[p.Home] = coordinator.Home{ID: p.Home, Name: home, Code: "KLMN-78" + home}
	}
	h.people.Persons[who] = p
	if p.Manager {
		h.people.WaysIn[who] = coordinator.WayIn{Person: who, Passphrase: "-"}
	}
	s := coordinator.Session{Hash: session, Person: who, Expires: Noon.AddDate(1, 0, 0)}
	if who == "eve" {
		s.Made = In(-1) // after she took her turn
	}
	h.people.Sessions[session] = s
}

// guests gives a home guests, blocks somebody, and lets somebody have no phone.
func (h *House) guests() {
	until := Noon.AddDate(0, 0, 9)
	h.people.Guests = map[string]coordinator.GuestInvitation{
		"g1": {ID: "g1", Room: "cellar", Home: "h12", Code: "GUES-T234", Made: Noon, Until: until, Most: 2, Used: 1},
	}
	h.people.Persons["gus"] = coordinator.Person{ID: "gus", Home: "h12", Name: "Gus", Joined: Noon.AddDate(0, 0, -1), Guest: until}
	h.people.Sessions["gus"] = coordinator.Session{Hash: "gus", Person: "gus", Expires: until}
	h.people.Persons["wall-h5"] = coordinator.Person{ID: "wall-h5", Home: "h5", Joined: Noon.AddDate(0, 0, -4)}
	bob := h.people.Persons["bob"]
	bob.Blocked = true
	h.people.Persons["bob"] = bob
	six := h.people.Homes["h6"]
	six.Also, six.Blocked = []string{"6 left", "flat 6"}, true
	h.people.Homes["h6"] = six
	yard := h.people.Invitations["yard"]
	yard.Most, yard.Used, yard.Expires = 20, 20, until
	h.people.Invitations["yard"] = yard
}

// managers gives the manager passkeys and browsers, and a colleague.
func (h *House) managers(hash func(string) string) {
	boss := h.people.Persons[Manager]
	boss.Name = "Ada"
	h.people.Persons[Manager] = boss
	key := func(id, name string, days int) coordinator.Passkey {
		return coordinator.Passkey{ID: id, Name: name, Made: Noon.AddDate(0, -1, 0), Used: Noon.AddDate(0, 0, -days)}
	}
	copied := key("k3", "Old telephone", 40)
	copied.Suspect = true
	h.people.WaysIn[Manager] = coordinator.WayIn{
		Person: Manager, Passphrase: "-", Handle: "-", Keys: []coordinator.Passkey{key("k1", "My telephone", 1), key("k2", "Key in the drawer", 9), copied},
	}
	h.people.Persons["ben"] = coordinator.Person{ID: "ben", Name: "Ben", Manager: true, Joined: Noon.AddDate(0, -1, 0)}
	h.people.Sessions[hash(Secret(Fresh))] = coordinator.Session{Hash: hash(Secret(Fresh)), Person: Fresh, Made: In(-1), Expires: Noon.AddDate(0, 0, 30)}
	h.people.WaysIn["ben"] = coordinator.WayIn{Person: "ben", Passphrase: "-"}
	for i, device := range []string{"firefox linux", "safari iphone", "other other"} {
		v := h.people.Sessions[hash(Secret(Manager))]
		if i > 0 {
			v = coordinator.Session{Hash: hash(device), Person: Manager}
		}
		v.Made, v.Expires, v.Device, v.Where = Noon.AddDate(0, 0, -3*i-1), Noon.AddDate(0, 0, 29-3*i), device, "192.0.2.7"
		v.Seen = Noon.Add(-time.Duration(i) * 30 * time.Hour)
		h.people.Sessions[v.Hash] = v
	}
	h.guests()
	link := coordinator.ManagerInvite{Hash: hash("invite"), By: Manager, Name: "Cleo", Made: Noon.Add(-time.Hour), Expires: Noon.AddDate(0, 0, 3)}
	h.people.ManagerInvites[link.Hash] = link
}

// Rooms lists the rooms.
func (h *House) Rooms() []coordinator.RoomID {
	var out []coordinator.RoomID
	for _, s := range h.rooms {
		out = append(out, s.Room)
	}
	return out
}

// Snapshot is always the same.
func (h *House) Snapshot(room coordinator.RoomID) *coordinator.Snapshot {
	for _, s := range h.rooms {
		if s.Room == room {
			return s
		}
	}
	return nil
}

// Watch never wakes anybody.
func (h *House) Watch(coordinator.RoomID) (<-chan struct{}, func()) {
	return make(chan struct{}), func() {}
}

// still is the answer to every tap.
var still = coordinator.Refuse(coordinator.Conflict, "specimen", "These are specimen pages: nothing happens here.")

// Do refuses all but offers, which show a code and change nothing here.
func (h *House) Do(_ context.Context, _ coordinator.RoomID, ev coordinator.Event) (coordinator.Reply, error) {
	if _, ok := ev.(coordinator.OfferShare); ok {
		return coordinator.Reply{}, nil
	}
	return coordinator.Reply{}, still
}

// DoPeople is the same.
func (h *House) DoPeople(_ context.Context, ev coordinator.PeopleEvent) error {
	if _, ok := ev.(coordinator.OfferPass); ok {
		return nil
	}
	return still
}

// People are those of the building.
func (h *House) People() *coordinator.People { return h.people }

// Now is Noon.
func (h *House) Now() time.Time { return Noon }
