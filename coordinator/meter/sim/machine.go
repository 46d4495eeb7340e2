package sim

import (
	"errors"
	"sort"
	"time"

	"drumturn/coordinator/cycle"
)

// The refusals of a Machine.
var (
	ErrRunning = errors.New("the machine is running")
	ErrIdle    = errors.New("the machine is not running")
	ErrPast    = errors.New("something later has already happened to the machine")
)

// Run is the truth about one course on a machine.
type Run struct {
	Number    int // from 1
	Programme Programme
	Laundry   Laundry
	// Start is the press of the button; End when the programme's last work is
	// over, or when it was stopped; Settled when pulses and glow are over too.
	Start, End, Settled time.Time
	// Stopped: it was stopped before the end of its programme.
	Stopped bool
}

// Machine is one machine's life, past and planned: what it draws at any instant
// if nobody touches it again. It has no clock; the callers pass instants that
// never go back. It is not safe for use by two goroutines.
type Machine struct {
	model   Model
	seed    uint64
	touched time.Time
	// line is the power over time: each step lasts until the next, the last for ever.
	line []step
	runs []Run
	made int
	cuts []span
}

// step is the power from an instant on, with the energy drawn until then.
type step struct {
	from  time.Time
	watts float64
	wh    float64
	phase cycle.Phase
}

type span struct{ from, to time.Time }

func (s span) holds(t time.Time) bool { return !t.Before(s.from) && t.Before(s.to) }

// NewMachine returns a machine that stands switched off from born on. Its seed
// decides all that is left to chance in its programmes.
func NewMachine(m Model, seed uint64, born time.Time) *Machine {
	return &Machine{model: m, seed: seed, touched: born, line: []step{{from: born, watts: m.OffW}}}
}

// Model is what the machine is.
func (m *Machine) Model() Model { return m.model }

// Preview is the course that Start would begin next.
func (m *Machine) Preview(p Programme, l Laundry) (Course, error) {
	return Make(m.model, p, l, m.seed+uint64(m.made)*0x9e3779b97f4a7c15)
}

// Start presses the button at now. Whatever glow or pulses were left of the last
// run are over. ErrRunning means that a programme runs.
func (m *Machine) Start(now time.Time, p Programme, l Laundry) (Run, error) {
	if err := m.touch(now); err != nil {
		return Run{}, err
	}
	if m.Running(now) {
		return Run{}, ErrRunning
	}
	c, err := m.Preview(p, l)
	if err != nil {
		return Run{}, err
	}
	m.made++
	m.cutLine(now)
	at := now
	for _, s := range c.Stretches {
		m.push(at, s.Watts, s.Phase)
		at = at.Add(s.For)
	}
	m.push(at, m.model.OffW, cycle.NoPhase)
	r := Run{Number: m.made, Programme: p, Laundry: c.Laundry, Start: now, End: now.Add(c.End), Settled: at}
	m.runs = append(m.runs, r)
	return r, nil
}

// Stop ends the running programme before its time: the pump runs for up to half
// a minute if there is water, then the machine is off. ErrIdle means that
// nothing runs.
func (m *Machine) Stop(now time.Time) error {
	if err := m.touch(now); err != nil {
		return err
	}
	if !m.Running(now) {
		return ErrIdle
	}
	r := &m.runs[len(m.runs)-1]
	m.cutLine(now)
	end := now
	if r.Programme.Washes() {
		m.push(now, m.model.ElecW+28, cycle.Pause)
		end = now.Add(25 * time.Second)
	}
	m.push(end, m.model.OffW, cycle.NoPhase)
	r.End, r.Settled, r.Stopped = end, end, true
	return nil
}

// Empty opens the door after a run: turning against creases ends. When the
// resident switches the machine off, so does the glow. ErrRunning means that a
// programme runs.
func (m *Machine) Empty(now time.Time, switchOff bool) error {
	if err := m.touch(now); err != nil {
		return err
	}
	if m.Running(now) {
		return ErrRunning
	}
	m.cutLine(now)
	if switchOff || m.model.GlowFor == 0 || len(m.runs) == 0 {
		m.push(now, m.model.OffW, cycle.NoPhase)
		return nil
	}
	m.push(now, m.model.GlowW, cycle.After)
	m.push(now.Add(m.model.GlowFor), m.model.OffW, cycle.NoPhase)
	return nil
}

// Cut takes the supply away from one instant to another. A machine that resumes
// goes on where it stood; another stays off, its programme stopped.
func (m *Machine) Cut(from, to time.Time, resumes bool) error {
	if err := m.touch(from); err != nil {
		return err
	}
	if !to.After(from) {
		return errors.New("a cut of the supply must end after it begins")
	}
	running := m.Running(from)
	rest := m.rest(from)
	m.cutLine(from)
	m.push(from, 0, cycle.NoPhase)
	m.cuts = append(m.cuts, span{from, to})
	m.touched = from
	if running && !resumes {
		r := &m.runs[len(m.runs)-1]
		r.End, r.Settled, r.Stopped = from, from, true
	}
	if !resumes {
		m.push(to, m.model.OffW, cycle.NoPhase)
		return nil
	}
	for _, s := range rest {
		m.push(s.from.Add(to.Sub(from)), s.watts, s.phase)
	}
	if running {
		r := &m.runs[len(m.runs)-1]
		r.End, r.Settled = r.End.Add(to.Sub(from)), r.Settled.Add(to.Sub(from))
	}
	return nil
}

// Running reports whether a programme runs at t.
func (m *Machine) Running(t time.Time) bool {
	r, ok := m.Last()
	return ok && !t.Before(r.Start) && t.Before(r.End)
}

// Last is the newest run; ok is false before the first.
func (m *Machine) Last() (r Run, ok bool) {
	if len(m.runs) == 0 {
		return Run{}, false
	}
	return m.runs[len(m.runs)-1], true
}

// Runs are all runs that were not forgotten, oldest first. A copy.
func (m *Machine) Runs() []Run { return append([]Run(nil), m.runs...) }

// Power is what the machine draws at t, W, and in which phase of its programme.
func (m *Machine) Power(t time.Time) (watts float64, phase cycle.Phase) {
	s := m.line[m.find(t)]
	return s.watts, s.phase
}

// EnergyWh is what it has drawn since it was born, Wh.
func (m *Machine) EnergyWh(t time.Time) float64 {
	s := m.line[m.find(t)]
	return s.wh + s.watts*max(t.Sub(s.from), 0).Hours()
}

// NextChange is the first instant after t at which power changes; ok is false
// when it never does.
func (m *Machine) NextChange(t time.Time) (at time.Time, ok bool) {
	i := m.find(t) + 1
	if t.Before(m.line[0].from) {
		i = 0
	}
	if i >= len(m.line) {
		return time.Time{}, false
	}
	return m.line[i].from, true
}

// Supplied reports whether the machine's line has power at t.
func (m *Machine) Supplied(t time.Time) bool {
	for _, c := range m.cuts {
		if c.holds(t) {
			return false
		}
	}
	return true
}

// Forget drops what lies before t, for machines that live for years. Energy
// goes on counting from birth.
func (m *Machine) Forget(t time.Time) {
	if i := m.find(t); i > 0 {
		m.line = append([]step(nil), m.line[i:]...)
	}
	for len(m.runs) > 1 && m.runs[0].Settled.Before(t) {
		m.runs = m.runs[1:]
	}
	for len(m.cuts) > 0 && m.cuts[0].to.Before(t) {
		m.cuts = m.cuts[1:]
	}
}

// touch checks that now is not before what was already done.
func (m *Machine) touch(now time.Time) error {
	if now.Before(m.touched) {
		return ErrPast
	}
	if !m.Supplied(now) {
		return errors.New("the machine has no supply")
	}
	m.touched = now
	return nil
}

// find is the index of the step that holds t.
func (m *Machine) find(t time.Time) int {
	i := sort.Search(len(m.line), func(i int) bool { return m.line[i].from.After(t) })
	return max(i-1, 0)
}

// rest is the plan from t on, its first step beginning at t.
func (m *Machine) rest(t time.Time) []step {
	out := append([]step(nil), m.line[m.find(t):]...)
	out[0].from = t
	return out
}

// cutLine drops the plan from t on.
func (m *Machine) cutLine(t time.Time) {
	i := sort.Search(len(m.line), func(i int) bool { return !m.line[i].from.Before(t) })
	m.line = m.line[:max(i, 1)]
}

// push plans power from an instant on.
func (m *Machine) push(from time.Time, watts float64, phase cycle.Phase) {
	last := &m.line[len(m.line)-1]
	if !from.After(last.from) {
		last.watts, last.phase = watts, phase
		return
	}
	wh := last.wh + last.watts*from.Sub(last.from).Hours()
	m.line = append(m.line, step{from: from, watts: watts, wh: wh, phase: phase})
}
