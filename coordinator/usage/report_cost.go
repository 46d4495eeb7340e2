package usage

import (
	"github.com/shopspring/decimal"

	"drumturn/coordinator"
)

// Costs is what the whole of a report cost, and its parts; they add up to Total.
type Costs struct {
	Cycles, Standby, Standing, Total Amount
}

// WindowRow is the energy of one window of one tariff.
type WindowRow struct {
	// Tariff is the version, Since the first day on which it holds (zero: ever),
	// Window the window's number, 0 for the price outside of all.
	Tariff, Window int
	Since          Date `json:",omitzero"`
	// Name is what people call the window; empty for window 0.
	Name string
	// PricePerKWh is a decimal number in the report's currency; empty when no tariff held.
	PricePerKWh     string
	Cycles, Standby MilliWh
	Cost            Amount
}

// HomeRow is what a home's loads took. Two rows are no homes: WhoNobody, the
// cycles that nobody owned, and WhoStandby, what machines drew outside of cycles.
type HomeRow struct {
	Who  Who
	Home coordinator.HomeID
	// Name is what residents call the home. It comes from people.
	Name   string
	Cycles int
	Energy MilliWh
	Cost   Amount
}

// Who says what a HomeRow is about.
type Who string

// The kinds of HomeRow.
const (
	WhoHome    Who = "home"
	WhoNobody  Who = "nobody"
	WhoStandby Who = "standby"
)

// Note is something that the reader of a report must know; the catalogue of words
// has a sentence for each.
type Note string

// The notes.
const (
	NoteNoTariff      Note = "no-tariff"      // no price is known, so there are no costs
	NoteTwoCurrencies Note = "two-currencies" // costs cannot be added up
	NoteUnpriced      Note = "unpriced"       // for a part of the energy no price is known
	NoteHomes         Note = "homes"          // a bill may need a meter that the law has approved
	NoteUnmetered     Note = "unmetered"      // for a part of the time nothing was measured at rest
)

// reckon adds the costs to what was gathered.
func (m *maker) reckon() {
	r := m.out
	p, two := pricesFor(m.h.Tariffs, r.Whole.Used, m.standingTariffs())
	r.Currency = p.currency
	cycles, standby, unpriced := p.exact(r.Whole.Used)
	if r.Whole.Unmetered > 0 {
		r.Notes = append(r.Notes, NoteUnmetered)
	}
	m.windows(&p)
	switch {
	case two:
		r.Notes = append(r.Notes, NoteTwoCurrencies)
	case p.currency.Code == "":
		r.Notes = append(r.Notes, NoteNoTariff)
	default:
		if unpriced > 0 {
			r.Notes = append(r.Notes, NoteUnpriced)
		}
		m.reckonParts(&p, cycles, standby)
	}
}

// reckonParts rounds the whole once and divides it: first over cycles, standby and
// standing charge, then each of these over periods, rooms, machines, windows.
func (m *maker) reckonParts(p *prices, cycles, standby decimal.Decimal) {
	r := m.out
	var standing []decimal.Decimal
	for i := range r.Periods {
		standing = append(standing, m.standing(p, &r.Periods[i]))
	}
	parts := []decimal.Decimal{cycles, standby, total(standing)}
	whole := rounded(total(parts), p.currency.Digits, p.rounding)
	shares := apportion(whole, parts, p.currency.Digits)
	known := func(minor int64) Amount { return Amount{minor, true} }
	r.Costs = Costs{known(shares[0]), known(shares[1]), known(shares[2]), known(whole)}
	r.Whole.Cost, r.Whole.Standing = known(shares[0]+shares[1]), known(shares[2])
	for i, share := range apportion(shares[2], standing, p.currency.Digits) {
		r.Periods[i].Standing = known(share)
	}
	p.divide(r.Whole.Cost, r.Periods)
	p.divide(r.Whole.Cost, r.Rooms)
	for i := 0; i < len(r.Machines); {
		k := i
		for k < len(r.Machines) && r.Machines[k].Room == r.Machines[i].Room {
			k++
		}
		p.divide(r.costOf(r.Machines[i].Room), r.Machines[i:k])
		i = k
	}
	m.divideWindows(p)
	m.divideHomes(p)
}

// costOf is what a room's energy cost.
func (r *Report) costOf(room coordinator.RoomID) Amount {
	for i := range r.Rooms {
		if r.Rooms[i].Room == room {
			return r.Rooms[i].Cost
		}
	}
	return r.Whole.Cost
}

// divide gives each row its share of a cost.
func (p *prices) divide(cost Amount, rows []Row) {
	exact := make([]decimal.Decimal, len(rows))
	for i := range rows {
		exact[i] = p.cost(rows[i].Used)
	}
	for i, share := range apportion(cost.Minor, exact, p.currency.Digits) {
		rows[i].Cost = Amount{share, true}
	}
}

// standing is the standing charge of a period, of its days between the first and
// the last that have sums. It is the building's: no room or machine has a part.
func (m *maker) standing(p *prices, row *Row) decimal.Decimal {
	days := span{row.From, row.To}
	if days.from.Before(m.first) {
		days.from = m.first
	}
	if m.last.Before(days.to) {
		days.to = m.last
	}
	if m.out.Query.Scope != (Scope{}) || m.first.IsZero() {
		return decimal.Zero
	}
	return p.standing(days)
}

// standingTariffs are those with a standing charge in the report's time.
func (m *maker) standingTariffs() (all []*coordinator.TariffVersion) {
	if m.out.Query.Scope != (Scope{}) || m.first.IsZero() {
		return nil
	}
	for d := m.first; !m.last.Before(d); d = d.Add(1) {
		if v := m.h.Tariffs.On(d); v != nil && v.Tariff.StandingMicros > 0 && (len(all) == 0 || all[len(all)-1] != v) {
			all = append(all, v)
		}
	}
	return all
}

// windows lists the energy by window of the tariff.
func (m *maker) windows(p *prices) {
	for i := range m.out.Whole.Used {
		u := &m.out.Whole.Used[i]
		row := WindowRow{Tariff: u.Tariff, Window: u.Window, Cycles: u.Cycles, Standby: u.Standby}
		if v := m.h.Tariffs.Numbered(u.Tariff); v != nil {
			row.Since = v.Tariff.From
			if u.Window > 0 && u.Window <= len(v.Tariff.Windows) {
				row.Name = v.Tariff.Windows[u.Window-1].Name
			}
		}
		if price, ok := p.of(u); ok {
			row.PricePerKWh = price.StringFixed(int32(p.currency.Digits))
			if exact := price.String(); len(exact) > len(row.PricePerKWh) {
				row.PricePerKWh = exact // a fraction of the smallest unit
			}
		}
		m.out.Windows = append(m.out.Windows, row)
	}
}

func (m *maker) divideWindows(p *prices) {
	exact := make([]decimal.Decimal, len(m.out.Windows))
	for i := range m.out.Windows {
		exact[i] = p.cost(m.out.Whole.Used[i : i+1])
	}
	for i, share := range apportion(m.out.Whole.Cost.Minor, exact, p.currency.Digits) {
		m.out.Windows[i].Cost = Amount{share, true}
	}
}

// cyclePrices puts the newest price of a cycle that held in the report's time into
// the machines' rows.
func (m *maker) cyclePrices() {
	v := m.h.Tariffs.On(m.out.Query.To)
	if v == nil {
		return
	}
	for i := range m.out.Machines {
		row := &m.out.Machines[i]
		if micros, ok := v.Tariff.CyclePrice(row.Room, row.Machine); ok {
			row.CyclePrice = decimal.New(micros, -6).StringFixed(int32(coordinator.CurrencyDigits(v.Tariff.Currency))) + " " + v.Tariff.Currency
		}
	}
}
