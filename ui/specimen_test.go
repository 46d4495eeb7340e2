package ui

import (
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
	"drumturn/ui/specimen"
)

// The tests' rooms are the specimens.
var zone, noon = specimen.Zone, specimen.Noon

var (
	in        = specimen.In
	fullRoom  = specimen.FullRoom
	smallRoom = specimen.SmallRoom
)

func machine(id string, number int, kind queue.Kind, status coordinator.Status, since int) coordinator.MachineView {
	return specimen.Machine(id, number, kind, status, since)
}

// englishAt tells in English, in the canned rooms' zone.
func englishAt(now time.Time) teller { return teller{now: now, zone: zone, lang: words.English()} }
