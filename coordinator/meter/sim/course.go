package sim

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

// Laundry is what is put into the drum. Fields that are zero are drawn.
type Laundry struct {
	// Kg is dry weight.
	Kg float64
	// Moisture is kg of water per kg of dry laundry that a dryer has to take out:
	// 0.5-0.65 after a good spin, around 1 after a bad one. An overlong dry is a
	// heavy load with much moisture.
	Moisture float64
	// InletC is the temperature of the tap water, degrees Celsius.
	InletC float64
}

func (l Laundry) drawn(m *Model, t *tape) Laundry {
	if l.Kg <= 0 {
		l.Kg = m.CapacityKg * t.between(0.4, 0.9)
	}
	if l.Moisture <= 0 {
		l.Moisture = t.between(0.48, 0.65)
	}
	if l.InletC <= 0 {
		l.InletC = t.between(10, 18)
	}
	return l
}

// Check says what is impossible about the laundry.
func (l Laundry) Check() error {
	switch {
	case !(l.Kg >= 0 && l.Kg <= 50):
		return fmt.Errorf("%v kg of laundry: use 0 (draw one) to 50", l.Kg)
	case !(l.Moisture >= 0 && l.Moisture <= 3):
		return fmt.Errorf("moisture of %v kg per kg: use 0 (draw one) to 3", l.Moisture)
	case !(l.InletC >= 0 && l.InletC <= 60):
		return fmt.Errorf("tap water of %v degrees Celsius: use 0 (draw one) to 60", l.InletC)
	}
	return nil
}

// Course is the truth about one run of a programme, from the press of its button.
type Course struct {
	Programme Programme
	Laundry   Laundry
	// Stretches are what the machine draws, one after the other.
	Stretches []Stretch
	// End is when the programme's last work is over: the loosening after the last
	// spin of a wash, the cool-down of a dry; what follows is not part of it.
	End time.Duration
	// Settled is when turns against creases and the glow are over too.
	Settled time.Duration
}

// Make draws a course. The same arguments give the same course.
func Make(m Model, p Programme, l Laundry, seed uint64) (Course, error) {
	if !slices.Contains(Programmes(m.Kind), p) {
		return Course{}, fmt.Errorf("a %s has no programme %q: use one of %v", m.Kind, p, Programmes(m.Kind))
	}
	if err := l.Check(); err != nil {
		return Course{}, err
	}
	t := &tape{m: &m, rng: rand.New(rand.NewPCG(seed, uint64(p)))}
	l = l.drawn(&m, t)
	t.programme(p, l)
	c := Course{Programme: p, Laundry: l, End: t.at}
	t.after(p.Dries())
	c.Stretches, c.Settled = t.out, t.at
	return c, nil
}

func (t *tape) programme(p Programme, l Laundry) {
	switch {
	case p == WashDry:
		t.wash(recipes[Cotton40], l)
		// A quarter of an hour of tumbling lies between spin and heat.
		t.tumble(t.m.TumbleW*0.6, 20*time.Second, 5*time.Second, 14*time.Minute)
		// Washer-dryers dry about half of what they wash.
		l.Kg *= 0.55
		t.dry(l)
	case p.Dries():
		t.dry(l)
	default:
		t.wash(recipes[p], l)
		t.loosen()
	}
}

// EnergyWh is the energy up to End.
func (c Course) EnergyWh() float64 {
	var wh float64
	var at time.Duration
	for _, s := range c.Stretches {
		if at >= c.End {
			break
		}
		wh += s.Watts * min(s.For, c.End-at).Hours()
		at += s.For
	}
	return wh
}

// PeakW is the highest power up to End.
func (c Course) PeakW() float64 {
	var peak float64
	var at time.Duration
	for _, s := range c.Stretches {
		if at >= c.End {
			break
		}
		peak = max(peak, s.Watts)
		at += s.For
	}
	return peak
}

// At is the power and phase at d after the start; NoPhase outside the course.
func (c Course) At(d time.Duration) (watts float64, phase cycle.Phase) {
	if d < 0 {
		return 0, cycle.NoPhase
	}
	for _, s := range c.Stretches {
		if d < s.For {
			return s.Watts, s.Phase
		}
		d -= s.For
	}
	return 0, cycle.NoPhase
}
