package config_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"drumturn/config"
)

// badValue is one wrong value of a setting: what is said of it, and how to mend it.
type badValue struct{ section, key, value, wrong, right string }

// badValues has one wrong value for every setting of the full file, by section and
// key. A section that stands there several times is meant where it has the key first.
var badValues = []badValue{
	{"building", "name", `""`, "the name is empty", "write the name that residents use"},
	{"building", "time_zone", `"Middle/Earth"`, "there is no time zone of that name", `such as "Europe/Berlin"`},
	{"server", "listen", `"9443"`, `"9443" is no address with a port`, `such as ":8080"`},
	{"server", "tls", `"ssl"`, `"ssl" is not known here`, "use one of off, files, acme"},
	{"server", "cert_file", `"missing.pem"`, "missing.pem cannot be read: it does not exist", "create it, or correct the name"},
	{"server", "key_file", `"missing.pem"`, "missing.pem cannot be read: it does not exist", "names start from the folder of this file"},
	{"server", "public_url", `"laundry.weiher.org"`, "this is no web address", "as it is typed into a browser"},
	{"server", "push_subject", `"caretaker"`, "neither a bare e-mail address nor an https address", `such as "caretaker@example.org"`},
	{"server", "push_hosts", `["https://fcm.googleapis.com"]`, "is no name of a push service", "write bare names"},
	{"server", "trusted_proxies", `["10.1.2.3/33"]`, `"10.1.2.3/33" is neither an address nor a range`, "your own reverse proxies"},
	{"server", "data", `""`, "the name is empty", "write the name of a file or folder"},
	{"mqtt", "listen", `":99999"`, `"99999" is no port`, "use a number from 1 to 65535"},
	{"mqtt", "tls", `"acme"`, `"acme" is not known here`, "use one of off, files"},
	{"mqtt", "cert_file", `"missing.pem"`, "it does not exist", "create it"},
	{"mqtt", "key_file", `"missing.pem"`, "it does not exist", "create it"},
	{"schedule", "nightly", `"0 0 31 2 *"`, "it never fires", `such as "15 4 * * *"`},
	{"schedule", "monthly", `"0 0 31 2 *"`, "it never fires", "write minute, hour, day, month and weekday"},
	{"backup", "folder", `""`, "the name is empty", "write the name of a file or folder"},
	{"backup", "keep", `0`, "0 is out of range", "use a whole number from 1 to 10000"},
	{"tariff", "currency", `"dollars"`, `"dollars" is no currency code`, "three capital letters of ISO 4217"},
	{"tariff", "price_per_kwh", `"0.1234567"`, `"0.1234567" is no price`, "at most six decimals"},
	{"tariff", "valid_from", `"2026-02-30"`, `"2026-02-30" is no date`, `such as "2026-01-01"`},
	{"tariff", "standing_charge", `"nine"`, `"nine" is no price`, "use digits"},
	{"tariff", "standing_per", `"week"`, `"week" is not known here`, "use one of month, day, year"},
	{"tariff", "rounding", `"down"`, `"down" is not known here`, "use one of half-up, half-even"},
	{"tariff.windows", "name", `""`, "the name is empty", "write the name that residents use"},
	{"tariff.windows", "price_per_kwh", `"0,08"`, `"0,08" has a comma`, `use a point for the decimals: "0.08"`},
	{"tariff.windows", "days", `["mo"]`, `"mo" is no day of the week`, "monday"},
	{"tariff.windows", "from", `"25:00"`, `"25:00" is no time of day`, `such as "21:30"`},
	{"tariff.windows", "to", `"6"`, `"6" is no time of day`, "hours and minutes"},
	{"tariff.windows", "season_from", `"13-01"`, `"13-01" is no day of a year`, `such as "10-31"`},
	{"tariff.windows", "season_to", `"02-30"`, `"02-30" is no day of a year`, "use month and day"},
	{"tariff.cycle_prices", "room", `"east"`, `there is no room "east"`, "use the name in the header of a room"},
	{"tariff.cycle_prices", "machine", `"9"`, `there is no machine "9" in room north`, "use the number or id"},
	{"tariff.cycle_prices", "price", `"-1"`, `"-1" is no price`, "use digits"},
	{"rules", "hold", `"30s"`, "a called resident needs time to come down", "use a time from 1m to 3h"},
	{"rules", "longer_hold", `"4h"`, "4h is too long", "use a time from 0s to 3h"},
	{"rules", "longer_hold_homes", `["12", "12"]`, "home 12 is listed twice", "list each home once"},
	{"rules", "dry_call_ahead", `"20m"`, "20m is too long", "use a time from 0s to 15m"},
	{"rules", "on_my_way_adds", `"4h"`, "4h is too long", "use a time from 0s to 3h"},
	{"rules", "grace", `"10"`, `"10" is no length of time`, `such as "90s", "10m" or "1h30m"`},
	{"rules", "turns_per_home", `0`, "a home could never take a turn", "use a whole number from 1 to 100"},
	{"rules", "loads_per_home", `101`, "101 is too high", "use a whole number from 1 to 100"},
	{"rules", "call_uncollected_after", `"5m"`, "5m ends before the grace of 20m is over", "use 20m or more"},
	{"rules", "assume_empty_after", `"5m"`, "5m ends before the grace of 20m is over", "use 20m or more"},
	{"rules", "recall_after", `"8d"`, "8d is too long", "use a time from 0s to 7d"},
	{"rules", "not_me_within", `"later"`, `"later" is no length of time`, "whole numbers with the units s, m, h or d"},
	{"rules", "more_time", `"4h"`, "4h is too long", "use a time from 0s to 3h"},
	{"rules", "more_time_waiting", `"30m"`, "more than is given while nobody waits (20m)", "use 20m or less"},
	{"rules", "walk_ups", `"forbidden"`, `"forbidden" is not known here`, "use one of allowed, tolerated, reported"},
	{"rules", "night_from", `"24:00"`, `"24:00" is no time of day`, `from "00:00" to "23:59"`},
	{"rules", "night_to", `"half past six"`, "is no time of day", `such as "21:30"`},
	{"rules", "open_homes", `"no"`, "this is a text, but true or false is wanted", "write open_homes = true or open_homes = false"},
	{"rules", "keep_days", `0`, "0 is too low", "use a whole number from 1 to 3660"},
	{"rules", "per_home_figures", `1`, "this is a number, but true or false is wanted", "write per_home_figures = true"},
	{"rules", "ladder", `[{ after = "40m", tell = "owner" }, { after = "20m", tell = "next" }]`, "the ladder goes backwards", "use a time above 40m"},
	{"rules.hours", "opens", `"7"`, `"7" is no time of day`, `such as "21:30"`},
	{"rules.hours", "last_start", `"06:00"`, "the last start is at 06:00, but the room opens only at 07:00", "use a time after 07:00"},
	{"rules.hours", "ended_by", `"19:00"`, "every load must be over by 19:00, but one may still be started at 20:00", "use a time after 20:00"},
	{"rules.hours.saturday", "opens", `9`, "this is a number, but a text is wanted", `write opens = "21:30"`},
	{"rules.hours.saturday", "last_start", `"06:00"`, "but the room opens only at 09:00", "use a time after 09:00"},
	{"rooms.north", "name", `""`, "the name is empty", "write the name that residents use"},
	{"rooms.north.machines", "number", `0`, "0 is out of range", "use a whole number from 1 to 999"},
	{"rooms.north.machines", "id", `"1 b"`, "cannot be an id", "use only letters (a to z), digits, - and _"},
	{"rooms.north.machines", "kind", `"spinner"`, `"spinner" is not known here`, "use one of washer, dryer, washer-dryer"},
	{"rooms.north.machines", "capacity_kg", `0`, "0 is out of range", "use a number from 0.5 to 200 kg"},
	{"rooms.north.machines", "accessible", `"yes"`, "true or false is wanted", "write accessible = true"},
	{"rooms.north.machines", "stacked", `0`, "true or false is wanted", "write stacked = true"},
	{"rooms.north.machines", "reserved_for", `[" "]`, "one of the homes has no name", `such as ["12", "14"]`},
	{"rooms.north.machines", "meter", `"w9"`, `there is no meter "w9"`, "use one of away, d2"},
	{"rooms.north.machines", "rated_w", `10`, "10 is out of range", "as on the machine's plate"},
	{"rooms.north.machines", "plug_rated_w", `1e9`, "1e9 is out of range", "as on the plug or meter"},
	{"rooms.north.machines", "idle_below_w", `0`, "0 is out of range", "a finished machine draws 1 to 2 W"},
	{"rooms.north.machines", "idle_for", `"3"`, `"3" is no length of time`, `such as "90s"`},
	{"rooms.north.machines", "silent_after", `"1s"`, "1s is out of range", "use a time from 30s to 2d"},
	{"rooms.north.machines", "doubt", `"60 %"`, "60 % is out of range", `use "0.1 %" to "50 %"`},
	{"rooms.north.machines", "register_rolls_over_wh", `0`, "0 is out of range", "begins again at 0"},
	{"rooms.south.rules", "hold", `"30s"`, "a called resident needs time to come down", "use a time from 1m to 3h"},
	{"rooms.south.rules", "ladder", `[{ after = "20m", tell = "everybody" }]`, `"everybody" is not known here`, "use one of owner, next, manager"},
	{"rooms.south.rules.hours", "ended_by", `"19:00"`, "every load must be over by 19:00", "use a time after 20:00"},
	{"rooms.south.rules.hours", "sunday", `{ closed = "on feast days" }`, "true or false is wanted", "closed = true"},
	{"meters.w1", "driver", `"telepathy"`, `"telepathy" is not known here`, "use one of httppush, mqtt"},
	{"meters.w1", "topic", `"laundry/#"`, "stands for many meters", `such as "laundry/washer-1"`},
	{"meters.w1", "user", `""`, "the user name is empty", "as it is set in the meter"},
	{"meters.w1", "password", `""`, "it is empty", "or name a file that holds it by password_file"},
	{"meters.w1", "watts", `"a/power"`, `"a/power" does not begin with a slash`, `such as watts = "/watts"`},
	{"meters.w1", "wh", `"/~2"`, "has a ~ that means nothing", "write ~0 for a ~"},
	{"meters.w1", "wh_unit", `"J"`, `"J" is not known here`, "use one of Wh, kWh"},
	{"meters.w1", "time", `"time"`, "does not begin with a slash", `such as time = "/time"`},
	{"meters.w1", "door", `"door"`, "does not begin with a slash", `such as door = "/door"`},
	{"meters.d2", "password_file", `"missing"`, "it does not exist", "create it, or correct the name"},
	{"meters.away", "driver", `"telepathy"`, `"telepathy" is not known here`, "use one of"},
	{"meters.w3", "url", `"http://broker.weiher.org"`, "a broker is not reached by http://", "mqtts:// for an encrypted one"},
	{"meters.w3", "payload", `"xml"`, `"xml" is not known here`, "use one of number, json"},
	{"meters.w3", "password", `""`, "it is empty", "write the secret"},
	{"meters.p4", "token_file", `"missing"`, "it does not exist", "create it, or correct the name"},
	{"meters.p4", "wh", `"wh"`, "does not begin with a slash", `such as wh = "/wh"`},
	{"meters.r5", "file", `"missing.csv"`, "it does not exist", "create it, or correct the name"},
	{"meters.r5", "repeat", `"often"`, "true or false is wanted", "write repeat = true"},
	{"meters.s6", "machine", `"toaster"`, `"toaster" is not known here`, "use one of dryer, washer"},
	{"meters.s6", "meter", `"bucket"`, `"bucket" is not known here`, "use one of plug, rail"},
	{"meters.s6", "seed", `-1`, "-1 is out of range", "use a whole number from 0 to 2147483648"},
	{"meters.s6", "runs_per_day", `25`, "25 is out of range", "from 0 to 24 runs a day"},
}

// lineOf is where a section of the full file has a key first; -1 for nowhere.
func lineOf(lines []string, section, key string) int {
	in := ""
	for i, line := range lines {
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(line, "[]")
		}
		if m := settingLine.FindStringSubmatch(line); m != nil && in == section && m[1] == key {
			return i
		}
	}
	return -1
}

// Of each bad value one thing is said, at its line and under its key, or under one
// within it, and nothing else is found wrong.
func TestEveryBadValue(t *testing.T) {
	lines := fullLines(t)
	for _, c := range badValues {
		at := lineOf(lines, c.section, c.key)
		if at < 0 {
			t.Errorf("the full file has no %s in %s", c.key, c.section)
			continue
		}
		got := change(t, lines, at, c.key+" = "+c.value)
		own := slices.DeleteFunc(slices.Clone(got), func(p config.Problem) bool { return p.Line != at+1 })
		others := slices.DeleteFunc(slices.Clone(got), func(p config.Problem) bool {
			// A room's own hours may not go with the building's.
			return p.Line == at+1 || strings.HasSuffix(p.Key, ".hours."+c.key)
		})
		if len(own) != 1 || len(others) > 0 {
			t.Errorf("%s: %s = %s has the problems %v and %v, want one", c.section, c.key, c.value, own, others)
			continue
		}
		if p := own[0]; !strings.Contains(plainKey(p.Key)+".", "."+c.key+".") || !strings.Contains(p.Wrong, c.wrong) || !strings.Contains(p.Right, c.right) {
			t.Errorf("%s: %s = %s: %s; want %q and %q", c.section, c.key, c.value, p, c.wrong, c.right)
		}
	}
}

var places = regexp.MustCompile(`\[\d+\]`)

// plainKey is a key without the numbers of its places.
func plainKey(key string) string { return "." + places.ReplaceAllString(key, "") }

// Every setting that the full file has, in every sort of section, has a bad value above.
func TestEverySettingHasABadValue(t *testing.T) {
	in, tried := "", map[string]bool{}
	for _, c := range badValues {
		tried[c.section+" "+c.key] = true
		tried[c.key] = true
	}
	for i, line := range fullLines(t) {
		if strings.HasPrefix(line, "[") {
			in = strings.Trim(line, "[]")
		}
		m := settingLine.FindStringSubmatch(line)
		// What rooms and meters have in common is tried once.
		if m == nil || tried[in+" "+m[1]] || tried[m[1]] && (strings.HasPrefix(in, "meters.") || strings.HasPrefix(in, "rooms.")) {
			continue
		}
		t.Errorf("line %d: %s has no bad value in %s", i+1, m[1], in)
	}
}

// readers are the methods that decode a setting, called with its key.
var readers = regexp.MustCompile(`\bs\.(?:address|between|clock|content|count|date|duration|homes|mailbox|name|number|oneOf|path|pointer|price|scalar|secret|share|text|texts|topic|truth|weekdays|whole|word|yearDay|zone|brokerURL)\("([a-z_]+)"`)

// Every key that the code reads is in the full file, so that none escapes the tests
// that go through it; but for those that exclude what stands there.
func TestFullFileHasEveryKey(t *testing.T) {
	elsewhere := map[string]string{
		"acme_host": "acme", "acme_email": "acme", "token": "token_file", "wall_touch": "rules", "language": "mail", "security": "mail", "server": "mail",
		"password_env": "mail", "managers": "mail", "from": "mail", "after": "ladder", "tell": "ladder", "text": "ladder", "closed": "hours",
	}
	text := strings.Join(fullLines(t), "\n")
	names, _ := filepath.Glob("*.go")
	found := 0
	for _, name := range names {
		code, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range readers.FindAllStringSubmatch(string(code), -1) {
			found++
			if !regexp.MustCompile(`(?m)^`+m[1]+` = `).MatchString(text) && elsewhere[m[1]] == "" {
				t.Errorf("%s reads %s, which the full file has not", name, m[1])
			}
		}
	}
	if found < 70 {
		t.Fatalf("only %d readers found: does this test still read the code?", found)
	}
}
