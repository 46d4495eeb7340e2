package usage

import (
	"encoding/json"
	"fmt"
	"net/url"
	"strings"
	"time"

	"drumturn/coordinator"
)

// opened begins to read a stored sum: its edition, and its numbers if it is
// packed; packed is false for one that an earlier program wrote as JSON.
func opened(key string, value []byte) (v int, u unpacking, packed bool, err error) {
	if written(value) {
		var head struct{ V int }
		if err := json.Unmarshal(value, &head); err != nil {
			return 0, u, false, damaged(key, err)
		}
		v = head.V
	} else {
		u, packed = unpacking{raw: value}, true
		format := u.next()
		v = int(u.next())
		if u.err != nil || format == 0 || v <= 0 {
			return 0, u, true, damaged(key, errPacked)
		}
		if format > layout {
			v = max(v, edition+1) // only a later program lays sums out otherwise
		}
	}
	if v > edition {
		return v, u, packed, newer(key, v)
	}
	return v, u, packed, nil
}

// written reports whether a stored sum is JSON.
func written(value []byte) bool { return len(value) > 0 && value[0] == '{' }

func newer(key string, v int) error {
	return fmt.Errorf("the stored sums %q are of edition %d, this program knows up to %d: use the newer program", key, v, edition)
}

// decode reads the stored sums of a day.
func (s *Summary) decode(key string, value []byte) error {
	v, u, packed, err := opened(key, value)
	switch {
	case err != nil:
		return err
	case packed:
		var day string
		*s = Summary{V: v}
		s.Room, s.Machine, day = placeIn(key)
		s.take(&u)
		if err = u.end(); err == nil {
			err = s.Date.UnmarshalText([]byte(day))
		}
	case v < hoursKnown:
		*s, err = decodeFirst(value)
	default:
		*s = Summary{}
		err = json.Unmarshal(value, s)
	}
	if err != nil {
		return damaged(key, err)
	}
	return nil
}

// decode reads the stored sums of a month.
func (m *MonthSum) decode(key string, value []byte) error {
	v, u, packed, err := opened(key, value)
	switch {
	case err != nil:
		return err
	case packed:
		var month string
		*m = MonthSum{V: v}
		m.Room, m.Machine, month = placeIn(strings.TrimPrefix(key, monthsOf))
		m.take(&u)
		if err = u.end(); err == nil {
			m.Month, err = ParseMonth(month)
		}
	default:
		*m = MonthSum{}
		err = json.Unmarshal(value, m)
	}
	if err != nil {
		return damaged(key, err)
	}
	return nil
}

// addStored adds the stored sums by home of a day or month.
func (h *homeSums) addStored(key string, value []byte) error {
	_, u, packed, err := opened(key, value)
	if err != nil {
		return err
	}
	if packed {
		if h.add(&u); u.end() != nil {
			return damaged(key, errPacked)
		}
		return nil
	}
	var o homeSums
	if err := json.Unmarshal(value, &o); err != nil {
		return damaged(key, err)
	}
	h.take(&o)
	return nil
}

// placeIn takes the key of a day, or that of a month behind its beginning, apart.
func placeIn(key string) (room coordinator.RoomID, machine coordinator.MachineID, date string) {
	name, rest, _ := strings.Cut(key, "/")
	escaped, date, _ := strings.Cut(rest, "/")
	plain, err := url.PathUnescape(escaped)
	if err != nil {
		plain = escaped
	}
	return coordinator.RoomID(name), coordinator.MachineID(plain), date
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
