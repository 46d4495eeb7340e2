package config_test

import (
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/queue"
)

func TestDifferences(t *testing.T) {
	type rules = coordinator.Rules
	for name, c := range map[string]struct {
		change func(*rules)
		want   []string
	}{
		"none":                  {func(*rules) {}, nil},
		"more time":             {func(r *rules) { r.MoreTime = time.Hour }, []string{"more_time: 10m in the file, 1h in force"}},
		"more time, waited for": {func(r *rules) { r.MoreTimeWaiting = time.Minute }, []string{"more_time_waiting: 0s in the file, 1m in force"}},
		"longer hold":           {func(r *rules) { r.LongerHold = time.Hour }, []string{"longer_hold: 20m in the file, 1h in force"}},
		"for whom":              {func(r *rules) { r.LongerHoldHomes = []queue.HomeID{"b", "a"} }, []string{"longer_hold_homes: none in the file, a, b in force"}},
		"walk-ups":              {func(r *rules) { r.WalkUps = coordinator.Reported }, []string{"walk_ups: allowed in the file, reported in force"}},
		"hold":                  {func(r *rules) { r.Hold = 90 * time.Second }, []string{"hold: 10m in the file, 1m30s in force"}},
		"ladder": {func(r *rules) { r.Ladder = r.Ladder[:1] },
			[]string{
				"ladder[2].after: 15m in the file, none in force", "ladder[2].tell: next in the file, none in force",
				"ladder[3].after: 30m in the file, none in force", "ladder[3].tell: manager in the file, none in force",
			}},
		"no ladder but the same call": {func(r *rules) { r.Ladder = nil },
			[]string{
				"ladder[1].after: 10m in the file, none in force", "ladder[1].tell: owner in the file, none in force",
				"ladder[2].after: 15m in the file, none in force", "ladder[2].tell: next in the file, none in force",
				"ladder[3].after: 30m in the file, none in force", "ladder[3].tell: manager in the file, none in force",
			}},
		"said default": {func(r *rules) { r.CallUncollectedAfter = 10 * time.Minute }, nil},
		"longer grace": {func(r *rules) { r.Grace = 20 * time.Minute }, []string{"grace: 10m in the file, 20m in force", "call_uncollected_after: 10m in the file, 20m in force"}},
		"night":        {func(r *rules) { r.NightFrom, r.NightTo = -1, -1 }, []string{"night_from: 22:00 in the file, none in force", "night_to: 07:00 in the file, none in force"}},
		"closed":       {func(r *rules) { r.Hours[0].Closed = true }, []string{"hours.sunday.closed: false in the file, true in force"}},
		"hours": {func(r *rules) { r.Hours[5] = queue.Day{Opens: 480, LastStart: 1200, EndedBy: -1} },
			[]string{"hours.friday.opens: none in the file, 08:00 in force", "hours.friday.last_start: none in the file, 20:00 in force"}},
		"homes":          {func(r *rules) { r.OpenHomes = false }, []string{"open_homes: true in the file, false in force"}},
		"homes' figures": {func(r *rules) { r.PerHomeFigures = true }, []string{"per_home_figures: false in the file, true in force"}},
		"touch":          {func(r *rules) { r.WallTouch = true }, []string{"wall_touch: false in the file, true in force"}},
	} {
		t.Run(name, func(t *testing.T) {
			stored := coordinator.DefaultRules()
			c.change(&stored)
			if got := config.Differences(coordinator.DefaultRules(), stored); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

// No rule is forgotten: whatever field changes, a difference is told.
func TestDifferencesKnowEveryRule(t *testing.T) {
	seed := coordinator.DefaultRules()
	seed.CallUncollectedAfter = time.Hour
	seed.LongerHoldHomes = []queue.HomeID{"a"}
	kind := reflect.TypeFor[coordinator.Rules]()
	for i := range kind.NumField() {
		stored := seed
		stored.Ladder, stored.LongerHoldHomes = slices.Clone(seed.Ladder), slices.Clone(seed.LongerHoldHomes)
		changeSomething(reflect.ValueOf(&stored).Elem().Field(i))
		if got := config.Differences(seed, stored); len(got) == 0 {
			t.Errorf("a change of %s is not told", kind.Field(i).Name)
		}
	}
}

// changeSomething changes one value, in whatever v holds.
func changeSomething(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		changeSomething(v.Field(0))
	case reflect.Slice, reflect.Array:
		changeSomething(v.Index(0))
	case reflect.String:
		v.SetString(v.String() + "x")
	case reflect.Bool:
		v.SetBool(!v.Bool())
	case reflect.Uint8:
		v.SetUint(v.Uint() + 1)
	default:
		v.SetInt(v.Int() + int64(time.Minute))
		if v.Type() != reflect.TypeFor[time.Duration]() {
			v.SetInt(v.Int() - int64(time.Minute) + 1)
		}
	}
}

// Every house rule can be set in the file: one that differs from the default is
// found to differ by the name that it has there.
func TestDifferencesUseTheNamesOfTheFile(t *testing.T) {
	f := read(t, "testdata/good/full.toml")
	for _, d := range config.Differences(f.Room("north").Seed, coordinator.DefaultRules()) {
		name, _, _ := strings.Cut(d, ":")
		table, key := "[rules]\n", name
		if day, ok := strings.CutPrefix(name, "hours."); ok {
			table, key = "[rules.hours]\n", day
		}
		if step, ok := strings.CutPrefix(name, "ladder["); ok {
			_, key, _ = strings.Cut(step, "].")
			table = "[[rules.ladder]]\n"
		}
		// A wrong value under that name is a wrong value, not an unknown name.
		got := problems(t, "b.toml", head+room+table+key+" = 2026-01-01\n")
		if !slices.ContainsFunc(got, func(p config.Problem) bool { return strings.Contains(p.Wrong, "without quotes") }) {
			t.Errorf("there is no setting %s: %v", name, got)
		}
	}
}

// TestTariffDifferences: prices are compared as rules are, by the names of the file.
func TestTariffDifferences(t *testing.T) {
	seed := coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 320_000, Windows: []coordinator.TariffWindow{{Name: "night", MicrosPerKWh: 240_000, From: 22 * 60, To: 6 * 60}}}
	for name, c := range map[string]struct {
		change func(*coordinator.Tariff)
		want   []string
	}{
		"none":     {func(*coordinator.Tariff) {}, nil},
		"price":    {func(t *coordinator.Tariff) { t.MicrosPerKWh = 350_000 }, []string{"price_per_kwh: 0.32 in the file, 0.35 in force"}},
		"currency": {func(t *coordinator.Tariff) { t.Currency = "CHF" }, []string{"currency: EUR in the file, CHF in force"}},
		"from":     {func(t *coordinator.Tariff) { t.From = coordinator.Date{Year: 2026, Month: 7, Day: 1} }, []string{"valid_from: none in the file, 2026-07-01 in force"}},
		"standing": {func(t *coordinator.Tariff) { t.StandingMicros, t.StandingPer = 9_900_000, coordinator.PerYear }, []string{"standing_charge: 0.00 in the file, 9.90 in force", "standing_per: month in the file, year in force"}},
		"window":   {func(t *coordinator.Tariff) { t.Windows[0].To = 5 * 60 }, []string{"windows[1].to: 06:00 in the file, 05:00 in force"}},
		"cycle price": {func(t *coordinator.Tariff) {
			t.CyclePrices = []coordinator.CyclePrice{{Room: "cellar", Machine: "w1", Micros: 1_500_000}}
		}, []string{"cycle[cellar/w1]: none in the file, 1.50 in force"}},
	} {
		t.Run(name, func(t *testing.T) {
			stored := seed
			stored.Windows = slices.Clone(seed.Windows)
			c.change(&stored)
			if got := config.TariffDifferences(seed, stored); !slices.Equal(got, c.want) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}
