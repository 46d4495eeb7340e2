package meter

import (
	"encoding/json"
	"fmt"
	"math"
)

// Format says where the values are in a meter's messages. The zero Format is a
// bare number of watts.
type Format struct {
	// Watts, Wh and Time are JSON Pointers (RFC 6901) such as "/power". Empty
	// means that the messages do not have it, except that with both Watts and Wh
	// empty the whole message is the number of watts.
	Watts, Wh, Time string
	// Door is where a door contact says whether the machine's door is open; empty
	// for a meter without one.
	Door string
	// Bare takes a message that is only a number as watts, too.
	Bare bool
	// WattsFactor and WhFactor turn what the meter sends into W and Wh: 1000 for a
	// register in kWh. Zero means 1.
	WattsFactor, WhFactor float64
}

// Decoder reads messages of one Format. It may be used by many goroutines.
type Decoder struct {
	watts, wh, time, door Pointer
	hasWatts, hasWh       bool
	hasTime, hasDoor      bool
	bare                  bool
	wattsFactor, whFactor float64
}

// NewDecoder checks a format.
func NewDecoder(f Format) (*Decoder, error) {
	d := &Decoder{
		hasWatts: f.Watts != "" || f.Wh == "", hasWh: f.Wh != "", hasTime: f.Time != "", hasDoor: f.Door != "", bare: f.Bare,
		wattsFactor: 1, whFactor: 1,
	}
	var err error
	if d.watts, err = ParsePointer(f.Watts); err != nil {
		return nil, fmt.Errorf("watts: %w", err)
	}
	if d.wh, err = ParsePointer(f.Wh); err != nil {
		return nil, fmt.Errorf("wh: %w", err)
	}
	if d.time, err = ParsePointer(f.Time); err != nil {
		return nil, fmt.Errorf("time: %w", err)
	}
	if d.door, err = ParsePointer(f.Door); err != nil {
		return nil, fmt.Errorf("door: %w", err)
	}
	if err := setFactor(&d.wattsFactor, f.WattsFactor); err != nil {
		return nil, fmt.Errorf("watts factor: %w", err)
	}
	if err := setFactor(&d.whFactor, f.WhFactor); err != nil {
		return nil, fmt.Errorf("wh factor: %w", err)
	}
	return d, nil
}

func setFactor(to *float64, f float64) error {
	if math.IsNaN(f) || math.IsInf(f, 0) || f < 0 {
		return fmt.Errorf("%g cannot be a factor: use a number above zero, such as 1000 for kWh", f)
	}
	if f > 0 {
		*to = f
	}
	return nil
}

// Decode reads one message of the meter. An error is a *Refusal that says what
// is wrong, where, and how to mend it. It does not judge the values: see Check.
func (d *Decoder) Decode(meter string, payload []byte) (Sample, error) {
	doc, err := decodeJSON(payload)
	if err != nil {
		return Sample{}, Refuse(meter, Malformed, "the message %s is neither a number nor JSON: %v", excerpt(payload), err)
	}
	return d.value(meter, doc)
}

// DecodeEach reads a message that is one reading or an array of readings.
func (d *Decoder) DecodeEach(meter string, payload []byte) ([]Sample, error) {
	doc, err := decodeJSON(payload)
	if err != nil {
		return nil, Refuse(meter, Malformed, "the message %s is neither a number nor JSON: %v", excerpt(payload), err)
	}
	array, ok := doc.([]any)
	if !ok {
		s, err := d.value(meter, doc)
		return []Sample{s}, err
	}
	samples := make([]Sample, len(array))
	for i, element := range array {
		if samples[i], err = d.value(meter, element); err != nil {
			err.(*Refusal).Text = fmt.Sprintf("reading %d of %d: %s", i+1, len(array), err.(*Refusal).Text)
			return nil, err
		}
	}
	return samples, nil
}

// value reads one reading. Its error is always a *Refusal.
func (d *Decoder) value(meter string, doc any) (Sample, error) {
	s := Sample{Watts: math.NaN(), Wh: math.NaN()}
	var haveWatts, haveWh bool
	var err error
	if d.hasWatts {
		if s.Watts, haveWatts, err = number(d.wattsIn(doc), doc, d.wattsFactor); err != nil {
			return Sample{}, Refuse(meter, Malformed, "watts: %v", err)
		}
	}
	if d.hasWh {
		if s.Wh, haveWh, err = number(d.wh, doc, d.whFactor); err != nil {
			return Sample{}, Refuse(meter, Malformed, "wh: %v", err)
		}
	}
	if d.hasDoor {
		if s.Door, err = doorAt(d.door, doc); err != nil {
			return Sample{}, Refuse(meter, Malformed, "door: %v", err)
		}
	}
	if !haveWatts && !haveWh && s.Door == NoDoor {
		return Sample{}, Refuse(meter, Empty, "the message has nothing at %s; %s", d.places(), whereNumbersAre(doc))
	}
	if d.hasTime {
		if s.Stamp, err = stampAt(d.time, doc); err != nil {
			return Sample{}, Refuse(meter, Malformed, "time: %v", err)
		}
	}
	return s, nil
}

// wattsIn is where the watts of a message are.
func (d *Decoder) wattsIn(doc any) Pointer {
	if _, isNumber := doc.(json.Number); isNumber && d.bare {
		return Pointer{}
	}
	return d.watts
}

// places names where the decoder looked, for messages.
func (d *Decoder) places() string {
	switch {
	case d.hasWatts && d.hasWh:
		return fmt.Sprintf("%q (watts) nor at %q (wh)", d.watts.text, d.wh.text)
	case d.hasWh:
		return fmt.Sprintf("%q (wh)", d.wh.text)
	default:
		return fmt.Sprintf("%q (watts)", d.watts.text)
	}
}

// whereNumbersAre is the hint of an Empty refusal.
func whereNumbersAre(doc any) string {
	const most = 8
	found := pointersToNumbers(doc, "", most)
	if len(found) == 0 {
		return "it has no number at all"
	}
	return fmt.Sprintf("its numbers are at %q: put the right one into the meter's settings", found)
}
