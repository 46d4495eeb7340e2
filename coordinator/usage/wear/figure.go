package wear

import (
	"encoding/json"
	"fmt"
	"math"
	"time"
)

// Figure is something that is measured of each cycle and shows wear.
type Figure uint8

// The figures, with their units.
const (
	// Length is how long the programme took, minutes: the drying time of a dryer.
	Length Figure = iota
	// Heating is how long the heater was on, minutes.
	Heating
	// Energy is that of the whole cycle, kWh.
	Energy
	// Spin is the power at the end of the spin, W.
	Spin
	// Standby is what the machine draws when it has long been done, W.
	Standby
	figures
)

var figureNames = [figures]string{Length: "length", Heating: "heating", Energy: "energy", Spin: "spin", Standby: "standby"}

// Figures lists all of them in order.
func Figures() []Figure { return []Figure{Length, Heating, Energy, Spin, Standby} }

// String returns the figure's word, as it is stored and as messages are keyed by it.
func (f Figure) String() string {
	if f < figures {
		return figureNames[f]
	}
	return "?"
}

// MarshalText writes the word.
func (f Figure) MarshalText() ([]byte, error) { return []byte(f.String()), nil }

// UnmarshalText reads the word that String gives.
func (f *Figure) UnmarshalText(text []byte) error {
	for _, g := range Figures() {
		if g.String() == string(text) {
			*f = g
			return nil
		}
	}
	return fmt.Errorf("%q is no figure of wear: use one of %v", text, figureNames)
}

// Of reports whether a figure says something about machines that wash, or dry.
// A dryer has no spin. How long a wash takes is set by its programme, and how
// much water it must heat by the season, so a washer's length is not watched.
func (f Figure) Of(washes, dries bool) bool {
	switch f {
	case Length:
		return dries
	case Heating, Spin:
		return washes
	}
	return true
}

// Cycle is what was measured of one cycle that ran to its end.
type Cycle struct {
	// Number is the cycle's on its machine.
	Number     uint64
	Start, End time.Time
	// PeakW is the highest power, W.
	PeakW float64
	// Value holds each figure in its unit; NaN where it could not be measured.
	Value [figures]float64
}

// unmeasured is a cycle none of whose figures is known.
func unmeasured(number uint64, start, end time.Time) Cycle {
	c := Cycle{Number: number, Start: start, End: end}
	for f := range c.Value {
		c.Value[f] = math.NaN()
	}
	return c
}

// stored is a Cycle as JSON: figures that are not known are left out, for JSON
// has no word for them.
type stored struct {
	Number uint64             `json:"n"`
	Start  time.Time          `json:"from"`
	End    time.Time          `json:"to"`
	PeakW  float64            `json:"peak,omitempty"`
	Value  map[string]float64 `json:"of,omitempty"`
}

// MarshalJSON implements json.Marshaler.
func (c Cycle) MarshalJSON() ([]byte, error) {
	s := stored{Number: c.Number, Start: c.Start.UTC(), End: c.End.UTC(), PeakW: c.PeakW, Value: map[string]float64{}}
	for _, f := range Figures() {
		if v := c.Value[f]; !math.IsNaN(v) && !math.IsInf(v, 0) {
			s.Value[f.String()] = v
		}
	}
	return json.Marshal(s)
}

// UnmarshalJSON implements json.Unmarshaler. Figures of a later edition are left out.
func (c *Cycle) UnmarshalJSON(text []byte) error {
	var s stored
	if err := json.Unmarshal(text, &s); err != nil {
		return fmt.Errorf("a measured cycle does not decode: %w", err)
	}
	*c = unmeasured(s.Number, s.Start, s.End)
	c.PeakW = s.PeakW
	for _, f := range Figures() {
		if v, ok := s.Value[f.String()]; ok {
			c.Value[f] = v
		}
	}
	return nil
}
