package usage

import (
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	"drumturn/coordinator"
)

// gatherHomes reads the sums by home of the rooms whose house rules want them.
func (m *maker) gatherHomes(room *HouseRoom, row *Row) error {
	if !room.PerHome || m.out.Query.Scope.Machine != "" {
		return nil
	}
	sum := homeSums{Homes: map[coordinator.HomeID]*HomeSum{}}
	from, to := m.out.Query.From, m.out.Query.To
	first, last := wholeMonths(from, to)
	days := func(from, to Date) error {
		return eachHomes(m.ctx, m.r, homeDayKey(room.ID, from), homeDayKey(room.ID, to.Add(1)), &sum)
	}
	if last.Before(first) {
		if err := days(from, to); err != nil {
			return err
		}
		m.addHomes(&sum, row)
		return nil
	}
	if err := days(from, first.First().Add(-1)); err != nil {
		return err
	}
	if err := eachHomes(m.ctx, m.r, homeMonthKey(room.ID, first), homeMonthKey(room.ID, last.Next()), &sum); err != nil {
		return err
	}
	if err := days(last.Next().First(), to); err != nil {
		return err
	}
	m.addHomes(&sum, row)
	return nil
}

// addHomes adds a room's homes. What no home is known to have drawn in cycles
// belongs to nobody: the parts are those of the room, whatever is known of homes.
func (m *maker) addHomes(sum *homeSums, room *Row) {
	if m.homes == nil {
		m.homes = map[coordinator.HomeID]*HomeSum{}
	}
	rest := HomeSum{Cycles: room.Cycles}
	for _, u := range room.Used {
		rest.Used = addUsed(rest.Used, Used{Tariff: u.Tariff, Window: u.Window, Cycles: u.Cycles})
		m.standby = addUsed(m.standby, Used{Tariff: u.Tariff, Window: u.Window, Standby: u.Standby})
	}
	for id, home := range sum.Homes {
		if id == "" {
			continue
		}
		m.home(id).add(home)
		rest.Cycles -= home.Cycles
		for _, u := range home.Used {
			rest.Used = addUsed(rest.Used, Used{Tariff: u.Tariff, Window: u.Window, Cycles: -u.Cycles})
		}
	}
	m.home("").add(&rest)
	m.homesOf = append(m.homesOf, room.Room)
}

func (m *maker) home(id coordinator.HomeID) *HomeSum {
	if m.homes[id] == nil {
		m.homes[id] = &HomeSum{}
	}
	return m.homes[id]
}

// homeRows lists the homes by name, then nobody, then standby.
func (m *maker) homeRows() {
	if m.homes == nil {
		return
	}
	m.out.Notes = append(m.out.Notes, NoteHomes)
	for id, h := range m.homes {
		row := HomeRow{Who: WhoHome, Home: id, Name: m.h.Homes[id], Cycles: h.Cycles, Energy: energyOf(h.Used)}
		if id == "" {
			row.Who = WhoNobody
		}
		m.out.Homes = append(m.out.Homes, row)
	}
	slices.SortFunc(m.out.Homes, func(a, b HomeRow) int {
		if a.Who != b.Who {
			return strings.Compare(string(a.Who), string(b.Who)) // home before nobody
		}
		if c := strings.Compare(a.Name, b.Name); c != 0 {
			return c
		}
		return strings.Compare(string(a.Home), string(b.Home))
	})
	m.out.Homes = append(m.out.Homes, HomeRow{Who: WhoStandby, Energy: energyOf(m.standby)})
}

func energyOf(used []Used) (sum MilliWh) {
	for _, u := range used {
		sum += u.Cycles + u.Standby
	}
	return sum
}

// divideHomes gives each home its share of what the rooms with figures by home cost.
func (m *maker) divideHomes(p *prices) {
	var whole int64
	for _, room := range m.homesOf {
		whole += m.out.costOf(room).Minor
	}
	exact := make([]decimal.Decimal, len(m.out.Homes))
	for i := range m.out.Homes {
		row := &m.out.Homes[i]
		used := m.standby
		if row.Who != WhoStandby {
			used = m.homes[row.Home].Used
		}
		exact[i] = p.cost(used)
	}
	for i, share := range apportion(whole, exact, p.currency.Digits) {
		m.out.Homes[i].Cost = Amount{share, true}
	}
}
