package sim

import (
	"time"

	"drumturn/coordinator/cycle"
)

// recipe is how a wash programme is laid out.
type recipe struct {
	celsius float64       // of the water; 0 for a programme that does not heat
	wash    time.Duration // tumbling after the water is warm
	soaks   int           // pauses with the drum at rest
	rinses  int
	spin    time.Duration // of the last spin
	on, off time.Duration // the drum's rhythm
}

// recipes are shaped after measured washes: 60-160 min, 0.25-1.4 kWh for cotton
// (REFIT house 2, Scientific Data 4:160122), quick ones 27-60 min, and an eco
// 40-60 of about 200 min (consumer test).
var recipes = map[Programme]recipe{
	Cotton40: {celsius: 40, wash: 38 * time.Minute, soaks: 2, rinses: 3, spin: 6 * time.Minute, on: 13 * time.Second, off: 6 * time.Second},
	Cotton60: {celsius: 60, wash: 46 * time.Minute, soaks: 2, rinses: 3, spin: 7 * time.Minute, on: 13 * time.Second, off: 6 * time.Second},
	Quick:    {celsius: 30, wash: 4 * time.Minute, rinses: 1, spin: 4 * time.Minute, on: 12 * time.Second, off: 4 * time.Second},
	Eco:      {celsius: 43, wash: 138 * time.Minute, soaks: 6, rinses: 2, spin: 8 * time.Minute, on: 10 * time.Second, off: 20 * time.Second},
	Cold:     {wash: 52 * time.Minute, soaks: 2, rinses: 3, spin: 7 * time.Minute, on: 13 * time.Second, off: 6 * time.Second},
}

// wash appends a whole wash up to the end of its last spin.
func (t *tape) wash(r recipe, l Laundry) {
	t.fill(12 + l.Kg)
	t.warm(r, l)
	t.mainWash(r)
	t.drain()
	for range r.rinses {
		t.interimSpin()
		t.fill(10 + l.Kg)
		t.tumble(t.m.TumbleW, r.on, r.off, t.span(150*time.Second, 240*time.Second))
		t.drain()
	}
	t.lastSpin(r.spin)
}

// fill lets water in: valves at some 10 W, a turn of the drum now and then.
func (t *tape) fill(litres float64) {
	for left := litres; left > 0; left -= 7 {
		t.about(cycle.Fill, t.m.ElecW+7, time.Duration(min(left, 7)*6*float64(time.Second)))
		t.about(cycle.Fill, t.m.TumbleW*0.8, 4*time.Second)
	}
}

// warm heats the water while the drum turns. Energy is physics: water at
// 1.163 Wh per litre and kelvin, textiles at about a third of that, a tenth lost.
func (t *tape) warm(r recipe, l Laundry) {
	kelvin := r.celsius - l.InletC
	if r.celsius == 0 || kelvin <= 0 {
		return
	}
	litres := 5 + 1.5*l.Kg
	wh := (litres*1.163 + l.Kg*0.4) * kelvin * 1.1
	heat := time.Duration(wh / t.m.BoilW * float64(time.Hour))
	first := heat * 9 / 10
	t.boil(r, first)
	// The thermostat lets go and bites once more.
	t.tumble(t.m.TumbleW, r.on, r.off, t.span(30*time.Second, 90*time.Second))
	t.boil(r, heat-first)
}

func (t *tape) boil(r recipe, d time.Duration) {
	t.heat = t.m.BoilW * t.between(0.98, 1.02)
	t.tumble(t.m.TumbleW, r.on, r.off, d)
	t.heat = 0
}

// mainWash tumbles, with soaks between: the drum at rest for up to four and a
// half minutes (the longest pause in the REFIT labels).
func (t *tape) mainWash(r recipe) {
	part := r.wash / time.Duration(r.soaks+1)
	for i := range r.soaks + 1 {
		t.tumble(t.m.TumbleW, r.on, r.off, t.span(part*9/10, part*11/10))
		if i < r.soaks {
			t.about(cycle.Pause, t.m.ElecW, t.span(30*time.Second, 270*time.Second))
		}
	}
}

func (t *tape) drain() {
	t.about(cycle.Pause, t.m.ElecW+28, t.span(40*time.Second, 80*time.Second))
}

// interimSpin is short and slower; the load is laid out first, and lies badly at times.
func (t *tape) interimSpin() {
	t.layOut()
	t.ramp(0.75*t.m.SpinW, t.span(60*time.Second, 110*time.Second))
	t.coast(25 * time.Second)
}

// lastSpin runs longer and to the top.
func (t *tape) lastSpin(d time.Duration) {
	t.layOut()
	t.ramp(t.m.SpinW, t.span(d*9/10, d*11/10))
	t.coast(50 * time.Second)
}

// layOut distributes the load by slow turns; an uneven load is tried again.
func (t *tape) layOut() {
	for {
		t.about(cycle.Spin, t.m.TumbleW*0.7, t.span(20*time.Second, 40*time.Second))
		if !t.chance(0.2) {
			return
		}
		t.about(cycle.Spin, t.m.SpinW*0.5, 8*time.Second)
		t.coast(10 * time.Second)
	}
}

// ramp speeds up in steps to top watts, then holds at a part of it: what
// accelerates draws most.
func (t *tape) ramp(top float64, d time.Duration) {
	for i := range 4 {
		share := 0.4 + 0.2*float64(i)
		t.put(cycle.Spin, top*share*t.between(0.96, 1), d/10)
	}
	for left := d - 4*(d/10); left > 0; left -= 20 * time.Second {
		t.put(cycle.Spin, top*t.between(0.55, 0.7), min(left, 20*time.Second))
	}
}

// coast lets the drum run out.
func (t *tape) coast(d time.Duration) { t.about(cycle.Spin, t.m.ElecW, t.span(d/2, d)) }

// loosen is the short tumble after the last spin that belongs to the programme.
func (t *tape) loosen() {
	if t.m.Loosen < 5*time.Second {
		return
	}
	t.tumble(t.m.TumbleW*0.8, 12*time.Second, 5*time.Second, t.span(t.m.Loosen*3/4, t.m.Loosen*5/4))
	t.put(cycle.Tumble, t.m.TumbleW*0.8, 6*time.Second)
}
