package ui

import (
	"slices"

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
	return []fileLink{{"CSV", u.q.file(name, "csv")}, {"JSON", u.q.file(name, "json")}}
}

// shown is a table for people: the columns with the keys, in that order, after
// the row's own heading.
func (u *useDrawer) shown(t usage.Table, heads []cellView, keys ...string) figuresTable {
	out := figuresTable{Caption: u.l.Say("use.table-" + t.Name), Head: []cellView{headCell(u.l.Say("use.head-" + t.Name))}}
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
var listed = []string{"cycles", "running", "utilisation", "blocked", "wait_median", "wait_p95", "missed", "energy_cycles", "energy_standby", "energy_per_cycle", "cost"}

// list is the table of rooms or machines; each row leads to the same page about it.
func (u *useDrawer) list(name string, scope func(int) usage.Scope) (figuresTable, []fileLink) {
	t, ok := u.table(name)
	if !ok {
		return figuresTable{}, nil
	}
	at := slices.IndexFunc(t.Columns, func(c usage.Column) bool { return c.Key == "name" })
	var heads []cellView
	for i, row := range t.Rows {
		text := row[at].Text
		if name == "machines" && u.q.Scope.Room == "" {
			text = u.l.Say("use.machine-in", "machine", text, "room", u.roomName(u.r.Machines[i].Room))
		}
		heads = append(heads, cellView{Text: text, Link: u.q.of(scope(i)).link(), Head: true})
	}
	return u.shown(t, heads, listed...), u.files(name)
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
