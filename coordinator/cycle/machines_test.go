package cycle

import (
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"pgregory.net/rapid"
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

// noisy adds what a cheap meter's last digits do: up to 0.4 W either way when the
// machine is off, 3 % when it works.
func noisy(rs []Reading, seed uint64) []Reading {
	rnd := rand.New(rand.NewPCG(seed, 5))
	out := make([]Reading, len(rs))
	for i, r := range rs {
		r.Watts = max(0, r.Watts+(2*rnd.Float64()-1)*(0.4+0.03*r.Watts))
		out[i] = r
	}
	return out
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
		g.heatW, g.spinW = 0, 767
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

// recording is what the meter of some machine says of some of its cycles.
type recording struct {
	machine, meter string
	set            Settings
	rs             []Reading
	courses        []*course
	// step is the longest time between two readings while the machine works.
	step time.Duration
}

// drawRecording draws a machine, a meter but for some, and so many cycles.
func drawRecording(t *rapid.T, cycles int, not ...string) recording {
	rec := recording{machine: drawName(t, "machine", machineKinds), meter: drawName(t, "meter", meterKinds, not...)}
	k, read := machineKinds[rec.machine], meterKinds[rec.meter]
	g := newProgrammes(rapid.Uint64Range(1, 1000).Draw(t, "seed"))
	rec.set = k.set
	at := t0
	for range cycles {
		c := k.course(g, at)
		rec.courses = append(rec.courses, c)
		rec.rs = append(rec.rs, read(c)...)
		at = at.Add(c.length())
	}
	for i := 1; i < len(rec.rs); i++ {
		if rec.rs[i-1].Watts > 20 {
			rec.step = max(rec.step, rec.rs[i].At.Sub(rec.rs[i-1].At))
		}
	}
	return rec
}

func drawName[V any](t *rapid.T, what string, from map[string]V, not ...string) string {
	names := slices.Sorted(maps.Keys(from))
	names = slices.DeleteFunc(names, func(n string) bool { return slices.Contains(not, n) })
	return rapid.SampledFrom(names).Draw(t, what)
}
