package specimen

import (
	"time"

	"drumturn/coordinator"
)

// acts are what managers did to the building, oldest first.
func acts(from, to time.Time, fn func(coordinator.Fact) bool) error {
	for _, f := range []coordinator.Fact{
		{At: In(-6000), Kind: coordinator.FactManagerMade, Person: "ben", About: coordinator.AboutPerson("ben")},
		{At: In(-4400), Kind: coordinator.FactSignedIn, Person: "ben", Note: "passphrase"},
		{At: In(-4390), Kind: coordinator.FactBlocked, Person: "ben", About: coordinator.AboutPerson("bob")},
		{At: In(-2900), Kind: coordinator.FactMerged, Person: Manager, About: coordinator.AboutHome("h6")},
		{At: In(-2890), Kind: coordinator.FactErased, Person: Manager},
		{At: In(-1500), Kind: coordinator.FactMachineCode, Person: "zoe", About: coordinator.AboutMachine("cellar", "w1")},
		{At: In(-70), Kind: coordinator.FactSignedIn, Person: Manager, Note: "passkey"},
		{At: In(-66), Kind: coordinator.FactPasskeyCopied, Person: Manager, Note: "Old telephone"},
		{At: In(-60), Kind: coordinator.FactInvitation, Person: Manager, About: coordinator.AboutRoom("yard")},
	} {
		if !f.At.Before(from) && f.At.Before(to) && !fn(f) {
			return nil
		}
	}
	return nil
}
