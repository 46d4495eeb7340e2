package sim

import (
	"time"

	"drumturn/coordinator/cycle"
)

// after appends what follows the end of a programme until the machine has
// switched itself off: turns against creases, then a display that glows.
func (t *tape) after(dried bool) {
	if dried && t.m.AntiCrease > 0 {
		t.antiCrease()
	}
	if t.m.GlowFor <= 0 {
		return
	}
	glow := t.span(t.m.GlowFor*9/10, t.m.GlowFor*11/10)
	if !t.m.GlowSpikes {
		t.put(cycle.After, t.m.GlowW, glow)
		return
	}
	for end := t.at + glow; end-t.at >= time.Second; {
		t.put(cycle.After, t.m.GlowW, min(t.span(40*time.Second, 3*time.Minute), end-t.at))
		t.put(cycle.After, t.between(10, 15), min(2*time.Second, end-t.at))
	}
}

// antiCrease turns the drum for some seconds about once a minute.
func (t *tape) antiCrease() {
	motor := t.m.DryTumbleW * 0.85
	for end := t.at + t.m.AntiCrease; t.at < end; {
		rest := t.m.PulseEvery - t.m.PulseFor
		t.put(cycle.After, max(t.m.GlowW, t.m.ElecW), t.span(rest*9/10, rest*11/10))
		t.about(cycle.After, motor, t.m.PulseFor)
	}
}
