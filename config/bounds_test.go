package config_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"drumturn/config"
)

// errorsAt parses a snippet and returns the errors about one key.
func errorsAt(t *testing.T, key, text string) []config.Problem {
	t.Helper()
	var out []config.Problem
	for _, p := range problems(t, "b.toml", text) {
		if p.Severity == config.Mistake && p.Key == key {
			out = append(out, p)
		} else if p.Severity == config.Mistake {
			t.Errorf("not expected: %s\n%s", p, text)
		}
	}
	return out
}

// bounds are values at the edge of what is taken, and just beyond it.
type bounds struct{ good, bad []string }

func (b bounds) check(t *testing.T, key string, text func(value string) string) {
	t.Helper()
	for _, v := range b.good {
		if got := errorsAt(t, key, text(v)); len(got) > 0 {
			t.Errorf("%s = %s is refused: %v", key, v, got)
		}
	}
	for _, v := range b.bad {
		if got := errorsAt(t, key, text(v)); len(got) != 1 {
			t.Errorf("%s = %s is taken, or refused more than once: %v", key, v, got)
		}
	}
}

func TestMachineBounds(t *testing.T) {
	for key, b := range map[string]bounds{
		"capacity_kg":            {[]string{"0.5", "7", "7.5", "200"}, []string{"0", "0.4", "201", "-7", "inf", "nan"}},
		"rated_w":                {[]string{"50", "2300", "2.3e3", "100000"}, []string{"0", "49", "100001", "-1", "0x10"}},
		"plug_rated_w":           {[]string{"2500", "3680"}, []string{"10", "1e9"}},
		"idle_below_w":           {[]string{"0.5", "3", "200"}, []string{"0", "0.49", "201"}},
		"idle_for":               {[]string{`"10s"`, `"3m"`, `"2h"`}, []string{`"9s"`, `"2h 1s"`, `"0s"`, `"3"`, `""`}},
		"silent_after":           {[]string{`"30s"`, `"48h"`, `"2d"`}, []string{`"29s"`, `"48h1s"`, `"week"`}},
		"doubt":                  {[]string{`"0.1 %"`, `"50%"`, "0.001", "0.5", `"0.02"`}, []string{`"0 %"`, `"51 %"`, "0", "2", "nan", `"2 prozent"`}},
		"register_rolls_over_wh": {[]string{"1", "655360", "1e12"}, []string{"0", "-5", "1.1e12"}},
		"id":                     {[]string{`"3b"`, `"A_-9"`, `"1"`}, []string{`""`, `"3 b"`, `"3/b"`, `"é"`, `"` + strings.Repeat("x", 41) + `"`}},
	} {
		b.check(t, "rooms.cellar.machines[1]."+key, func(v string) string { return head + room + key + " = " + v + "\n" })
	}
}

func TestNumberBounds(t *testing.T) {
	b := bounds{[]string{"1", "999", "+7", "0x10"}, []string{"0", "-1", "1000", "99999999999999999999"}}
	b.check(t, "rooms.cellar.machines[1].number", func(v string) string {
		return head + "[[rooms.cellar.machines]]\nkind = \"dryer\"\nnumber = " + v + "\n"
	})
}

func TestRuleBounds(t *testing.T) {
	for key, b := range map[string]bounds{
		"hold":                   {[]string{`"1m"`, `"3h"`}, []string{`"59s"`, `"0s"`, `"3h1s"`, `"10"`}},
		"longer_hold":            {[]string{`"0s"`, `"3h"`}, []string{`"3h1s"`, `"-1m"`}},
		"longer_hold_homes":      {[]string{`[]`, `["12", "14"]`}, []string{`["12", "12"]`, `[" "]`, `"12"`}},
		"dry_call_ahead":         {[]string{`"0s"`, `"15m"`}, []string{`"16m"`, `"-1m"`}},
		"on_my_way_adds":         {[]string{`"0s"`, `"3h"`}, []string{`"4h"`, `"-1s"`}},
		"grace":                  {[]string{`"0s"`, `"3h"`}, []string{`"8d"`, `"-1m"`}},
		"turns_per_home":         {[]string{"1", "100"}, []string{"0", "101", "99999999999"}},
		"loads_per_home":         {[]string{"1", "100"}, []string{"0", "-1"}},
		"keep_days":              {[]string{"1", "90", "3660"}, []string{"0", "3661"}},
		"call_uncollected_after": {[]string{`"0s"`, `"10m"`, `"7d"`}, []string{`"9m"`, `"8d"`}},
		"assume_empty_after":     {[]string{`"10m"`, `"7d"`}, []string{`"0s"`, `"9m"`, `"8d"`}},
		"recall_after":           {[]string{`"0s"`, `"7d"`}, []string{`"8d"`}},
		"not_me_within":          {[]string{`"0s"`, `"7d"`}, []string{`"8d"`}},
		"more_time":              {[]string{`"0s"`, `"3h"`}, []string{`"3h1s"`, `"-1m"`}},
		"more_time_waiting":      {[]string{`"0s"`, `"10m"`}, []string{`"10m1s"`, `"2h"`}},
		"walk_ups":               {[]string{`"allowed"`, `"tolerated"`, `"reported"`}, []string{`""`, `"Allowed"`, `"forbidden"`}},
		"night_from":             {[]string{`"00:00"`, `"23:59"`}, []string{`"24:00"`, `""`, `"10pm"`}},
		"night_to":               {[]string{`"00:00"`, `"6:30"`}, []string{`"22:00"`, `"7"`}},
	} {
		if key == "grace" {
			// A grace of 8 days is also beyond when a machine is assumed to be empty.
			b.bad = b.bad[1:]
		}
		b.check(t, "rules."+key, func(v string) string { return head + "[rules]\n" + key + " = " + v + "\n" + room })
	}
}

func TestOtherBounds(t *testing.T) {
	sim := head + strings.Replace(room, "kind", "meter = \"a\"\nkind", 1) + "[meters.a]\ndriver = \"sim\"\n"
	for key, c := range map[string]struct {
		text string
		bounds
	}{
		"backup.keep":           {head + room + "[backup]\n", bounds{[]string{"1", "10000"}, []string{"0", "10001", "-3"}}},
		"meters.a.seed":         {sim, bounds{[]string{"0", "1", "2147483648"}, []string{"-1", "2147483649"}}},
		"meters.a.runs_per_day": {sim, bounds{[]string{"0", "0.5", "24"}, []string{"-0.1", "24.5"}}},
		"meters.a.machine":      {sim, bounds{[]string{`"washer"`, `"dryer"`}, []string{`""`, `"Washer"`}}},
	} {
		c.check(t, key, func(v string) string { return c.text + key[strings.LastIndex(key, ".")+1:] + " = " + v + "\n" })
	}
}

// Without lists of words, any will do: the driver judges them.
func TestSimWordsWithoutLists(t *testing.T) {
	o := options()
	o.SimMachines, o.SimMeters = nil, nil
	text := head + strings.Replace(room, "kind", "meter = \"a\"\nkind", 1) + "[meters.a]\ndriver = \"sim\"\nmachine = \"mangle\"\n"
	f, err := config.Parse("b.toml", []byte(text), o)
	if err != nil || f.Meters[0].Options.(*config.SimMeter).Machine != "mangle" {
		t.Errorf("meters %+v, %v", f, err)
	}
}

// Prices at the edge of exactness. The words for money are those of ISO 4217
// (codes checked against the list of golang.org/x/text/currency).
func TestTariff(t *testing.T) {
	for price, want := range map[string]int64{
		`"0.32"`: 320_000, `"0"`: 0, "0.32": 320_000, "1": 1_000_000, `"0.000001"`: 1, `"999999999.999999"`: 999_999_999_999_999,
	} {
		f := parse(t, head+room+"[tariff]\ncurrency = \"CHF\"\nprice_per_kwh = "+price+"\n")
		if f.Tariff.MicrosPerKWh != want || f.Tariff.Currency != "CHF" {
			t.Errorf("%s is %+v, want %d", price, f.Tariff, want)
		}
	}
	for _, price := range []string{`"0,32"`, `"-0.1"`, "-0.1", "1e3", "inf", `"0.0000001"`, `"€ 0.32"`, `""`} {
		got := errorsAt(t, "tariff.price_per_kwh", head+room+"[tariff]\ncurrency = \"CHF\"\nprice_per_kwh = "+price+"\n")
		if len(got) != 1 {
			t.Errorf("%s: %v", price, got)
		}
	}
	for code, good := range map[string]bool{"EUR": true, "JPY": true, "INR": true, "Eur": false, "XQZ": false, "EURO": false, "": false, "€": false} {
		got := errorsAt(t, "tariff.currency", head+room+"[tariff]\nprice_per_kwh = 1\ncurrency = \""+code+"\"\n")
		if (len(got) == 0) != good {
			t.Errorf("currency %q: %v", code, got)
		}
	}
}

// Names of the IANA time zone database, and what is mistaken for them.
func TestZones(t *testing.T) {
	for zone, good := range map[string]bool{
		"Europe/Berlin": true, "America/Argentina/Buenos_Aires": true, "Asia/Kolkata": true, "UTC": true,
		"Local": false, "": false, "Berlin": false, "UTC+1": false, "Europe/Berln": false, "../etc/passwd": false, "GMT+25": false,
	} {
		text := "[building]\nname = \"L\"\ntime_zone = \"" + zone + "\"\n" + room
		if got := errorsAt(t, "building.time_zone", text); (len(got) == 0) != good {
			t.Errorf("%q: %v", zone, got)
		}
	}
}

func TestNames(t *testing.T) {
	for name, good := range map[string]bool{
		"Cellar": true, "Waschküche links": true, "غرفة الغسيل": true, "": false, " ": false,
		strings.Repeat("é", 80): true, strings.Repeat("é", 81): false, `a\u0007b`: false, `a\nb`: false,
	} {
		if got := errorsAt(t, "rooms.cellar.name", head+room+fmt.Sprintf("[rooms.cellar]\nname = \"%s\"\n", name)); (len(got) == 0) != good {
			t.Errorf("%q: %v", name, got)
		}
	}
}

// Every day takes its own hours over those of every day.
func TestHoursByDay(t *testing.T) {
	days := []string{"sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"}
	for i, day := range days {
		f := parse(t, head+"[rules.hours]\nlast_start = \"20:00\"\n["+"rules.hours."+day+"]\nlast_start = \"18:30\"\nclosed = true\n"+room)
		for j, got := range f.Rooms[0].Seed.Hours {
			want := "20:00"
			if i == j {
				want = "18:30"
			}
			if got.LastStart.String() != want || got.Closed != (i == j) {
				t.Errorf("with %s of its own, day %d has %+v", day, j, got)
			}
		}
	}
}

// A room that is closed for the building can be open in one room, and a limit be lifted.
func TestRoomLiftsHours(t *testing.T) {
	f := parse(t, head+"[rules.hours]\nclosed = true\nended_by = \"22:00\"\n"+room+"[rooms.cellar.rules.hours]\nclosed = false\nended_by = \"\"\n")
	for i, day := range f.Rooms[0].Seed.Hours {
		if day.Closed || day.EndedBy != -1 {
			t.Errorf("day %d is %+v", i, day)
		}
	}
}

func TestWordsOfKinds(t *testing.T) {
	for kind, want := range map[string][2]bool{"washer": {true, false}, "dryer": {false, true}, "washer-dryer": {true, true}} {
		f := parse(t, head+strings.Replace(room, `"washer"`, `"`+kind+`"`, 1))
		p := f.Rooms[0].Machines[0].Power
		if got := [2]bool{p.Washer, p.Dryer}; got != want {
			t.Errorf("a %s washes and dries: %v, want %v", kind, got, want)
		}
	}
	got := errorsAt(t, "rooms.cellar.machines[1].kind", head+strings.Replace(room, `"washer"`, `"wahser"`, 1))
	if len(got) != 1 || !slices.Contains(strings.Fields(got[0].Right), "washer?") {
		t.Errorf("a wahser: %v", got)
	}
}
