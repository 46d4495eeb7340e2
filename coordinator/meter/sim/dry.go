package sim

import (
	"time"

	"drumturn/coordinator/cycle"
)

// dry appends a drying programme up to the end of its cool-down.
func (t *tape) dry(l Laundry) {
	from := t.at
	switch t.m.Heat {
	case HeatPump:
		t.pumpHeat(l)
	case Gas:
		t.gasHeat(l)
	default:
		t.elementHeat(l)
	}
	t.coolDown(t.at - from)
}

// heatWh is the electrical heat that the laundry's water takes: what the model
// needs per kg of water, and a bit for warming up drum and cloth.
func (t *tape) heatWh(l Laundry) float64 {
	return (l.Kg*l.Moisture*t.m.DryWhPerKg + 20*l.Kg) * t.between(0.95, 1.05)
}

// elementHeat heats with a resistance element: without a break while the load
// is wet, then in turns with rests as the thermostat lets go.
func (t *tape) elementHeat(l Laundry) {
	wh := t.heatWh(l)
	steady := time.Duration(0.6 * wh / t.m.DryW * float64(time.Hour))
	t.element(steady)
	for left := time.Duration(0.4 * wh / t.m.DryW * float64(time.Hour)); left > 0; {
		burst := min(t.span(100*time.Second, 240*time.Second), left)
		t.turn(t.span(40*time.Second, 110*time.Second))
		t.element(burst)
		left -= burst
	}
}

func (t *tape) element(d time.Duration) {
	t.heat = t.m.DryW * t.between(0.98, 1.02)
	t.turn(d)
	t.heat = 0
}

// turn keeps the drum going for d, with a stop of a few seconds at each reversal
// (in which a heater is off as well).
func (t *tape) turn(d time.Duration) {
	if t.m.ReverseEvery == 0 {
		t.about(cycle.Tumble, t.m.DryTumbleW, d)
		return
	}
	for left := d; left > 0; left -= t.m.ReverseEvery {
		t.about(cycle.Tumble, t.m.DryTumbleW, min(left, t.m.ReverseEvery))
		if left > t.m.ReverseEvery {
			heat := t.heat
			t.heat = 0
			t.about(cycle.Tumble, t.m.ElecW, t.span(4*time.Second, 8*time.Second))
			t.heat = heat
		}
	}
}

// pumpHeat is a compressor that works itself up over 20 minutes and then climbs slowly.
func (t *tape) pumpHeat(l Laundry) {
	wh := t.heatWh(l)
	for warm := 0.0; wh > 0; warm++ {
		share := min(0.45+0.025*warm, 0.95) + min(0.0004*warm, 0.05)
		t.heat = t.m.DryW * share * t.between(0.98, 1.02)
		t.turn(time.Minute)
		wh -= t.heat / 60
		t.heat = 0
	}
}

// gasHeat shows as the motor alone: some 40 minutes for 3 kg of water.
func (t *tape) gasHeat(l Laundry) {
	for left := 12*time.Minute + time.Duration(l.Kg*l.Moisture*9*float64(time.Minute)); left > 0; left -= time.Minute {
		t.about(cycle.Heat, t.m.DryTumbleW, min(left, time.Minute))
	}
}

// coolDown tumbles without heat; some dryers heat again for 2-7 minutes, 4-5
// minutes into it (as a measured one does).
func (t *tape) coolDown(heated time.Duration) {
	d := max(time.Duration(t.m.CoolShare*float64(heated)), 5*time.Minute)
	if t.chance(t.m.Reheat) {
		t.cool(t.span(4*time.Minute, 5*time.Minute))
		t.element(t.span(2*time.Minute, 7*time.Minute))
	}
	t.cool(d)
}

func (t *tape) cool(d time.Duration) {
	from := len(t.out)
	t.turn(d)
	for i := range t.out[from:] {
		t.out[from+i].Phase = cycle.CoolDown
	}
}
