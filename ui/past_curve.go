package ui

import (
	"math"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/ui/chart"
)

// curve is a machine's power and energy over a stretch of time, gathered while
// its readings are read: however many there are, it stays as small.
type curve struct {
	from, to      time.Time
	power, energy *chart.Trace
	derived       cycle.RegisterPower
	tally         cycle.IntegratorTally
	begun         bool
	zero          time.Time // the energy counts from here
	before, wh    float64   // the tally where the stretch begins, and at the newest reading
	at            time.Time
	silent        time.Duration
	slots         []slot
	slot          time.Duration
}

// slot is a row of the table behind the curve.
type slot struct {
	from, to time.Time
	wh, most float64
	sum      float64 // Wh from where the energy counts up to the slot's last reading
	heard    time.Duration
}

// curveColumns is how fine a curve is kept: a minute of a day.
const curveColumns = 1440

// newCurve begins a curve from one instant to another, with a row of its table
// for each slot of time.
func newCurve(m *coordinator.MachineView, silent time.Duration, from, to time.Time, length time.Duration) *curve {
	k := &curve{
		from: from, to: to, zero: from, silent: silent, slot: length,
		power: chart.NewTrace(from, to, curveColumns, silent, true), energy: chart.NewTrace(from, to, curveColumns, silent, false),
	}
	k.derived.Register.Modulus = m.Power.RegisterModulusWh
	k.tally.Register.Modulus = m.Power.RegisterModulusWh
	k.tally.Power.MaxGap = silent
	for t := from; t.Before(to); t = t.Add(length) {
		end := t.Add(length)
		if end.After(to) {
			end = to
		}
		k.slots = append(k.slots, slot{from: t, to: end})
	}
	return k
}

// take takes a reading; those from shortly before the begin say what holds there.
func (k *curve) take(r coordinator.MachineReading) bool {
	w := r.Watts
	if math.IsNaN(w) && !math.IsNaN(r.Wh) {
		w = k.derived.Add(r.At, r.Wh)
	}
	k.power.Add(r.At, max(0, w))
	k.tally.Add(r.Reading, w)
	was, wh := k.at, k.tally.Wh()
	if k.begun && !r.At.Before(k.from) {
		k.note(was, r.At, wh-k.wh, w)
	}
	if !k.begun || !r.At.After(k.zero) {
		k.begun, k.before = true, wh
	}
	k.at, k.wh = r.At, wh
	if s := k.slotOf(r.At); s != nil {
		s.sum = wh - k.before
	}
	k.energy.Add(r.At, (wh-k.before)/1000)
	return true
}

// slotOf is the row of the table in which an instant lies; nil for none.
func (k *curve) slotOf(at time.Time) *slot {
	i := int(at.Sub(k.from) / k.slot)
	if at.Before(k.from) || i >= len(k.slots) {
		return nil
	}
	return &k.slots[i]
}

// note adds what came to pass between two readings to the table's rows.
func (k *curve) note(was, at time.Time, wh, w float64) {
	s := k.slotOf(at)
	if s == nil {
		return
	}
	s.wh += wh
	if !math.IsNaN(w) {
		s.most = max(s.most, w)
	}
	if d := at.Sub(was); d <= k.silent {
		s.heard += d
	}
}

// close ends the curve at the present, or where it ends.
func (k *curve) close(now time.Time) {
	k.power.Close(now)
	k.energy.Close(now)
}

// kwh is the energy of the stretch as far as it was heard.
func (k *curve) kwh() float64 { return (k.wh - k.before) / 1000 }

// sideRoom is for the labels of the value axes: charts that stand below each
// other have their hours below each other too.
const sideRoom = 56

// figures are the two charts: power, which gets whatever else is drawn, and energy.
func (k *curve) figures(p *pastScene, id string, dress func(*chart.Time)) []figureView {
	l := p.lang()
	base := func(part, unit, title string) chart.Time {
		return chart.Time{
			Frame: chart.Frame{ID: id + "-" + part, Title: title, Unit: unit, Locale: locale(l), Left: sideRoom},
			From:  k.from, To: k.to, Zone: p.zone, Gaps: k.power.Gaps(), Unheard: l.Say("past.unheard"),
		}
	}
	power := base("power", "W", l.Say("past.power"))
	power.Curves = []chart.Curve{{Trace: k.power, Filled: true, Steps: true}}
	power.Least = 100
	dress(&power)
	energy := base("energy", "kWh", l.Say("past.energy"))
	energy.Curves = []chart.Curve{{Trace: k.energy}}
	energy.Least, energy.Height = 0.2, 110
	return []figureView{
		{ID: id + "-power", Title: l.Say("past.power"), Drawings: drawn(&power), Table: k.table(p)},
		{ID: id + "-energy", Title: l.Say("past.energy"), Drawings: drawn(&energy), Table: k.energyTable(p)},
	}
}

// table is what stands behind the curves.
func (k *curve) table(p *pastScene) figuresTable {
	l, tell := p.lang(), p.tell()
	t := figuresTable{Caption: l.Say("past.table"), Head: []cellView{
		headCell(l.Say("past.from")), numCell(l.Say("past.mean-w")), numCell(l.Say("past.most-w")), numCell("kWh"), numCell(l.Say("past.heard")),
	}}
	for i := range k.slots {
		s := &k.slots[i]
		if s.from.After(p.now) {
			break
		}
		row := []cellView{headCell(tell.clockOn(s.from, k.from)), numCell(""), numCell(""), numCell(""), numCell(l.Say("past.unheard"))}
		if s.heard > 0 {
			row[1], row[2] = numCell(wattsOf(l, s.wh/s.heard.Hours())), numCell(wattsOf(l, s.most))
			row[3], row[4] = numCell(l.Number(s.wh/1000, 3)), numCell(percent(l, s.share(p.now)))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// energyTable is what stands behind the curve of energy.
func (k *curve) energyTable(p *pastScene) figuresTable {
	l, tell := p.lang(), p.tell()
	t := figuresTable{Caption: l.Say("past.energy"), Head: []cellView{headCell(l.Say("past.until")), numCell("kWh"), numCell(l.Say("past.so-far"))}}
	for i := range k.slots {
		s := &k.slots[i]
		if s.from.After(p.now) {
			break
		}
		row := []cellView{headCell(tell.clockOn(s.to, k.from)), numCell(""), numCell(l.Say("past.unheard"))}
		if s.heard > 0 {
			row[1], row[2] = numCell(l.Number(s.wh/1000, 3)), numCell(l.Number(s.sum/1000, 3))
		}
		t.Rows = append(t.Rows, row)
	}
	return t
}

// share is how much of the slot, as far as it has passed, was heard.
func (s *slot) share(now time.Time) float64 {
	end := s.to
	if now.Before(end) {
		end = now
	}
	if !end.After(s.from) {
		return 0
	}
	return min(1, float64(s.heard)/float64(end.Sub(s.from)))
}
