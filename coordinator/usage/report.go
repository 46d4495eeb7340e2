package usage

import (
	"context"
	"time"

	"drumturn/coordinator"
)

// House is what a report must know of the building besides its stored sums.
type House struct {
	Name  string
	Zone  *time.Location `json:"-"`
	Rooms []HouseRoom
	// Tariffs are the prices of energy.
	Tariffs coordinator.Tariffs
	// Homes are the homes' names.
	Homes map[coordinator.HomeID]string
}

// HouseRoom is a room as reports name it.
type HouseRoom struct {
	ID       coordinator.RoomID
	Name     string
	Machines []HouseMachine
	// PerHome: the house rules want sums for each home.
	PerHome bool
}

// HouseMachine is a machine as reports name it.
type HouseMachine struct {
	ID coordinator.MachineID
	// Name is what people call it, in the language of the report.
	Name string
}

func (h *House) room(id coordinator.RoomID) *HouseRoom {
	for i := range h.Rooms {
		if h.Rooms[i].ID == id {
			return &h.Rooms[i]
		}
	}
	return nil
}

// Row is the figures of one period, room, machine, home or window of the tariff.
type Row struct {
	// From and To are the dates of the row, both included.
	From, To Date
	// Room and Machine say what the row is about; both empty: all of the report.
	Room    coordinator.RoomID    `json:",omitempty"`
	Machine coordinator.MachineID `json:",omitempty"`
	// Name is what people call the room, machine, home or window. It comes from
	// people: escape it where it is shown.
	Name string `json:",omitempty"`
	Figures
	// Cost is what the energy cost, in the report's currency.
	Cost Amount
	// Standing is the standing charge, of periods and the whole of a building only.
	Standing Amount
	// CyclePrice is what a cycle costs at the machine when the report ends, such as
	// "1.50 EUR"; empty where nothing is paid there. Nothing is reckoned with it.
	CyclePrice string `json:",omitempty"`
}

// Report is the figures that a query asked for. Sums over the rows of each list
// are those of Whole, the costs too, to the last unit.
type Report struct {
	Query Query
	// Currency of every Amount; its zero value when there is no tariff.
	Currency Currency
	// Whole is all of the time and scope.
	Whole Row
	// Periods are in order; one without sums has a row of zeros (Days is 0).
	Periods []Row
	// Rooms has a row for each room, when the scope is the building.
	Rooms []Row
	// Machines has a row for each machine in the scope, in the order of the house;
	// after them those that are no longer there but have sums.
	Machines []Row
	// Week is the heat map of the whole time: machines running, starts, turns waiting.
	Week Week
	// Costs is what all of it cost, and its parts.
	Costs Costs
	// Windows has the energy by window of the tariff.
	Windows []WindowRow
	// Homes has the homes' parts of the rooms whose house rules want that; empty otherwise.
	Homes []HomeRow
	// Notes are what the reader must know.
	Notes []Note
}

// MakeReport reads the stored sums that the query asks for, and no others: whole
// months as such, days where a month is cut or days or weeks are asked for. A
// bad query is a *QueryError.
//
// Figures are up to the last day that has sums, which is yesterday once the
// night's work is done; see Today for the day that runs.
func MakeReport(ctx context.Context, r Rollups, h *House, q Query) (*Report, error) {
	if err := q.check(h); err != nil {
		return nil, err
	}
	m := &maker{ctx: ctx, r: r, h: h, out: &Report{Query: q}}
	if err := m.gather(); err != nil {
		return nil, err
	}
	m.homeRows()
	m.reckon()
	m.cyclePrices()
	m.out.Whole.From, m.out.Whole.To = q.From, q.To
	m.out.Whole.Room, m.out.Whole.Machine = q.Scope.Room, q.Scope.Machine
	return m.out, nil
}

// maker gathers a report.
type maker struct {
	ctx context.Context
	r   Rollups
	h   *House
	out *Report
	// first and last are the first and the last day that have sums.
	first, last Date
	// homes are the sums by home, of the rooms homesOf; standby is what these rooms'
	// machines drew outside of cycles.
	homes   map[coordinator.HomeID]*HomeSum
	homesOf []coordinator.RoomID
	standby []Used
}

// seen notes days that have sums.
func (m *maker) seen(first, last Date) {
	if m.first.IsZero() || first.Before(m.first) {
		m.first = first
	}
	if m.last.Before(last) {
		m.last = last
	}
}

// gather reads all rooms of the scope.
func (m *maker) gather() error {
	q := &m.out.Query
	periods := q.periods()
	m.out.Periods = make([]Row, 0, len(periods))
	for _, p := range periods {
		m.out.Periods = append(m.out.Periods, Row{From: p.from, To: p.to, Room: q.Scope.Room, Machine: q.Scope.Machine})
	}
	for i := range m.h.Rooms {
		room := &m.h.Rooms[i]
		if q.Scope.Room != "" && q.Scope.Room != room.ID {
			continue
		}
		row := Row{From: q.From, To: q.To, Room: room.ID, Name: room.Name}
		if err := m.whole(&row); err != nil {
			return err
		}
		if q.Scope.Machine == "" {
			if err := m.machines(room); err != nil {
				return err
			}
		}
		if err := m.gatherHomes(room, &row); err != nil {
			return err
		}
		m.out.Whole.beside(&row.Figures)
		if q.Scope == (Scope{}) {
			m.out.Rooms = append(m.out.Rooms, row)
		}
	}
	return nil
}

// whole reads a room's figures (or those of the machine asked for): its row, the
// periods, and the week.
func (m *maker) whole(row *Row) error {
	machine := m.out.Query.Scope.Machine
	var week Week
	at := -1 // the period whose figures are gathered
	var sum Figures
	flush := func(next int) {
		if at >= 0 && next != at {
			if p := &m.out.Periods[at].Figures; p.Days == 0 {
				*p = sum // nothing is there yet
			} else {
				p.beside(&sum)
			}
			sum = Figures{}
		}
		at = next
	}
	err := m.each(row.Room, machine, m.out.Query.By, func(d Date, f *Figures, hours func(*Week)) {
		next := max(at, 0)
		for m.out.Periods[next].To.Before(d) {
			next++
		}
		flush(next)
		row.then(f)
		hours(&week)
		if sum.Days == 0 {
			sum = *f
		} else {
			sum.then(f)
		}
	})
	flush(-1)
	m.out.Week.beside(&week)
	return err
}

// machines adds a row for each machine of a room.
func (m *maker) machines(room *HouseRoom) error {
	stored, err := machinesWithSums(m.ctx, m.r, room.ID)
	if err != nil {
		return err
	}
	for _, machine := range room.with(stored) {
		row := Row{From: m.out.Query.From, To: m.out.Query.To, Room: room.ID, Machine: machine.ID, Name: machine.Name}
		err := m.each(room.ID, machine.ID, ByMonth, func(_ Date, f *Figures, _ func(*Week)) { row.then(f) })
		if err != nil {
			return err
		}
		m.out.Machines = append(m.out.Machines, row)
	}
	return nil
}

// with are the room's machines, then others that have sums.
func (r *HouseRoom) with(stored []coordinator.MachineID) []HouseMachine {
	all := r.Machines[:len(r.Machines):len(r.Machines)]
	for _, id := range stored {
		known := false
		for i := range r.Machines {
			known = known || r.Machines[i].ID == id
		}
		if !known {
			all = append(all, HouseMachine{ID: id, Name: string(id)})
		}
	}
	return all
}
