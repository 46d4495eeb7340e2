package usage

import (
	"bytes"
	"encoding/json"
	"fmt"
	"time"

	"drumturn/coordinator"
)

// thisEdition is how the sums of this edition begin.
var thisEdition = fmt.Appendf(nil, `{"V":%d,`, edition)

// decodeSummary reads the stored sums of a day, of this edition or an older one.
func decodeSummary(key string, value []byte) (s Summary, err error) {
	if bytes.HasPrefix(value, thisEdition) { // nearly all: no need to look twice
		if err := json.Unmarshal(value, &s); err != nil {
			return s, damaged(key, err)
		}
		return s, nil
	}
	var head struct{ V int }
	if err := json.Unmarshal(value, &head); err != nil {
		return s, damaged(key, err)
	}
	switch {
	case head.V > edition:
		return s, newer(key, head.V)
	case head.V == edition:
		err = json.Unmarshal(value, &s)
	default:
		s, err = decodeFirst(value)
	}
	if err != nil {
		return s, damaged(key, err)
	}
	return s, nil
}

func newer(key string, v int) error {
	return fmt.Errorf("the stored sums %q are of edition %d, this program knows up to %d: use the newer program", key, v, edition)
}

// first is the first edition, which knew no hours, no opening hours, and no
// energy outside of cycles.
type first struct {
	Room                                              coordinator.RoomID
	Machine                                           coordinator.MachineID
	Date                                              Date
	Cycles, StoppedEarly, Presumed, Collected, Missed int
	Running, Blocked                                  time.Duration
	EnergyWh                                          float64
	Waits                                             []time.Duration
}

func decodeFirst(value []byte) (Summary, error) {
	var f first
	err := json.Unmarshal(value, &f)
	return Summary{V: 1, Room: f.Room, Machine: f.Machine, Date: f.Date, Figures: Figures{
		Days: 1, Cycles: f.Cycles, StoppedEarly: f.StoppedEarly, Presumed: f.Presumed, Starts: f.Cycles, Collected: f.Collected, Missed: f.Missed,
		Running: f.Running, Blocked: f.Blocked, CycleWh: f.EnergyWh, Waits: SketchOf(f.Waits...),
	}}, err
}
