package ui

import (
	"slices"
	"strconv"
	"strings"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
)

// table finds a table of the report by its name.
func (u *useDrawer) table(name string) (usage.Table, bool) {
	for _, t := range u.r.Tables() {
		if t.Name == name {
			return t, true
		}
	}
	return usage.Table{}, false
}

// files are links to a table as files.
func (u *useDrawer) files(name string) []fileLink {
	if u.page != "" {
		return tableFiles(u.page, name, u.query)
	}
	return tableFiles("/manager/use", name, u.q.values())
}

// shown is a table for people: the columns with the keys, in that order, after
// the row's own heading.
func (u *useDrawer) shown(t usage.Table, heads []cellView, keys ...string) figuresTable {
	out := figuresTable{Caption: u.l.Say("use.table-" + t.Name), Files: u.files(t.Name), Head: []cellView{headCell(u.l.Say("use.head-" + t.Name))}}
	var at []int
	for _, key := range keys {
		i := slices.IndexFunc(t.Columns, func(c usage.Column) bool { return c.Key == key })
		if i >= 0 {
			at = append(at, i)
			out.Head = append(out.Head, numCell(u.heading(&t.Columns[i])))
		}
	}
	for k, row := range t.Rows {
		cells := []cellView{heads[k]}
		for _, i := range at {
			cells = append(cells, numCell(u.cell(&t.Columns[i], row[i])))
		}
		out.Rows = append(out.Rows, cells)
	}
	return out
}

// heading is a column's name, with its unit.
func (u *useDrawer) heading(c *usage.Column) string {
	name := u.l.Say("use.col-" + c.Key)
	if c.Unit == "" {
		return name
	}
	return u.l.Say("use.with-unit", "name", name, "unit", c.Unit)
}

// cell is a value as people read it; nothing where it is not known.
func (u *useDrawer) cell(c *usage.Column, v usage.Cell) string {
	if v.Text == "" || c.Kind == usage.KindText || c.Kind == usage.KindWord {
		return v.Text
	}
	if c.Kind == usage.KindMoney { // exact: as many decimals as the text has
		_, decimals, _ := strings.Cut(v.Text, ".")
		if exact, err := strconv.ParseFloat(v.Text, 64); err == nil {
			return u.l.Fixed(exact, len(decimals))
		}
		return v.Text
	}
	return u.l.Fixed(v.Number, c.Decimals)
}

// periodHead are the headings of the periods' rows.
func (u *useDrawer) periodHead() []cellView {
	var all []cellView
	for i := range u.r.Periods {
		row := &u.r.Periods[i]
		text := u.period(row)
		if u.q.By == usage.ByWeek && row.From != row.To {
			text = u.l.Say("use.from-to", "from", shortDay(u.l, noonOf(row.From)), "to", shortDay(u.l, noonOf(row.To)))
		}
		all = append(all, headCell(text))
	}
	return all
}

// listed are the columns of the lists of rooms and machines.
var listed = []string{"cycles", "running", "utilisation", "blocked", "wait_median", "wait_p95", "missed", "energy_cycles", "energy_standby", "energy_per_cycle", "cost", "cycle_price"}

// sections are the tables that have no chart: each row of rooms and machines
// leads to the same page about it.
func (u *useDrawer) sections() []sectionView {
	r := u.r
	all := []sectionView{
		u.section("rooms", func(i int) cellView {
			return cellView{Text: r.Rooms[i].Name, Link: u.q.of(usage.Scope{Room: r.Rooms[i].Room}).link(), Head: true}
		}, listed...),
		u.section("machines", u.machineHead, listed...),
		u.section("windows", func(i int) cellView {
			if r.Windows[i].Name == "" {
				return headCell(u.l.Say("use.window-none"))
			}
			return headCell(r.Windows[i].Name)
		}, "since", "price_per_kwh", "energy_cycles", "energy_standby", "cost"),
		u.section("costs", func(i int) cellView { return headCell(u.l.Say("use.cost-" + costParts[i])) }, "cost"),
		u.section("homes", func(i int) cellView {
			if r.Homes[i].Who == usage.WhoHome {
				return headCell(r.Homes[i].Name)
			}
			return headCell(u.l.Say("use.who-" + string(r.Homes[i].Who)))
		}, "cycles", "energy", "cost"),
	}
	return slices.DeleteFunc(all, func(s sectionView) bool { return len(s.Table.Rows) == 0 })
}

// costParts are the rows of the table of costs.
var costParts = [...]string{"cycles", "standby", "standing_charge", "total"}

// machineHead is a machine's heading, with its room where there are several.
func (u *useDrawer) machineHead(i int) cellView {
	row := &u.r.Machines[i]
	text := row.Name
	if u.q.Scope.Room == "" && len(u.r.Rooms) > 1 {
		text = u.l.Say("use.machine-in", "machine", text, "room", u.roomName(row.Room))
	}
	return cellView{Text: text, Link: u.q.of(usage.Scope{Room: row.Room, Machine: row.Machine}).link(), Head: true}
}

func (u *useDrawer) section(name string, head func(int) cellView, keys ...string) sectionView {
	t, ok := u.table(name)
	if !ok {
		return sectionView{}
	}
	var heads []cellView
	for i := range t.Rows {
		heads = append(heads, head(i))
	}
	return sectionView{Title: u.l.Say("use.table-" + name), Table: u.shown(t, heads, keys...)}
}

// notes are what the reader of the figures must know.
func (u *useDrawer) notes() []string {
	var all []string
	for _, n := range u.r.Notes {
		all = append(all, u.l.Say("use.note-"+string(n)))
	}
	return append(all, u.l.Say("use.note"))
}

// roomName is what people call a room of the report.
func (u *useDrawer) roomName(id coordinator.RoomID) string {
	for i := range u.r.Rooms {
		if u.r.Rooms[i].Room == id {
			return u.r.Rooms[i].Name
		}
	}
	return string(id)
}
