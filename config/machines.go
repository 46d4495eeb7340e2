package config

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func (b *builder) machine(s *section, seen roomSeen) coordinator.Machine {
	m := coordinator.Machine{Power: cycle.DefaultSettings()}
	b.identity(s, &m, seen)
	s.missing("kind", `add kind = "washer", "dryer" or "washer-dryer"`)
	if s.word("kind", &m.Kind, "washer", "dryer", "washer-dryer") {
		m.Power.Washer = m.Kind != queue.Dryer
		m.Power.Dryer = m.Kind != queue.Washer
	}
	s.number("capacity_kg", &m.CapacityKg, 0.5, 200, " kg")
	b.place(s, &m)
	b.power(s, &m)
	b.ratings(s, &m)
	m.Meter = b.meterOf(s)
	s.close()
	return m
}

// identity reads number and id. The id is the number unless the file gives one.
func (b *builder) identity(s *section, m *coordinator.Machine, seen roomSeen) {
	s.missing("number", "add number = 1, the number that is written on the machine")
	if s.whole("number", &m.Number, 1, 999) {
		once(s, "number", "number", m.Number, seen.numbers)
	}
	var id string
	if !s.text("id", &id) {
		// A second use of it was reported as one of the number.
		id = strconv.Itoa(m.Number)
		m.ID = queue.MachineID(id)
		if _, taken := seen.ids[id]; !taken {
			seen.ids[id] = s.node.line
		} else if seen.numbers[m.Number] == lineOf(s, "number") {
			s.wrong("number", fmt.Sprintf("the machine of line %d has this as its id", seen.ids[id]), "give this machine an id of its own, such as id = \""+id+"b\"")
		}
		return
	}
	if why := badName(id); why != "" {
		s.wrong("id", fmt.Sprintf("%q cannot be an id: %s", id, why), nameAdvice)
		return
	}
	m.ID = queue.MachineID(id)
	once(s, "id", "id", id, seen.ids)
}

// place reads where the machine stands and for whom.
func (b *builder) place(s *section, m *coordinator.Machine) {
	s.truth("accessible", &m.Accessible)
	s.truth("stacked", &m.Stacked)
	if m.Accessible && m.Stacked {
		s.warn("stacked", "the machine stands above another, and is marked as accessible from a wheelchair", "correct one of the two")
	}
	m.ReservedFor = append(m.ReservedFor, s.homes("reserved_for")...)
}

// homes decodes a list of homes by their names.
func (s *section) homes(key string) []queue.HomeID {
	var names []string
	var out []queue.HomeID
	s.texts(key, &names)
	for _, home := range names {
		if home = strings.TrimSpace(home); home == "" {
			s.wrong(key, "one of the homes has no name", `list the homes as residents call them, such as ["12", "14"]`)
			continue
		}
		out = append(out, queue.HomeID(home))
	}
	return out
}

// power reads the settings of the machine's cycle engine.
func (b *builder) power(s *section, m *coordinator.Machine) {
	s.number("idle_below_w", &m.Power.IdleBelowW, 0.5, 200, " W; a finished machine draws 1 to 2 W")
	s.between("idle_for", &m.Power.IdleFor, 10*time.Second, 2*time.Hour)
	s.between("silent_after", &m.Power.SilentAfter, 30*time.Second, 48*time.Hour)
	s.number("register_rolls_over_wh", &m.Power.RegisterModulusWh, 1, 1e12, " Wh, where the meter's register begins again at 0")
	s.share("doubt", &m.Power.Doubt, 0.001, 0.5)
}

// share reads a chance, as "2 %" or 0.02.
func (s *section) share(key string, into *float64, lo, hi float64) {
	n := s.scalar(key, `"2 %"`, textShape, numberShape, wholeShape)
	if n == nil {
		return
	}
	right := fmt.Sprintf(`use "%g %%" to "%g %%", or a number from %g to %g`, lo*100, hi*100, lo, hi)
	v, err := parseShare(strings.ReplaceAll(n.text, "_", ""))
	switch {
	case err != nil:
		s.wrong(key, err.Error(), right)
	case !(v >= lo && v <= hi):
		s.wrong(key, n.text+" is out of range", right)
	default:
		*into = v
	}
}

// washerPeakW is what a washer draws while it heats: 2.0 to 2.5 kW (common
// practice, no source).
const washerPeakW = 2500

// ratings reads what the machine draws and its plug can bear.
func (b *builder) ratings(s *section, m *coordinator.Machine) {
	s.number("rated_w", &m.RatedW, 50, 100_000, " W, as on the machine's plate")
	s.number("plug_rated_w", &m.PlugW, 50, 100_000, " W, as on the plug or meter")
	switch {
	case m.PlugW == 0:
	case m.RatedW > m.PlugW:
		s.wrong("plug_rated_w",
			fmt.Sprintf("the plug or meter is rated for %g W, but the machine draws up to %g W: it can overheat and burn, or cut the machine off in the middle of a wash", m.PlugW, m.RatedW),
			fmt.Sprintf("do not use it for this machine; fit one that is rated for at least %g W", m.RatedW))
	case m.RatedW == 0 && m.Power.Washer && m.PlugW < washerPeakW:
		s.warn("plug_rated_w",
			fmt.Sprintf("the plug or meter is rated for %g W, but a washer can draw %d W while it heats", m.PlugW, washerPeakW),
			"read the watts on the machine's plate and add them as rated_w; a plug must bear them all the time")
	}
}
