package coordinator

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumturn/queue"
)

// The kinds of settings that only tariffs have.
const (
	PriceSetting   SettingKind = iota + 100 // "0.32", see ParseMicros
	DateSetting                             // "2026-01-31"; empty for since ever
	YearDaySetting                          // "10-31"; empty for the whole year
)

// microsPattern is a price as people write it, with a point or a comma.
var microsPattern = regexp.MustCompile(`^(\d{1,9})(?:[.,](\d{1,6}))?$`)

// ParseMicros reads a decimal number exactly, in millionths.
func ParseMicros(text string) (int64, error) {
	m := microsPattern.FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return 0, fmt.Errorf("%q is no price", text)
	}
	return strconv.ParseInt(m[1]+(m[2] + "000000")[:6], 10, 64)
}

// MicrosText writes millionths as ParseMicros reads them, with a point and at
// least two decimals.
func MicrosText(micros int64) string {
	text := fmt.Sprintf("%d.%06d", micros/1_000_000, micros%1_000_000)
	for strings.HasSuffix(text, "0") && len(text)-strings.IndexByte(text, '.') > 3 {
		text = text[:len(text)-1]
	}
	return text
}

// ParseYearDay reads a day such as "10-31", month first; empty for none.
func ParseYearDay(text string) (YearDay, error) {
	if text == "" {
		return YearDay{}, nil
	}
	month, day, ok := strings.Cut(text, "-")
	m, errM := strconv.Atoi(month)
	d, errD := strconv.Atoi(day)
	y := YearDay{time.Month(m), d}
	if !ok || errM != nil || errD != nil || !y.Valid() {
		return YearDay{}, fmt.Errorf("%q is no day of the year", text)
	}
	return y, nil
}

// Settings lists the tariff as texts: first the plain ones, then windows, each
// with a truth for every day of the week from Monday on, then the prices per
// cycle, by "cycle[ROOM/MACHINE]".
func (t *Tariff) Settings() []Setting {
	from := ""
	if !t.From.IsZero() {
		from = t.From.String()
	}
	all := []Setting{
		{"valid_from", DateSetting, from, nil}, {"currency", TextSetting, t.Currency, nil},
		{"price_per_kwh", PriceSetting, MicrosText(t.MicrosPerKWh), nil}, {"standing_charge", PriceSetting, MicrosText(t.StandingMicros), nil},
		{"standing_per", ChoiceSetting, t.StandingPer.String(), []string{"month", "day", "year"}},
		{"rounding", ChoiceSetting, t.Rounding.String(), []string{"half-up", "half-even"}},
	}
	for i := range t.Windows {
		all = append(all, t.Windows[i].settings(i+1)...)
	}
	for _, c := range t.CyclePrices {
		all = append(all, Setting{CyclePath(c.Room, c.Machine), PriceSetting, MicrosText(c.Micros), nil})
	}
	return all
}

// CyclePath is the path of a machine's price per cycle.
func CyclePath(room RoomID, machine MachineID) string {
	return fmt.Sprintf("cycle[%s/%s]", room, machine)
}

// EmptyWindow are the settings of a window that is not there yet.
func EmptyWindow(number int) []Setting {
	w := TariffWindow{From: queue.NoClock, To: queue.NoClock}
	all := w.settings(number)
	for i := range all {
		if all[i].Kind == PriceSetting {
			all[i].Value = ""
		}
	}
	return all
}

func (w *TariffWindow) settings(number int) []Setting {
	path := fmt.Sprintf("windows[%d].", number)
	yearDay := func(d YearDay) string {
		if d == (YearDay{}) {
			return ""
		}
		return d.String()
	}
	all := []Setting{
		{path + "name", TextSetting, w.Name, nil}, {path + "price_per_kwh", PriceSetting, MicrosText(w.MicrosPerKWh), nil},
		{path + "from", ClockSetting, w.From.String(), nil}, {path + "to", ClockSetting, w.To.String(), nil},
		{path + "season_from", YearDaySetting, yearDay(w.SeasonFrom), nil}, {path + "season_to", YearDaySetting, yearDay(w.SeasonTo), nil},
	}
	for i := range 7 {
		d := time.Weekday((i + 1) % 7)
		on := len(w.Days) == 0 && w.Name != ""
		for _, has := range w.Days {
			on = on || has == d
		}
		all = append(all, Setting{path + strings.ToLower(d.String()), TruthSetting, strconv.FormatBool(on), nil})
	}
	return all
}

// ChangedTo lists how another tariff differs from t, in the order of Settings. A
// day that a window which is not there does not have is no difference.
func (t *Tariff) ChangedTo(other *Tariff) []Changed {
	off := strconv.FormatBool(false)
	return slices.DeleteFunc(changedSettings(t.Settings(), other.Settings()), func(c Changed) bool {
		return (c.From == "" || c.From == off) && (c.To == "" || c.To == off)
	})
}

// TariffOf makes a tariff of settings. A window without a name and a price per
// cycle without a value are left out. What cannot be read is listed; the tariff
// still has to be validated.
func TariffOf(settings []Setting) (Tariff, []Problem) {
	var t Tariff
	var c checks
	windows := map[int]*TariffWindow{}
	most := 0
	for _, s := range settings {
		value := strings.TrimSpace(s.Value)
		n, key, inWindow := WindowPath(s.Path)
		var err error
		switch {
		case inWindow:
			if windows[n] == nil {
				windows[n] = &TariffWindow{From: queue.NoClock, To: queue.NoClock}
				most = max(most, n)
			}
			err = windows[n].set(key, value)
		case strings.HasPrefix(s.Path, "cycle["):
			err = t.setCycle(s.Path, value)
		default:
			err = t.set(s.Path, value)
		}
		if err != nil {
			c.add(s.Path, err.Error(), rightTariff(s.Kind))
		}
	}
	for n := 1; n <= most; n++ {
		if w := windows[n]; w != nil && (w.Name != "" || w.MicrosPerKWh != 0) {
			if len(w.Days) == 7 {
				w.Days = nil // every day
			}
			t.Windows = append(t.Windows, *w)
		}
	}
	return t, c.found
}

// WindowPath takes the path of a window's part apart, such as "windows[2].from".
func WindowPath(path string) (n int, key string, ok bool) {
	rest, ok := strings.CutPrefix(path, "windows[")
	number, key, found := strings.Cut(rest, "].")
	n, err := strconv.Atoi(number)
	return n, key, ok && found && err == nil && n >= 1 && n <= maxWindows
}

func (t *Tariff) set(path, value string) (err error) {
	switch path {
	case "valid_from":
		if value != "" {
			err = t.From.UnmarshalText([]byte(value))
		}
	case "currency":
		t.Currency = strings.ToUpper(value)
	case "price_per_kwh":
		t.MicrosPerKWh, err = ParseMicros(value)
	case "standing_charge":
		if value != "" {
			t.StandingMicros, err = ParseMicros(value)
		}
	case "standing_per":
		err = t.StandingPer.UnmarshalText([]byte(value))
	case "rounding":
		err = t.Rounding.UnmarshalText([]byte(value))
	default:
		err = errors.New("a tariff has no such part")
	}
	return err
}

func (t *Tariff) setCycle(path, value string) error {
	place := strings.TrimSuffix(strings.TrimPrefix(path, "cycle["), "]")
	room, machine, ok := strings.Cut(place, "/")
	if !ok {
		return errors.New("it does not say which machine")
	}
	if value == "" {
		return nil
	}
	micros, err := ParseMicros(value)
	if err == nil {
		t.CyclePrices = append(t.CyclePrices, CyclePrice{RoomID(room), MachineID(machine), micros})
	}
	return err
}

func (w *TariffWindow) set(key, value string) (err error) {
	switch key {
	case "name":
		w.Name = value
	case "price_per_kwh":
		if value != "" {
			w.MicrosPerKWh, err = ParseMicros(value)
		}
	case "from":
		w.From, err = queue.ParseClock(value)
	case "to":
		w.To, err = queue.ParseClock(value)
	case "season_from":
		w.SeasonFrom, err = ParseYearDay(value)
	case "season_to":
		w.SeasonTo, err = ParseYearDay(value)
	default:
		for d := time.Sunday; d <= time.Saturday; d++ {
			if strings.ToLower(d.String()) == key {
				if value == "true" {
					w.Days = append(w.Days, d)
				}
				return nil
			}
		}
		err = errors.New("a window has no such part")
	}
	return err
}

func rightTariff(kind SettingKind) string {
	switch kind {
	case PriceSetting:
		return `write a price such as "0.32"`
	case DateSetting:
		return `write a day such as "2026-01-31", or nothing for since ever`
	case YearDaySetting:
		return `write month and day such as "10-31", or nothing for the whole year`
	case ClockSetting:
		return `write a time of day such as "22:00", or nothing for the whole day`
	}
	return "use one of the words that are offered"
}
