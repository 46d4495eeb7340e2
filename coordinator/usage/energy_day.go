package usage

import (
	"math"
	"slices"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// dayEnergy is what a machine drew on a local day.
type dayEnergy struct {
	used []Used
	// dark is how long nothing was known of the power, outside of cycles.
	dark time.Duration
	// homes is what the cycles of each home drew, and how many ended; those of
	// nobody are under "".
	homes map[coordinator.HomeID]*HomeSum
}

// pricing divides a day by what energy costs.
type pricing struct {
	version int
	pieces  []coordinator.TariffPiece
}

// priced is how the tariff in force divides a day; all of it is one piece when
// there is none.
func priced(tariffs coordinator.Tariffs, date Date, zone *time.Location) pricing {
	if v := tariffs.On(date); v != nil {
		return pricing{v.Version, v.Tariff.Day(date, zone)}
	}
	return pricing{0, []coordinator.TariffPiece{{From: date.Begin(zone), To: date.End(zone)}}}
}

// energy reckons what a machine drew on the day, from its readings and the cycles
// in the tally.
//
// What the cycle engine said of a cycle's energy is taken as it is, and the
// readings say only when it was drawn; where there are none, it is spread evenly.
// The parts of a cycle add up to it in whole milliwatt-hours, over midnight too.
func (d *day) energy(m coordinator.MachineID, t *tally) (out dayEnergy, err error) {
	p := priced(d.Tariffs, d.Date, d.Zone)
	cycles, busy := t.over(d)
	set := d.Power[m]
	readings, err := d.readings(m, cycles, set.SilentAfter)
	if err != nil {
		return out, err
	}
	for i := range cycles {
		f := &cycles[i]
		homes := out.parties(d, f)
		cum := cumulative(f, readings, set)
		for _, piece := range p.pieces {
			s := stretch{piece.From, piece.To}.clip(f.Start, f.End)
			if s.length() == 0 {
				continue
			}
			u := Used{Tariff: p.version, Window: piece.Window, Cycles: cum(s.to) - cum(s.from)}
			if u.Cycles == 0 {
				continue
			}
			out.used = addUsed(out.used, u)
			share(u, homes)
		}
	}
	out.standby(d, m, p, busy, readings, set)
	return out, nil
}

// over are the cycles of which a part lies in the day, and the stretches in which
// the machine worked: those and a cycle that is not over yet.
func (t *tally) over(d *day) (cycles []coordinator.Fact, busy []stretch) {
	for i := range t.loose {
		if f := &t.loose[i]; f.Start.Before(f.End) && f.Start.Before(d.to) && !f.End.Before(d.from) {
			cycles = append(cycles, *f)
			busy = append(busy, stretch{f.Start, f.End})
		}
	}
	if _, over := t.cycles[t.begun.Cycle]; t.begun.Cycle != 0 && !over {
		busy = append(busy, stretch{t.begun.Start, d.Until})
	}
	return cycles, d.within(busy)
}

// readings are the machine's, for the day and for the whole of the cycles.
func (d *day) readings(m coordinator.MachineID, cycles []coordinator.Fact, silent time.Duration) (all []cycle.Reading, err error) {
	if d.Readings == nil {
		return nil, nil
	}
	from, to := d.from, d.to
	for i := range cycles {
		if cycles[i].Start.Before(from) {
			from = cycles[i].Start
		}
		if cycles[i].End.After(to) {
			to = cycles[i].End
		}
	}
	err = d.Readings(m, from.Add(-silent), to.Add(1), func(r coordinator.MachineReading) bool {
		all = append(all, r.Reading)
		return true
	})
	return all, err
}

// from are the readings from an instant to another, both included.
func from(readings []cycle.Reading, from, to time.Time) []cycle.Reading {
	at := func(r cycle.Reading, t time.Time) int { return r.At.Compare(t) }
	i, _ := slices.BinarySearchFunc(readings, from, at)
	k, _ := slices.BinarySearchFunc(readings, to.Add(1), at)
	return readings[i:max(i, k)]
}

// cumulative is a cycle's energy from its start to an instant in it. It depends on
// nothing but the cycle, so that two days divide one alike.
func cumulative(f *coordinator.Fact, readings []cycle.Reading, set cycle.Settings) func(time.Time) MilliWh {
	c := curveOf(from(readings, f.Start.Add(-set.SilentAfter), f.End), set.SilentAfter, set.RegisterModulusWh, f.End)
	drawn, wh := c.between(f.Start, f.End), f.EnergyWh
	if wh == 0 && f.Note == string(coordinator.EndReported) {
		wh = drawn // run by hand: nobody said what it drew, but a meter may know
	}
	return func(t time.Time) MilliWh {
		share := float64(t.Sub(f.Start)) / float64(f.End.Sub(f.Start))
		if drawn > 0 {
			share = c.between(f.Start, t) / drawn
		}
		return MilliWh(math.Round(wh * 1000 * min(max(share, 0), 1)))
	}
}

// standby adds what was drawn outside of cycles.
func (e *dayEnergy) standby(d *day, m coordinator.MachineID, p pricing, busy []stretch, readings []cycle.Reading, set cycle.Settings) {
	until := d.to
	if d.Until.Before(until) {
		until = d.Until
	}
	if len(readings) == 0 {
		e.keep(d, m, length(idleTimes(busy, d.from, until)))
		return
	}
	c := curveOf(from(readings, d.from.Add(-set.SilentAfter), until), set.SilentAfter, set.RegisterModulusWh, until)
	for _, idle := range idleTimes(busy, d.from, until) {
		e.dark += idle.length() - c.known(idle.from, idle.to)
		for _, piece := range p.pieces {
			if s := (stretch{piece.From, piece.To}).clip(idle.from, idle.to); s.length() > 0 {
				if wh := MilliWh(math.Round(1000 * c.between(s.from, s.to))); wh > 0 {
					e.used = addUsed(e.used, Used{Tariff: p.version, Window: piece.Window, Standby: wh})
				}
			}
		}
	}
}

// keep takes the standby energy that was known before, if any.
func (e *dayEnergy) keep(d *day, m coordinator.MachineID, idle time.Duration) {
	e.dark = idle
	was, ok := d.Kept[m]
	if !ok {
		return
	}
	e.dark = min(idle, was.Unmetered)
	for _, u := range was.Used {
		if u.Standby > 0 {
			e.used = addUsed(e.used, Used{Tariff: u.Tariff, Window: u.Window, Standby: u.Standby})
		}
	}
}

// idleTimes are what lies between the stretches, which are in order.
func idleTimes(busy []stretch, from, until time.Time) (idle []stretch) {
	for _, b := range busy {
		if b.from.After(from) {
			idle = append(idle, stretch{from, b.from})
		}
		from = b.to
	}
	if until.After(from) {
		idle = append(idle, stretch{from, until})
	}
	return idle
}

// parties are the sums of the homes whose laundry a cycle washed or dried: that of
// the load's owner, for whom the cycle counts, then of those that share it.
func (e *dayEnergy) parties(d *day, f *coordinator.Fact) []*HomeSum {
	owner := d.owners[f.Load]
	all := []*HomeSum{e.home(owner)}
	if d.has(f.End) {
		all[0].Cycles++
	}
	for _, id := range d.sharers[f.Load] {
		if id != owner {
			all = append(all, e.home(id))
		}
	}
	return all
}

// share divides energy of a cycle into equal parts of whole milliwatt-hours. What is
// left over goes, one each, to the first: all remainders are the same.
func share(u Used, homes []*HomeSum) {
	n := MilliWh(len(homes))
	each, over := u.Cycles/n, u.Cycles%n
	for i, h := range homes {
		part := u
		if part.Cycles = each; MilliWh(i) < over {
			part.Cycles++
		}
		if part.Cycles != 0 {
			h.Used = addUsed(h.Used, part)
		}
	}
}

// home is the sum of a home.
func (e *dayEnergy) home(id coordinator.HomeID) *HomeSum {
	if e.homes == nil {
		e.homes = map[coordinator.HomeID]*HomeSum{}
	}
	if e.homes[id] == nil {
		e.homes[id] = &HomeSum{}
	}
	return e.homes[id]
}

// HomeSum is what a home's loads took over some time.
type HomeSum struct {
	Cycles int `json:",omitempty"`
	// Used is the energy of the cycles, by window of the tariff.
	Used []Used `json:",omitempty"`
}

func (h *HomeSum) add(o *HomeSum) {
	h.Cycles += o.Cycles
	for _, u := range o.Used {
		h.Used = addUsed(h.Used, u)
	}
}
