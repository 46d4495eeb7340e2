package cycle

import "time"

// IntegratorTally is the energy of a meter that may have a register: where the
// register speaks its differences count, which also covers the holes between
// readings; since its last word, and without one, the watts are integrated.
type IntegratorTally struct {
	// Base is the energy up to the register's last word, Wh.
	Base     float64
	Power    Integrator
	Register Register
}

// Add takes a reading whose power is watts (r.Watts itself, or what was derived
// from the register).
func (t *IntegratorTally) Add(r Reading, watts float64) {
	t.Power.Add(r.At, watts)
	if delta, ok := t.Register.Add(r.At, r.Wh); ok {
		t.Base += delta
		t.Power.Wh = 0
	} else if t.Register.At.Equal(r.At) {
		// A first word, or that of another register: what the watts said
		// until now stays, and the register counts from here.
		t.Base += t.Power.Wh
		t.Power.Wh = 0
	}
}

// Wh is the energy up to the newest reading, Wh.
func (t *IntegratorTally) Wh() float64 { return t.Base + t.Power.Wh }

// Until is the energy up to an instant at or after the newest reading, Wh.
func (t *IntegratorTally) Until(at time.Time) float64 { return t.Base + t.Power.Until(at) }
