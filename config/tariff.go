package config

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"golang.org/x/text/currency"

	"drumturn/coordinator"
	"drumturn/queue"
)

// tariff decodes [tariff], once the rooms are known.
func (b *builder) tariff(s *section) {
	if s.node == nil {
		return
	}
	t := &b.file.Tariff
	s.missing("currency", `add currency = "EUR", or the three letters of yours`)
	s.missing("price_per_kwh", `add price_per_kwh = "0.32", with the price of one kWh`)
	s.date("valid_from", &t.From)
	s.text("currency", &t.Currency)
	s.price("price_per_kwh", &t.MicrosPerKWh)
	s.price("standing_charge", &t.StandingMicros)
	s.word("standing_per", &t.StandingPer, "month", "day", "year")
	s.word("rounding", &t.Rounding, "half-up", "half-even")
	for i, w := range s.tables("windows") {
		t.Windows = append(t.Windows, w.tariffWindow(i))
	}
	for _, c := range s.tables("cycle_prices") {
		t.CyclePrices = append(t.CyclePrices, b.cyclePrice(c, len(t.CyclePrices)))
	}
	known := t.Validate()
	for _, p := range known {
		at, key := s.findIn(p.Path)
		if at.has(key) && !at.refused(key) {
			at.wrong(key, p.Wrong, p.Right)
		}
	}
	if _, err := currency.ParseISO(t.Currency); err != nil && len(known) == 0 && t.Currency != "" {
		s.wrong("currency", fmt.Sprintf("there is no currency %q", t.Currency), `use the three capital letters of ISO 4217, such as "EUR" or "CHF"`)
	}
	s.close()
}

// tariffWindow decodes a window. What is missing is reported here, and gets a
// value that causes no second report.
func (s *section) tariffWindow(index int) coordinator.TariffWindow {
	w := coordinator.TariffWindow{Name: fmt.Sprintf("window %d", index+1), From: queue.NoClock, To: queue.NoClock}
	s.missing("name", `add name = "night", or what your supplier calls it`)
	s.missing("price_per_kwh", `add price_per_kwh = "0.24", with the price of one kWh in this window`)
	s.name("name", &w.Name)
	s.price("price_per_kwh", &w.MicrosPerKWh)
	s.clock("from", &w.From)
	s.clock("to", &w.To)
	s.weekdays("days", &w.Days)
	from, to := s.yearDay("season_from", &w.SeasonFrom), s.yearDay("season_to", &w.SeasonTo)
	for _, pair := range [][2]string{{"from", "to"}, {"to", "from"}, {"season_from", "season_to"}, {"season_to", "season_from"}} {
		if s.has(pair[0]) && !s.has(pair[1]) {
			s.wrong(pair[0], "it needs "+pair[1]+" beside it", "give both, or leave both out")
		}
	}
	if s.has("from") != s.has("to") {
		w.From, w.To = queue.NoClock, queue.NoClock
	}
	if !from || !to {
		w.SeasonFrom, w.SeasonTo = coordinator.YearDay{}, coordinator.YearDay{}
	}
	s.close()
	return w
}

// cyclePrice decodes what a cycle of a machine costs.
func (b *builder) cyclePrice(s *section, index int) coordinator.CyclePrice {
	var room, machine string
	s.missing("room", `add room = "cellar", as in the header of the room`)
	s.missing("machine", `add machine = "1", the machine's number or id`)
	s.missing("price", `add price = "1.50", with what one cycle costs`)
	s.text("room", &room)
	s.text("machine", &machine)
	p := coordinator.CyclePrice{Room: coordinator.RoomID(room), Machine: coordinator.MachineID(machine)}
	s.price("price", &p.Micros)
	i := slices.IndexFunc(b.file.Rooms, func(r coordinator.Plan) bool { return r.ID == p.Room })
	switch {
	case room == "" || machine == "": // reported
		p.Room, p.Machine = "?", coordinator.MachineID(strconv.Itoa(index))
	case i < 0:
		s.wrong("room", fmt.Sprintf("there is no room %q", room), "use the name in the header of a room")
	case !slices.ContainsFunc(b.file.Rooms[i].Machines, func(m coordinator.Machine) bool { return m.ID == p.Machine }):
		s.wrong("machine", fmt.Sprintf("there is no machine %q in room %s", machine, room), "use the number or id of a machine of that room")
	}
	s.close()
	return p
}

// findIn goes to the section and key that a path such as "windows[2].from" leads to.
func (s *section) findIn(path string) (*section, string) {
	list, key, ok := strings.Cut(path, ".")
	if !ok {
		return s, path
	}
	name, _, _ := strings.Cut(list, "[")
	for _, n := range s.node.child(name).elements() {
		if list == name+"["+strconv.Itoa(n.index)+"]" {
			return &section{in: s.in, node: n}, key
		}
	}
	return s, path
}

// date reads a day such as "2026-01-01".
func (s *section) date(key string, into *coordinator.Date) {
	n := s.scalar(key, `"2026-01-01"`, textShape)
	if n == nil {
		return
	}
	var d coordinator.Date
	if err := d.UnmarshalText([]byte(n.text)); err != nil {
		s.wrong(key, fmt.Sprintf("%q is no date", n.text), `use year, month and day, such as "2026-01-01"`)
		return
	}
	*into = d
}

// yearDay reads a day of every year such as "10-31".
func (s *section) yearDay(key string, into *coordinator.YearDay) bool {
	n := s.scalar(key, `"10-31"`, textShape)
	if n == nil {
		return false
	}
	t, err := time.Parse("2006-01-02", "2028-"+n.text) // a leap year
	if err != nil {
		s.wrong(key, fmt.Sprintf("%q is no day of a year", n.text), `use month and day, such as "10-31"`)
		return false
	}
	*into = coordinator.YearDay{Month: t.Month(), Day: t.Day()}
	return true
}

// weekdays reads a list of days of the week.
func (s *section) weekdays(key string, into *[]time.Weekday) {
	var names []string
	s.texts(key, &names)
	for _, name := range names {
		i := slices.Index(weekdays[:], strings.ToLower(name))
		if i < 0 {
			s.wrong(key, fmt.Sprintf("%q is no day of the week", name), didYouMean(strings.ToLower(name), weekdays[:]))
			return
		}
		*into = append(*into, time.Weekday(i))
	}
}

// price reads a decimal number exactly; it may stand in quotes or not.
func (s *section) price(key string, into *int64) {
	n := s.scalar(key, `"0.32"`, textShape, numberShape, wholeShape)
	if n == nil {
		return
	}
	text := strings.TrimSpace(n.text)
	v, err := parseMicros(text)
	switch {
	case err != nil && strings.Contains(text, ","):
		s.wrong(key, fmt.Sprintf("%q has a comma", text), fmt.Sprintf("use a point for the decimals: %q", strings.ReplaceAll(text, ",", ".")))
	case err != nil:
		s.wrong(key, err.Error(), `use digits with at most six decimals and without the currency, such as "0.32"`)
	default:
		*into = v
	}
}
