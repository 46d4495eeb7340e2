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
	// V is the edition of the sums; those of an older one are made anew.
	V       int
	Room    coordinator.RoomID
	Machine coordinator.MachineID `json:",omitempty"`
	Date    Date
	Figures
	// Hours are the day's hours by the clock. Turns that waited are the room's.
	Hours Hours `json:",omitzero"`
	// Opens and Closes bound the opening hours that held on the day; zero when closed.
	Opens  time.Time `json:",omitzero"`
	Closes time.Time `json:",omitzero"`
	// OutAfter says that the machine was out of service when the day ended.
	OutAfter bool `json:",omitempty"`
}

// edition is the V of the sums that this program makes.
const edition = outKnown

const (
	// hoursKnown is the edition from which on sums know hours and opening hours,
	// outKnown that from which on they know when machines were out of service.
	hoursKnown = 2
	outKnown   = 3
)

// lookBack is how long before the begin of a day facts may still bear on it: a
// load that was ready then and is not collected yet.
const lookBack = 36 * time.Hour

// Day is what a local day of a room is summed up from.
type Day struct {
	Room coordinator.RoomID
	Date Date
	Zone *time.Location
	// Machines are those of the room; each has sums also when it did nothing.
	Machines []coordinator.MachineID
	// Opens and Closes bound the day's opening hours; equal for a closed day.
	Opens, Closes time.Time
	// Out are the machines that were out of service when the day began.
	Out map[coordinator.MachineID]bool
	// Facts are those of the room in the order of time, from 36 hours before the
	// day's begin up to Until; later ones than the day's end are wanted too, since
	// a cycle is told of after its end.
	Facts []coordinator.Fact
	Until time.Time
	// Readings reads a machine's readings, Power are the settings of its engine;
	// nil: nothing was measured, and cycles are taken to draw evenly.
	Readings func(m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error
	Power    map[coordinator.MachineID]cycle.Settings
	// Tariffs say at which times energy is to be told apart.
	Tariffs coordinator.Tariffs
	// Kept is what was summed up before of machines: the standby energy stays where
	// the readings are gone.
	Kept map[coordinator.MachineID]Figures
}

// Sums are those of one local day of a room.
type Sums struct {
	// All has the room's own summary first, then one for each of its machines and
	// each other that the facts name, in order.
	All []Summary
	// Homes is what the loads of each home took; those of nobody are under "".
	Homes map[coordinator.HomeID]*HomeSum
}

// Summarise sums up a local day of a room. An error is one of Readings.
func Summarise(of Day) (Sums, error) {
	d := newDay(&of)
	for i := range of.Facts {
		if of.Facts[i].At.Before(of.Until) {
			d.add(&of.Facts[i])
		}
	}
	room := Summary{V: edition, Room: of.Room, Date: of.Date, Opens: of.Opens, Closes: of.Closes}
	room.Hours = d.waited()
	out := Sums{Homes: map[coordinator.HomeID]*HomeSum{}}
	for m, t := range d.of {
		s := t.close(d)
		s.V, s.Room, s.Machine, s.Date, s.Opens, s.Closes = edition, of.Room, m, of.Date, of.Opens, of.Closes
		if m != "" {
			if err := out.energy(d, m, t, &s); err != nil {
				return out, err
			}
			out.All = append(out.All, s)
		}
		room.beside(&s)
	}
	slices.SortFunc(out.All, func(a, b Summary) int { return cmp.Compare(a.Machine, b.Machine) })
	out.All = slices.Insert(out.All, 0, room)
	return out, nil
}

// energy adds what a machine drew.
func (o *Sums) energy(d *day, m coordinator.MachineID, t *tally, s *Summary) error {
	e, err := d.energy(m, t)
	if err != nil {
		return err
	}
	s.Used, s.Unmetered = e.used, e.dark
	for id, home := range e.homes {
		if o.Homes[id] == nil {
			o.Homes[id] = &HomeSum{}
		}
		o.Homes[id].add(home)
	}
	return nil
}

// beside adds a machine's summary to its room's.
func (s *Summary) beside(o *Summary) {
	s.Figures.beside(&o.Figures)
	for h := range s.Hours {
		s.Hours[h].beside(&o.Hours[h])
	}
}

// day is the day that is summed up.
type day struct {
	*Day
	from, to time.Time
	of       map[coordinator.MachineID]*tally
	turns    map[coordinator.TurnID]*stretch // how long each waited for its first call
	called   map[coordinator.TurnID]bool
	owners   map[coordinator.LoadID]coordinator.HomeID
	sharers  map[coordinator.LoadID][]coordinator.HomeID // in the order in which they came
}

func newDay(of *Day) *day {
	d := &day{
		Day: of, from: of.Date.Begin(of.Zone), to: of.Date.End(of.Zone), of: map[coordinator.MachineID]*tally{},
		turns: map[coordinator.TurnID]*stretch{}, called: map[coordinator.TurnID]bool{},
		owners: map[coordinator.LoadID]coordinator.HomeID{}, sharers: map[coordinator.LoadID][]coordinator.HomeID{},
	}
	for _, m := range of.Machines {
		d.machine(m).plan(d)
	}
	for m, out := range of.Out {
		if out {
			d.machine(m).outSince = d.from
		}
	}
	return d
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
	t.begin(f)
	d.own(f)
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
	case coordinator.FactOut, coordinator.FactBack:
		if d.has(f.At) {
			t.service(f)
		}
	case coordinator.FactMissed:
		if d.has(f.At) {
			t.sum.Missed++
		}
	case coordinator.FactJoined, coordinator.FactCalled, coordinator.FactLeft:
		d.turn(f, t)
	}
}

// tally gathers what the facts say of one machine.
type tally struct {
	sum    Summary
	cycles map[uint64]coordinator.Fact // by number; a later fact corrects an earlier
	loose  []coordinator.Fact          // cycles without a number
	begun  coordinator.Fact            // the last start
	// since is when the load inside was told of; zero when there is none.
	since   time.Time
	blocked []stretch
	// out are the stretches in which the machine was out of service, outSince is
	// when that began; zero when it is in service.
	out       []stretch
	outSince  time.Time
	collected map[coordinator.LoadID]bool      // on the day
	assumed   map[coordinator.LoadID]time.Time // assumed empty at
}

// begin notes a start, and forgets one that was none.
func (t *tally) begin(f *coordinator.Fact) {
	switch {
	case f.Kind == coordinator.FactStarted || f.Kind == coordinator.FactWalkUp:
		t.begun = *f
	case f.Kind == coordinator.FactNotMine && f.Note != "":
		t.begun = coordinator.Fact{}
	}
}

// own notes whose a load is.
func (d *day) own(f *coordinator.Fact) {
	switch f.Kind {
	case coordinator.FactStarted, coordinator.FactWalkUp, coordinator.FactClaimed:
		d.owners[f.Load] = f.Home
	case coordinator.FactNotMine:
		delete(d.owners, f.Load)
	case coordinator.FactShared:
		if f.Home != "" && !slices.Contains(d.sharers[f.Load], f.Home) {
			d.sharers[f.Load] = append(d.sharers[f.Load], f.Home)
		}
	}
}

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
		t.blocked = append(t.blocked, stretch{t.since, d.Until})
	}
	for _, f := range t.cycles {
		t.loose = append(t.loose, f)
	}
	var ran []stretch
	for i := range t.loose {
		f := &t.loose[i]
		ran = append(ran, stretch{f.Start, f.End})
		t.count(f, d)
	}
	t.sum.Days = 1
	t.time(d, d.within(ran))
	t.outage(d, d.within(ran))
	t.sum.Blocked = length(d.within(t.blocked))
	t.sum.Collected = len(t.collected)
	return t.sum
}

func (t *tally) count(f *coordinator.Fact, d *day) {
	if d.has(f.Start) {
		t.sum.Starts++
		t.sum.Hours[f.Start.In(d.Zone).Hour()].Starts++
	}
	if !d.has(f.End) {
		return
	}
	t.sum.Cycles++
	t.sum.CycleWh = milli(t.sum.CycleWh + milli(f.EnergyWh)) // each first: the sum is the same in any order
	switch f.Note {
	case cycle.StoppedEarly.String():
		t.sum.StoppedEarly++
	case cycle.Presumed.String():
		t.sum.Presumed++
	}
}
