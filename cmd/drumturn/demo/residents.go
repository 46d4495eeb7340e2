package demo

import (
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"time"

	"drumturn/coordinator"
)

// Visitor is the resident whom the person at the browser plays.
const Visitor = coordinator.PersonID("visitor")

// visitorHome is the home that the visitor lives in.
const visitorHome = 12

// resident is one invented person with habits.
type resident struct {
	id   coordinator.PersonID
	home coordinator.HomeID
	name string // of the home
	room coordinator.RoomID
	// walksUp: has no phone to hand, goes down and looks.
	walksUp bool
	// taps is the chance that they say "collected", misses that they miss a call.
	taps, misses float64
	// late is how many times as long as usual they take to collect.
	late float64
	// weekly is how many loads they wash in a week; 0 for the visitor.
	weekly float64
}

const (
	cellarHomes = 26
	gardenHomes = 9
	// washesPerHome is what a household washes in a week: 165 cycles a year in
	// Western Europe (Pakula and Stamminger 2010; number from memory).
	washesPerHome = 3.2
)

// newResidents invents the people, one to three to a home.
func newResidents(rng *rand.Rand) []*resident {
	var all []*resident
	for n := 1; n <= cellarHomes+gardenHomes; n++ {
		room := Cellar
		if n > cellarHomes {
			room = Garden
		}
		people := 1 + rng.IntN(3)
		for k := range people {
			r := &resident{
				id: coordinator.PersonID(fmt.Sprintf("resident-%d-%d", n, k+1)), home: homeID(n), name: homeName(n), room: room,
				walksUp: rng.Float64() < 0.15, taps: 0.75, misses: 0.08, late: 1, weekly: washesPerHome / float64(people),
			}
			switch pick := rng.Float64(); {
			case pick < 0.25: // hardly ever taps
				r.taps = 0.1
			case pick < 0.40: // collects late
				r.late, r.misses = 5, 0.2
			}
			all = append(all, r)
		}
	}
	return append(all, &resident{id: Visitor, home: homeID(visitorHome), name: homeName(visitorHome), room: Cellar, late: 1})
}

func homeID(n int) coordinator.HomeID { return coordinator.HomeIDFor(homeName(n)) }

func homeName(n int) string { return fmt.Sprint(n) }

// peopleEvents are how the residents came to the building at an instant, in
// order. visitorSession is the hash of the visitor's cookie. The other residents
// have sessions that no cookie opens: their hashes are noise, not hashes of anything.
func (t *Town) peopleEvents(visitorSession string, expires time.Time) []coordinator.PeopleEvent {
	var events []coordinator.PeopleEvent
	for _, plan := range t.plans {
		events = append(events, coordinator.SetInvitation{Room: plan.ID, Code: Codes()[plan.ID]})
	}
	for _, r := range t.residents {
		hash := visitorSession
		if r.id != Visitor {
			hash = t.noise()
		}
		events = append(events, coordinator.JoinBuilding{
			Room: r.room, Code: Codes()[r.room], HomeName: r.name, Open: true, NewID: r.id,
			NewHomeCode: t.noise()[:8], SessionHash: hash, Expires: expires,
		})
	}
	return events
}

// noise is 32 random octets in hex.
func (t *Town) noise() string {
	var b [32]byte
	for i := range b {
		b[i] = byte(t.rng.IntN(256))
	}
	return hex.EncodeToString(b[:])
}
