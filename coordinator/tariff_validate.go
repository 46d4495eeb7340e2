package coordinator

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"drumturn/queue"
)

const (
	maxWindows = 50
	// maxMicros keeps sums of a building's energy and its price within numbers
	// that anybody can have meant.
	maxMicros = 1_000_000_000 * 1_000_000
)

// Validate lists what is wrong with the tariff. The zero tariff is none, and
// right. A Path is the setting's name in the building file: "price_per_kwh",
// "windows[2].from" (the second window).
func (t *Tariff) Validate() []Problem {
	if t.IsZero() {
		return nil
	}
	var c checks
	if len(t.Currency) != 3 || strings.Trim(t.Currency, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		c.add("currency", fmt.Sprintf("%q is no currency code", t.Currency),
			`use the three capital letters of ISO 4217, such as "EUR" or "CHF"`)
	}
	c.price("price_per_kwh", t.MicrosPerKWh)
	c.price("standing_charge", t.StandingMicros)
	if t.StandingPer.String() == "" {
		c.add("standing_per", "it is no period", "use day, month or year")
	}
	if t.Rounding.String() == "" {
		c.add("rounding", "it is no way to round", "use half-up or half-even")
	}
	if len(t.Windows) > maxWindows {
		c.add("windows", fmt.Sprintf("there are %d windows", len(t.Windows)), fmt.Sprintf("use %d at most", maxWindows))
	}
	names := map[string]bool{}
	for i := range t.Windows {
		c.tariffWindow(fmt.Sprintf("windows[%d].", i+1), &t.Windows[i], names)
	}
	c.cyclePrices(t.CyclePrices)
	return c.found
}

func (c *checks) price(path string, micros int64) {
	switch {
	case micros < 0:
		c.add(path, "the price is below zero", `use a price of zero or more, such as "0.32"`)
	case micros > maxMicros:
		c.add(path, "the price is out of range", "use a price below 1000000000")
	}
}

func (c *checks) tariffWindow(path string, w *TariffWindow, names map[string]bool) {
	switch name := strings.TrimSpace(w.Name); {
	case name == "":
		c.add(path+"name", "the window has no name", `add name = "night", or what your supplier calls it`)
	case names[name]:
		c.add(path+"name", fmt.Sprintf("there is a window %q already", name), "give each window a name of its own")
	default:
		names[name] = true
	}
	c.price(path+"price_per_kwh", w.MicrosPerKWh)
	c.windowTimes(path, w.From, w.To)
	for i, d := range w.Days {
		if d < time.Sunday || d > time.Saturday || slices.Contains(w.Days[:i], d) {
			c.add(path+"days", "a day is not known or listed twice", `list each day once, such as ["saturday", "sunday"]`)
			break
		}
	}
	c.season(path, w.SeasonFrom, w.SeasonTo)
}

func (c *checks) windowTimes(path string, from, to queue.Clock) {
	const right = `give both, such as from = "22:00" and to = "06:00", or leave both out for the whole day`
	switch {
	case !from.Valid():
		c.add(path+"from", "it is no time of day", "use a time from 00:00 to 23:59")
	case !to.Valid():
		c.add(path+"to", "it is no time of day", "use a time from 00:00 to 23:59")
	case from == queue.NoClock && to != queue.NoClock:
		c.add(path+"from", "the window has an end but no beginning", right)
	case to == queue.NoClock && from != queue.NoClock:
		c.add(path+"to", "the window has a beginning but no end", right)
	case from == to && from != queue.NoClock:
		c.add(path+"to", fmt.Sprintf("the window begins and ends at %s", from), right)
	}
}

func (c *checks) season(path string, from, to YearDay) {
	const right = `give both, such as season_from = "10-01" and season_to = "03-31", or leave both out for the whole year`
	none := YearDay{}
	switch {
	case from != none && !from.Valid():
		c.add(path+"season_from", "there is no such day in a year", `use month and day, such as "10-01"`)
	case to != none && !to.Valid():
		c.add(path+"season_to", "there is no such day in a year", `use month and day, such as "03-31"`)
	case from == none && to != none:
		c.add(path+"season_from", "the season has an end but no beginning", right)
	case to == none && from != none:
		c.add(path+"season_to", "the season has a beginning but no end", right)
	}
}

func (c *checks) cyclePrices(all []CyclePrice) {
	for i, p := range all {
		path := fmt.Sprintf("cycle_prices[%d].", i+1)
		if p.Room == "" || p.Machine == "" {
			c.add(path+"machine", "it does not say which machine", `add room = "cellar" and machine = "1"`)
		}
		if slices.ContainsFunc(all[:i], func(o CyclePrice) bool { return o.Room == p.Room && o.Machine == p.Machine }) {
			c.add(path+"machine", fmt.Sprintf("machine %s of room %s has a price already", p.Machine, p.Room), "give each machine one price")
		}
		c.price(path+"price", p.Micros)
	}
}
