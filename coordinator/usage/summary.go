package usage

import (
	"cmp"
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// Summary is what a machine did on one local day, or with Machine empty, the
// whole room. Sums over days and machines add up: each cycle counts on the day
// of its end, and time that spans midnight is divided there.
type Summary struct {
	Room    coordinator.RoomID
	Machine coordinator.MachineID `json:",omitempty"`
	Date    Date
	// Cycles ended on the day; StoppedEarly and Presumed are how many of them did so.
	Cycles       int `json:",omitempty"`
	StoppedEarly int `json:",omitempty"`
	Presumed     int `json:",omitempty"`
	// Running is how long cycles ran on the day.
	Running time.Duration `json:",omitempty"`
	// EnergyWh is that of the cycles that ended on the day, Wh.
	EnergyWh float64 `json:",omitempty"`
	// Blocked is how long a finished load, of which its owner had been told, kept
	// the machine from others.
	Blocked time.Duration `json:",omitempty"`
	// Collected are the loads collected on the day.
	Collected int `json:",omitempty"`
	// Missed are the calls let lapse on the day.
	Missed int `json:",omitempty"`
	// Waits are those of the turns called on the day, from joining to the first
	// call; a turn that is called again after a missed call counts once.
	Waits Waits `json:",omitempty"`
}

// KWh is EnergyWh in kilowatt-hours.
func (s *Summary) KWh() float64 { return s.EnergyWh / 1000 }

// lookBack is how long before the begin of a day facts may still bear on it: a
// load that was ready then and is not collected yet.
const lookBack = 36 * time.Hour

// Summarise sums up a local day of a room. The facts are those of the room in
// the order of time, from 36 hours before the day's begin up to until; later
// ones than the day's end are wanted too, since a cycle is told of after its
// end. The room's own summary comes first, then one for each machine that the
// facts name, in order.
func Summarise(room coordinator.RoomID, date Date, zone *time.Location, facts []coordinator.Fact, until time.Time) []Summary {
	d := &day{from: date.Begin(zone), to: date.End(zone), until: until, of: map[coordinator.MachineID]*tally{}, called: map[coordinator.TurnID]bool{}}
	for i := range facts {
		if facts[i].At.Before(until) {
			d.add(&facts[i])
		}
	}
	out := []Summary{{Room: room, Date: date}}
	for m, t := range d.of {
		s := t.close(d)
		s.Room, s.Machine, s.Date = room, m, date
		addTo(&out[0], &s)
		if m != "" {
			out = append(out, s)
		}
	}
	slices.SortFunc(out, func(a, b Summary) int { return cmp.Compare(a.Machine, b.Machine) })
	return out
}

// addTo adds a machine's summary to its room's. The order does not matter but
// for the energy's last digits, so energy is summed in whole milliwatt-hours.
func addTo(total, s *Summary) {
	total.Cycles += s.Cycles
	total.StoppedEarly += s.StoppedEarly
	total.Presumed += s.Presumed
	total.Running += s.Running
	total.EnergyWh = milli(total.EnergyWh + s.EnergyWh)
	total.Blocked += s.Blocked
	total.Collected += s.Collected
	total.Missed += s.Missed
	total.Waits = Merge(total.Waits, s.Waits)
}

// day is the day that is summed up.
type day struct {
	from, to, until time.Time
	of              map[coordinator.MachineID]*tally
	called          map[coordinator.TurnID]bool
}

func (d *day) has(t time.Time) bool { return !t.Before(d.from) && t.Before(d.to) }

func (d *day) machine(id coordinator.MachineID) *tally {
	if d.of[id] == nil {
		d.of[id] = &tally{
			cycles: map[uint64]coordinator.Fact{}, collected: map[coordinator.LoadID]bool{}, assumed: map[coordinator.LoadID]time.Time{},
		}
	}
	return d.of[id]
}

// add sorts a fact to its machine.
func (d *day) add(f *coordinator.Fact) {
	t := d.machine(f.Machine)
	switch f.Kind {
	case coordinator.FactCycle:
		t.ended(f)
	case coordinator.FactCollected:
		t.collect(f, d.has(f.At))
	case coordinator.FactAssumed:
		t.assume(f)
	case coordinator.FactStillIn:
		t.since = f.At
		delete(t.collected, f.Load)
	case coordinator.FactStarted, coordinator.FactWalkUp:
		t.block(f.At)
	case coordinator.FactMissed:
		if d.has(f.At) {
			t.sum.Missed++
		}
	case coordinator.FactCalled:
		if d.has(f.At) && !d.called[f.Turn] {
			t.sum.Waits = append(t.sum.Waits, f.Wait)
		}
		d.called[f.Turn] = f.Turn != 0
	}
}

// tally gathers what the facts say of one machine.
type tally struct {
	sum    Summary
	cycles map[uint64]coordinator.Fact // by number; a later fact corrects an earlier
	loose  []coordinator.Fact          // cycles without a number
	// since is when the load inside was told of; zero when there is none.
	since     time.Time
	blocked   []stretch
	collected map[coordinator.LoadID]bool      // on the day
	assumed   map[coordinator.LoadID]time.Time // assumed empty at
}

type stretch struct{ from, to time.Time }

// ended notes a cycle. One that began after a load was told of means that the
// drum was emptied; one that began before is the same cycle, corrected.
func (t *tally) ended(f *coordinator.Fact) {
	if f.Start.After(t.since) {
		t.block(f.Start)
	}
	if f.Cycle == 0 {
		t.loose = append(t.loose, *f)
	} else {
		t.cycles[f.Cycle] = *f
	}
	t.since = f.At
}

// block ends the stretch in which a load was inside.
func (t *tally) block(end time.Time) {
	if !t.since.IsZero() {
		t.blocked = append(t.blocked, stretch{t.since, end})
		t.since = time.Time{}
	}
}

func (t *tally) assume(f *coordinator.Fact) {
	t.block(f.At)
	t.assumed[f.Load] = f.At
}

// collect ends the stretch at the collection, or when the drum had been assumed
// empty before. The fact knows how long it was, also where its begin is not among the facts.
func (t *tally) collect(f *coordinator.Fact, today bool) {
	end, was := t.assumed[f.Load]
	if !was {
		end = f.At
	}
	if f.Wait > 0 {
		t.blocked = append(t.blocked, stretch{f.At.Add(-f.Wait), end})
		t.since = time.Time{}
	} else {
		t.block(end)
	}
	if today {
		t.collected[f.Load] = true
	}
}

// close makes the summary of what was gathered.
func (t *tally) close(d *day) Summary {
	if !t.since.IsZero() {
		t.blocked = append(t.blocked, stretch{t.since, d.until})
	}
	for _, f := range t.cycles {
		t.loose = append(t.loose, f)
	}
	var ran []stretch
	for i := range t.loose {
		f := &t.loose[i]
		ran = append(ran, stretch{f.Start, f.End})
		if d.has(f.End) {
			t.count(f)
		}
	}
	t.sum.EnergyWh = milli(t.sum.EnergyWh)
	t.sum.Running, t.sum.Blocked = d.length(ran), d.length(t.blocked)
	t.sum.Collected = len(t.collected)
	slices.Sort(t.sum.Waits)
	return t.sum
}

func (t *tally) count(f *coordinator.Fact) {
	t.sum.Cycles++
	t.sum.EnergyWh += f.EnergyWh
	switch f.Note {
	case cycle.StoppedEarly.String():
		t.sum.StoppedEarly++
	case cycle.Presumed.String():
		t.sum.Presumed++
	}
}

// length is how much of the day the stretches cover, counting no instant twice.
func (d *day) length(all []stretch) (sum time.Duration) {
	slices.SortFunc(all, func(a, b stretch) int { return a.from.Compare(b.from) })
	at := d.from
	for _, s := range all {
		if s.from.After(at) {
			at = s.from
		}
		end := s.to
		if end.After(d.to) {
			end = d.to
		}
		if end.After(at) {
			sum += end.Sub(at)
			at = end
		}
	}
	return sum
}
