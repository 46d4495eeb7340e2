package usage

import (
	"slices"
	"time"
)

// MilliWh is energy in thousandths of a watt-hour. Whole numbers add up to the
// same whatever the order.
type MilliWh int64

// KWh is the energy in kilowatt-hours.
func (e MilliWh) KWh() float64 { return float64(e) / 1e6 }

// Used is the energy drawn in one window of one tariff.
type Used struct {
	// Tariff is the version that held then; 0: none. Window is 0 for the price
	// outside of all windows, else the window's number in the tariff, from 1.
	Tariff, Window int
	// Cycles is the energy drawn in cycles, Standby that outside of them.
	Cycles  MilliWh `json:",omitempty"`
	Standby MilliWh `json:",omitempty"`
}

// Figures are the sums of one machine, room or building over some time.
type Figures struct {
	// Days is how many local days have sums.
	Days int `json:",omitempty"`
	// Cycles ended in the time; StoppedEarly and Presumed are how many of them did so.
	Cycles       int `json:",omitempty"`
	StoppedEarly int `json:",omitempty"`
	Presumed     int `json:",omitempty"`
	// Starts are the cycles that began in the time.
	Starts int `json:",omitempty"`
	// Collected are the loads collected, Missed the calls let lapse.
	Collected int `json:",omitempty"`
	Missed    int `json:",omitempty"`
	// Running is how long cycles ran, RunningOpen how much of that was in opening
	// hours, Open how long the machines could have run in opening hours, and
	// Blocked how long loads told of kept machines from others; all of them are
	// added up over machines.
	Running     time.Duration `json:",omitempty"`
	RunningOpen time.Duration `json:",omitempty"`
	Open        time.Duration `json:",omitempty"`
	Blocked     time.Duration `json:",omitempty"`
	// Out is how long machines were out of service in opening hours. It is no part
	// of Open, nor is what ran then one of RunningOpen.
	Out time.Duration `json:",omitempty"`
	// Waits are those of turns, from joining to the first call.
	Waits Sketch `json:",omitzero"`
	// CycleWh is the energy of the cycles that ended in the time, as the cycle
	// engine reckoned it, Wh: what one cycle takes is CycleWh / Cycles.
	CycleWh float64 `json:",omitempty"`
	// Used is the energy drawn in the time, by window of the tariff, in order of
	// version and window.
	Used []Used `json:",omitempty"`
	// Unmetered is how long nothing was known of machines' power outside of their
	// cycles, added up over machines: standby energy is missing for so long.
	Unmetered time.Duration `json:",omitempty"`
}

// Utilisation is the share of opening hours in which machines ran, 0 to 1; 0
// where no opening hours are known.
func (f *Figures) Utilisation() float64 {
	if f.Open <= 0 {
		return 0
	}
	return float64(f.RunningOpen) / float64(f.Open)
}

// KWhPerCycle is the mean energy of a cycle, 0 without cycles.
func (f *Figures) KWhPerCycle() float64 {
	if f.Cycles == 0 {
		return 0
	}
	return f.CycleWh / 1000 / float64(f.Cycles)
}

// Energy is what was drawn in cycles and outside of them.
func (f *Figures) Energy() (cycles, standby MilliWh) {
	for i := range f.Used {
		cycles += f.Used[i].Cycles
		standby += f.Used[i].Standby
	}
	return cycles, standby
}

// KWh is all energy drawn, in kilowatt-hours.
func (f *Figures) KWh() float64 {
	cycles, standby := f.Energy()
	return (cycles + standby).KWh()
}

// then adds the figures of the same machine or room at another time.
func (f *Figures) then(o *Figures) {
	days := f.Days + o.Days
	f.add(o)
	f.Days = days
}

// beside adds the figures of another machine or room over the same time.
func (f *Figures) beside(o *Figures) {
	days := max(f.Days, o.Days)
	f.add(o)
	f.Days = days
}

func (f *Figures) add(o *Figures) {
	f.Cycles += o.Cycles
	f.StoppedEarly += o.StoppedEarly
	f.Presumed += o.Presumed
	f.Starts += o.Starts
	f.Collected += o.Collected
	f.Missed += o.Missed
	f.Running += o.Running
	f.RunningOpen += o.RunningOpen
	f.Open += o.Open
	f.Blocked += o.Blocked
	f.Out += o.Out
	f.Unmetered += o.Unmetered
	f.Waits.Merge(&o.Waits)
	f.CycleWh = milli(f.CycleWh + o.CycleWh)
	if len(f.Used) == 0 {
		f.Used = slices.Clone(o.Used)
		return
	}
	for _, u := range o.Used {
		f.Used = addUsed(f.Used, u)
	}
}

// addUsed adds energy to its place in a list in order of version and window.
// The list of another is never changed.
func addUsed(all []Used, u Used) []Used {
	i := 0
	for i < len(all) && (all[i].Tariff < u.Tariff || all[i].Tariff == u.Tariff && all[i].Window < u.Window) {
		i++
	}
	if i < len(all) && all[i].Tariff == u.Tariff && all[i].Window == u.Window {
		all[i].Cycles += u.Cycles
		all[i].Standby += u.Standby
		return all
	}
	out := append(all[:len(all):len(all)], Used{})
	copy(out[i+1:], out[i:])
	out[i] = u
	return out
}
