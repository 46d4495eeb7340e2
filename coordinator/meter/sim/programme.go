package sim

import (
	"fmt"
	"strings"

	"drumturn/queue"
)

// Programme is what a machine is asked to do.
type Programme uint8

// The programmes. Dry takes as long as the laundry needs (a sensor ends it);
// WashDry is a washer-dryer's wash with drying behind it.
const (
	Cotton40 Programme = iota + 1
	Cotton60
	Quick
	Eco
	Cold
	Dry
	WashDry
)

var programmeNames = [...]string{
	Cotton40: "cotton-40", Cotton60: "cotton-60", Quick: "quick", Eco: "eco", Cold: "cold",
	Dry: "dry", WashDry: "wash-dry",
}

// String returns the programme's word.
func (p Programme) String() string {
	if int(p) < len(programmeNames) && programmeNames[p] != "" {
		return programmeNames[p]
	}
	return "?"
}

// MarshalText writes the word.
func (p Programme) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the word that String gives.
func (p *Programme) UnmarshalText(text []byte) error {
	for i, name := range programmeNames {
		if name != "" && name == string(text) {
			*p = Programme(i)
			return nil
		}
	}
	return fmt.Errorf("%q is no programme: use one of %s", text, strings.Join(programmeNames[1:], ", "))
}

// Washes reports whether the programme washes.
func (p Programme) Washes() bool { return p >= Cotton40 && p <= Cold || p == WashDry }

// Dries reports whether the programme dries.
func (p Programme) Dries() bool { return p == Dry || p == WashDry }

// Programmes lists what a kind of machine can run.
func Programmes(kind queue.Kind) []Programme {
	switch kind {
	case queue.Washer:
		return []Programme{Cotton40, Cotton60, Quick, Eco, Cold}
	case queue.Dryer:
		return []Programme{Dry}
	case queue.WasherDryer:
		return []Programme{Cotton40, Cotton60, Quick, Eco, Cold, Dry, WashDry}
	default:
		return nil
	}
}

// For picks the programme that serves a need on a kind of machine, by a number
// in [0, 1): people wash at 40 degrees most.
func For(kind queue.Kind, need queue.Need, pick float64) Programme {
	switch {
	case need == queue.Dry || kind == queue.Dryer:
		return Dry
	case need == queue.WashAndDry && kind == queue.WasherDryer:
		return WashDry
	case pick < 0.45:
		return Cotton40
	case pick < 0.60:
		return Cotton60
	case pick < 0.80:
		return Quick
	case pick < 0.92:
		return Eco
	default:
		return Cold
	}
}
