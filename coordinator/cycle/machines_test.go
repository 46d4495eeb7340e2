package cycle

import (
	"math"
	"time"
)

func washer() Settings { return DefaultSettings() }

func dryer() Settings {
	s := DefaultSettings()
	s.Washer, s.Dryer = false, true
	return s
}

// engines make each kind of engine, by name.
var engines = map[string]func(Settings) Engine{
	"learned": func(s Settings) Engine { return New(s) },
	"fixed":   func(s Settings) Engine { return NewFixed(s) },
}

// quantised rounds to steps of 2 W, as a cheap meter does.
func quantised(rs []Reading) []Reading {
	for i := range rs {
		rs[i].Watts = 2 * math.Round(rs[i].Watts/2)
	}
	return rs
}

// onChange leaves out what a meter that reports changes would not say: it speaks
// at a change of more than 1 W and 3 %, and every five minutes.
func onChange(rs []Reading) (out []Reading) {
	for _, r := range rs {
		if len(out) > 0 {
			last := out[len(out)-1]
			if math.Abs(r.Watts-last.Watts) <= max(1, 0.03*last.Watts) && r.At.Sub(last.At) < 5*time.Minute {
				continue
			}
		}
		out = append(out, r)
	}
	return out
}

// machineKind is a machine of the trade: what makes its courses, and what it is.
type machineKind struct {
	set    Settings
	course func(g *programmesGen, at time.Time) *course
}

// The levels are common practice without a source, but for the cold programme,
// whose highest power is the spin's 767 W (powersaving.co.za), the condenser's
// 2300-2700 W and the heat pump's 800-900 W.
var machineKinds = map[string]machineKind{
	"washer": {washer(), func(g *programmesGen, at time.Time) *course { return g.wash(at) }},
	"cold washer": {washer(), func(g *programmesGen, at time.Time) *course {
		g.heatW, g.spinW = 0, 700
		return g.wash(at)
	}},
	"standby of 0 W": {washer(), func(g *programmesGen, at time.Time) *course {
		g.glowW, g.standbyW = 0, 0
		return g.wash(at)
	}},
	"glow of 7 W": {washer(), func(g *programmesGen, at time.Time) *course {
		g.glowW, g.glowFor = 7, 40*time.Minute
		return g.wash(at)
	}},
	"condenser dryer": {dryer(), func(g *programmesGen, at time.Time) *course { return g.dry(at, 2500, 220, true) }},
	"5 kW dryer":      {dryer(), func(g *programmesGen, at time.Time) *course { return g.dry(at, 5200, 300, true) }},
	"heat pump":       {dryer(), func(g *programmesGen, at time.Time) *course { return g.dry(at, 750, 160, true) }},
	"gas dryer":       {dryer(), func(g *programmesGen, at time.Time) *course { return g.dry(at, 300, 280, false) }},
}

var meterKinds = map[string]func(*course) []Reading{
	"1 s":       func(c *course) []Reading { return sample(c, time.Second) },
	"10 s":      func(c *course) []Reading { return sample(c, 10*time.Second) },
	"30 s":      func(c *course) []Reading { return sample(c, 30*time.Second) },
	"60 s":      func(c *course) []Reading { return sample(c, time.Minute) },
	"quantised": func(c *course) []Reading { return quantised(sample(c, 5*time.Second)) },
	"on change": func(c *course) []Reading { return onChange(sample(c, 2*time.Second)) },
}
