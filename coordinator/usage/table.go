package usage

import (
	"strconv"
	"strings"
	"time"
)

// Kind is what the cells of a column hold.
type Kind string

// The kinds of column.
const (
	// KindText is a name that people gave. Escape it where it is shown.
	KindText Kind = "text"
	// KindWord is one of our own words or ids, and a date such as 2026-11-25.
	KindWord Kind = "word"
	// KindNumber is a number; KindMoney one in the table's currency, exact in Text.
	KindNumber Kind = "number"
	KindMoney  Kind = "money"
)

// Column says what stands in a column of a table.
type Column struct {
	// Key names the column for programs, and in the catalogue of words for people.
	Key  string
	Kind Kind
	// Unit is "h", "min", "kWh", "%", a currency's code, or empty for a plain count or text.
	Unit string
	// Decimals is how many a number is written with.
	Decimals int
}

// Cell is one value. Text is how files have it, with a point for the decimals;
// Number is the value of numbers and money. A cell without a value has an empty
// Text: it is unknown or does not exist, which is not 0.
type Cell struct {
	Text   string
	Number float64
}

// Table is what stands behind a chart, and in a file of figures.
type Table struct {
	// Name is a word or two of ours, such as "periods" or "machines".
	Name    string
	Columns []Column
	Rows    [][]Cell
}

// Tables are those of the report, without those that have no rows.
func (r *Report) Tables() []Table {
	all := []Table{
		r.periods(),
		r.rows("rooms", r.Rooms, []Column{{Key: "room", Kind: KindWord}, {Key: "name", Kind: KindText}},
			func(row *Row) []Cell { return []Cell{Word(string(row.Room)), Word(row.Name)} }),
		r.machines(),
		r.windows(), r.homes(), r.costs(), r.week(),
	}
	out := all[:0]
	for _, t := range all {
		if len(t.Rows) > 0 {
			out = append(out, t)
		}
	}
	return out
}

// machines has the price of a cycle at the machine too, where one pays there.
func (r *Report) machines() Table {
	t := r.rows("machines", r.Machines, []Column{{Key: "room", Kind: KindWord}, {Key: "machine", Kind: KindWord}, {Key: "name", Kind: KindText}},
		func(row *Row) []Cell {
			return []Cell{Word(string(row.Room)), Word(string(row.Machine)), Word(row.Name)}
		})
	currency := ""
	for i := range r.Machines {
		if _, unit, paid := strings.Cut(r.Machines[i].CyclePrice, " "); paid {
			currency = unit
		}
	}
	if currency == "" {
		return t
	}
	t.Columns = append(t.Columns, Column{Key: "cycle_price", Kind: KindMoney, Unit: currency})
	for i := range t.Rows {
		price, _, _ := strings.Cut(r.Machines[i].CyclePrice, " ")
		v, err := strconv.ParseFloat(price, 64)
		if err != nil {
			price = ""
		}
		t.Rows[i] = append(t.Rows[i], Cell{price, v})
	}
	return t
}

// periods has the standing charge too.
func (r *Report) periods() Table {
	t := r.rows("periods", r.Periods, []Column{{Key: "from", Kind: KindWord}, {Key: "to", Kind: KindWord}},
		func(row *Row) []Cell { return []Cell{Word(row.From.String()), Word(row.To.String())} })
	if r.Currency.Code != "" && r.Query.Scope == (Scope{}) {
		t.Columns = append(t.Columns, r.moneyColumn("standing_charge"))
		for i := range t.Rows {
			t.Rows[i] = append(t.Rows[i], r.money(r.Periods[i].Standing))
		}
	}
	return t
}

func (r *Report) moneyColumn(key string) Column {
	return Column{key, KindMoney, r.Currency.Code, r.Currency.Digits}
}

// figureColumns are what every table of rows says of each.
func (r *Report) figureColumns() []Column {
	number := func(key, unit string, decimals int) Column { return Column{key, KindNumber, unit, decimals} }
	all := []Column{
		number("days", "", 0), number("cycles", "", 0), number("stopped_early", "", 0), number("presumed", "", 0),
		number("running", "h", 2), number("open", "h", 2), number("out_of_service", "h", 2), number("utilisation", "%", 1), number("blocked", "h", 2),
		number("collected", "", 0), number("calls", "", 0), number("missed", "", 0),
		number("wait_median", "min", 1), number("wait_p95", "min", 1),
		number("energy_cycles", "kWh", 3), number("energy_standby", "kWh", 3), number("energy_per_cycle", "kWh", 3),
		number("unmetered", "h", 2),
	}
	if r.Currency.Code != "" {
		all = append(all, r.moneyColumn("cost"))
	}
	return all
}

// figureCells are the cells of figureColumns.
func (r *Report) figureCells(row *Row) []Cell {
	cycles, standby := row.Energy()
	share, wait := none, func(time.Duration) Cell { return none }
	if row.Open > 0 {
		share = Fixed(100*row.Utilisation(), 1)
	}
	if row.Waits.Count() > 0 {
		wait = func(d time.Duration) Cell { return Fixed(d.Minutes(), 1) }
	}
	each := none
	if row.Cycles > 0 {
		each = Fixed(row.KWhPerCycle(), 3)
	}
	all := []Cell{
		Count(row.Days), Count(row.Cycles), Count(row.StoppedEarly), Count(row.Presumed),
		Fixed(row.Running.Hours(), 2), Fixed(row.Open.Hours(), 2), Fixed(row.Out.Hours(), 2), share, Fixed(row.Blocked.Hours(), 2),
		Count(row.Collected), Count(row.Waits.Count()), Count(row.Missed), wait(row.Waits.Median()), wait(row.Waits.P95()),
		Fixed(cycles.KWh(), 3), Fixed(standby.KWh(), 3), each, Fixed(row.Unmetered.Hours(), 2),
	}
	if r.Currency.Code != "" {
		all = append(all, r.money(row.Cost))
	}
	return all
}

func (r *Report) rows(name string, rows []Row, head []Column, cells func(*Row) []Cell) Table {
	t := Table{Name: name, Columns: append(head, r.figureColumns()...)}
	for i := range rows {
		t.Rows = append(t.Rows, append(cells(&rows[i]), r.figureCells(&rows[i])...))
	}
	return t
}

// week is the heat map as a table: a row for each hour of the week, Monday first.
func (r *Report) week() Table {
	t := Table{Name: "week", Columns: []Column{
		{Key: "weekday", Kind: KindWord}, {Key: "hour", Kind: KindNumber}, {"observed", KindNumber, "h", 2},
		{"machines_running", KindNumber, "", 2}, {"starts_per_hour", KindNumber, "", 2}, {"turns_waiting", KindNumber, "", 2},
	}}
	for _, d := range weekdays {
		for i := range r.Week[d] {
			h := &r.Week[d][i]
			cells := []Cell{Word(d.String()), Count(i), Fixed(h.Observed.Hours(), 2), none, none, none}
			if h.Observed > 0 {
				cells[3], cells[4], cells[5] = Fixed(h.MachinesRunning(), 2), Fixed(h.StartsPerHour(), 2), Fixed(h.TurnsWaiting(), 2)
			}
			t.Rows = append(t.Rows, cells)
		}
	}
	return t
}

func (r *Report) money(a Amount) Cell {
	if !a.Known {
		return none
	}
	text := r.Currency.Text(a)
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return none
	}
	return Cell{text, v}
}
