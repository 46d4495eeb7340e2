package config_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/queue"
)

// drawn is a building file and what it must be understood as.
type drawn struct {
	text    string
	rules   coordinator.Rules
	rooms   map[coordinator.RoomID]map[queue.MachineID]queue.Kind
	meters  map[string]string // secret by meter
	tariff  int64
	backups int
}

// spell writes a span in one of the ways that the file allows.
func spell(t *rapid.T, d time.Duration) string {
	words := []string{d.String(), fmt.Sprintf("%gs", d.Seconds()), config.Duration(d).String()}
	if d%time.Minute == 0 {
		words = append(words, fmt.Sprintf("%d min", d/time.Minute), fmt.Sprintf("%dm", d/time.Minute))
	}
	return rapid.SampledFrom(words).Draw(t, "spelling")
}

// span draws whole seconds between two bounds.
func span(t *rapid.T, name string, low, high time.Duration) time.Duration {
	return time.Duration(rapid.Int64Range(int64(low/time.Second), int64(high/time.Second)).Draw(t, name)) * time.Second
}

// building draws a good building file.
func building(t *rapid.T) drawn {
	d := drawn{rules: coordinator.DefaultRules(), rooms: map[coordinator.RoomID]map[queue.MachineID]queue.Kind{}, meters: map[string]string{}}
	var b strings.Builder
	b.WriteString(head + "[rules]\n")
	r := &d.rules
	r.Hold, r.Grace = span(t, "hold", time.Minute, 3*time.Hour), span(t, "grace", 0, 2*time.Hour)
	r.RecallAfter, r.NotMeWithin = span(t, "recall", 0, 24*time.Hour), span(t, "not me", 0, time.Hour)
	r.Limits.TurnsPerHome, r.Limits.LoadsPerHome = rapid.IntRange(1, 100).Draw(t, "turns"), rapid.IntRange(1, 100).Draw(t, "loads")
	r.KeepDays, r.OpenHomes = rapid.IntRange(1, 3660).Draw(t, "days"), rapid.Bool().Draw(t, "homes")
	r.WallTouch = rapid.Bool().Draw(t, "touch")
	fmt.Fprintf(&b, "hold = %q\ngrace = %q\nrecall_after = %q\nnot_me_within = %q\n", spell(t, r.Hold), spell(t, r.Grace), spell(t, r.RecallAfter), spell(t, r.NotMeWithin))
	fmt.Fprintf(&b, "turns_per_home = %d\nloads_per_home = %d\nkeep_days = %d\nopen_homes = %t\nwall_touch = %t\nassume_empty_after = \"7d\"\n", r.Limits.TurnsPerHome, r.Limits.LoadsPerHome, r.KeepDays, r.OpenHomes, r.WallTouch)
	r.AssumeEmptyAfter = 7 * 24 * time.Hour
	d.tariff = rapid.Int64Range(0, 5_000_000).Draw(t, "price")
	d.backups = rapid.IntRange(1, 10_000).Draw(t, "copies")
	fmt.Fprintf(&b, "[tariff]\ncurrency = \"EUR\"\nprice_per_kwh = \"%d.%06d\"\n[backup]\nkeep = %d\n", d.tariff/1_000_000, d.tariff%1_000_000, d.backups)
	d.addRooms(t, &b)
	d.text = b.String()
	return d
}

// addRooms draws rooms with machines, most of them behind meters.
func (d *drawn) addRooms(t *rapid.T, b *strings.Builder) {
	kinds := map[string]queue.Kind{"washer": queue.Washer, "dryer": queue.Dryer, "washer-dryer": queue.WasherDryer}
	for i := range rapid.IntRange(1, 4).Draw(t, "rooms") {
		id := coordinator.RoomID(fmt.Sprintf("room-%d", i))
		d.rooms[id] = map[queue.MachineID]queue.Kind{}
		var meters strings.Builder
		for n := range rapid.IntRange(1, 5).Draw(t, "machines") {
			kind := rapid.SampledFrom([]string{"washer", "dryer", "washer-dryer"}).Draw(t, "kind")
			fmt.Fprintf(b, "[[rooms.%s.machines]]\nnumber = %d\nkind = %q\n", id, n+1, kind)
			d.rooms[id][queue.MachineID(fmt.Sprint(n+1))] = kinds[kind]
			if !rapid.Bool().Draw(t, "metered") {
				continue
			}
			name := fmt.Sprintf("m%d-%d", i, n)
			secret := rapid.StringMatching(`[a-z]{8,20}`).Draw(t, "secret") + name + "0123456789"
			d.meters[name] = secret
			fmt.Fprintf(b, "meter = %q\n", name)
			if rapid.Bool().Draw(t, "posts") {
				fmt.Fprintf(&meters, "[meters.%s]\ndriver = \"httppush\"\ntoken = %q\n", name, secret)
			} else {
				fmt.Fprintf(&meters, "[meters.%s]\ndriver = \"mqtt\"\ntopic = \"laundry/%[1]s\"\npassword = %q\n", name, secret)
			}
		}
		b.WriteString(meters.String())
	}
}

// TestMeaningSurvives: whatever is written in a good file is what is understood,
// in whichever way it is spelt.
func TestMeaningSurvives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := building(t)
		f, err := config.Parse("b.toml", []byte(d.text), options())
		if err != nil {
			t.Fatalf("refused:\n%v\n%s", err, d.text)
		}
		if f.Tariff.MicrosPerKWh != d.tariff || f.Backup.Keep != d.backups || len(f.Meters) != len(d.meters) || len(f.Rooms) != len(d.rooms) {
			t.Fatalf("understood as %+v, %+v, %d meters, %d rooms:\n%s", f.Tariff, f.Backup, len(f.Meters), len(f.Rooms), d.text)
		}
		for _, room := range f.Rooms {
			if got := config.Differences(d.rules, room.Seed); len(got) > 0 || !reflect.DeepEqual(room.Seed, d.rules) {
				t.Fatalf("room %s: %q\n got %+v\nwant %+v\n%s", room.ID, got, room.Seed, d.rules, d.text)
			}
			kinds := map[queue.MachineID]queue.Kind{}
			for _, m := range room.Machines {
				kinds[m.ID] = m.Kind
			}
			if !reflect.DeepEqual(kinds, d.rooms[room.ID]) {
				t.Fatalf("room %s has %v, want %v", room.ID, kinds, d.rooms[room.ID])
			}
		}
		for name, secret := range d.meters {
			if got := secretOf(f.Meter(name)); got != secret {
				t.Fatalf("meter %s has the secret %q, want %q", name, got, secret)
			}
		}
	})
}

// secretOf is what a meter signs in with.
func secretOf(m *config.Meter) string {
	if m == nil {
		return ""
	}
	switch o := m.Options.(type) {
	case *config.MQTTMeter:
		return o.Password.Reveal()
	case *config.HTTPPushMeter:
		return o.Token.Reveal()
	}
	return ""
}

// TestOrderDoesNotMatter: sections in another order mean the same, but for the
// order of rooms and meters themselves.
func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := building(t)
		parts := strings.Split(d.text, "\n[")
		whole := make([]string, len(parts)-1) // a section with the lines of its own
		for i, part := range parts[1:] {
			whole[i] = "\n[" + part
		}
		shuffled := parts[0] + strings.Join(rapid.Permutation(whole).Draw(t, "order"), "")
		a, err := config.Parse("b.toml", []byte(d.text), options())
		if err != nil {
			t.Fatal(err)
		}
		b, err := config.Parse("b.toml", []byte(shuffled), options())
		if err != nil {
			t.Fatalf("refused:\n%v\n%s", err, shuffled)
		}
		if !reflect.DeepEqual(a.Building, b.Building) || !reflect.DeepEqual(a.Tariff, b.Tariff) || !reflect.DeepEqual(a.Backup, b.Backup) || a.Broker != b.Broker {
			t.Fatalf("another meaning:\n%s", shuffled)
		}
		for _, m := range a.Meters {
			if secretOf(b.Meter(m.Name)) != secretOf(a.Meter(m.Name)) {
				t.Fatalf("meter %s is another:\n%s", m.Name, shuffled)
			}
		}
		for _, room := range a.Rooms {
			other := b.Room(room.ID)
			if other == nil || len(other.Machines) != len(room.Machines) || len(config.Differences(room.Seed, other.Seed)) > 0 {
				t.Fatalf("room %s is another: %+v", room.ID, other)
			}
		}
	})
}

// wounds are what an editor may do to a line.
var wounds = []func(t *rapid.T, line string) string{
	func(*rapid.T, string) string { return "" },
	func(_ *rapid.T, line string) string { return line + "\n" + line },
	func(_ *rapid.T, line string) string { return strings.ReplaceAll(line, `"`, "") },
	func(_ *rapid.T, line string) string { return strings.Replace(line, `"`, "", 1) },
	func(_ *rapid.T, line string) string { return strings.Replace(line, "=", "", 1) },
	func(_ *rapid.T, line string) string { return strings.Replace(line, "=", "==", 1) },
	func(_ *rapid.T, line string) string { return strings.Replace(line, "[", "", 1) },
	func(_ *rapid.T, line string) string { return "\t " + line + " #" },
	func(t *rapid.T, line string) string { return line[:rapid.IntRange(0, len(line)).Draw(t, "cut")] },
	func(t *rapid.T, line string) string {
		at := rapid.IntRange(0, len(line)).Draw(t, "at")
		return line[:at] + rapid.SampledFrom([]string{"\x00", "\xff", "é", "]", "{", "'''", "\\", "\r", "9e999"}).Draw(t, "odd") + line[at:]
	},
}

// TestWoundedFiles: a good file with some lines spoilt is taken, or refused with
// problems that each have a place, in order, and give no secret away.
func TestWoundedFiles(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := building(rt)
		lines := strings.Split(d.text, "\n")
		for range rapid.IntRange(1, 4).Draw(rt, "wounds") {
			at := rapid.IntRange(0, len(lines)-1).Draw(rt, "line")
			lines[at] = rapid.SampledFrom(wounds).Draw(rt, "wound")(rt, lines[at])
		}
		text := strings.Join(lines, "\n")
		got := problems(t, "b.toml", text)
		told(t, []byte(text), got)
		if !slices.IsSortedFunc(got, func(a, b config.Problem) int { return a.Line - b.Line }) {
			rt.Fatalf("not in the order of their lines:\n%v", got)
		}
		for _, p := range got {
			for name, secret := range d.meters {
				// A piece of it would do for a guess.
				if strings.Contains(p.String(), secret[:8]) {
					rt.Fatalf("%s gives the secret of %s away:\n%s", p, name, text)
				}
			}
		}
		if t.Failed() {
			rt.Fatalf("in\n%s", text)
		}
	})
}

// TestFileShowsNoSecret: a whole file may be printed, logged or encoded.
func TestFileShowsNoSecret(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := building(t)
		f, err := config.Parse("b.toml", []byte(d.text), options())
		if err != nil {
			t.Fatal(err)
		}
		var shown bytes.Buffer
		log := slog.New(slog.NewJSONHandler(&shown, nil))
		for i := range f.Meters {
			log.Info("meter", "meter", f.Meters[i], "options", f.Meters[i].Options)
			fmt.Fprintf(&shown, "%v %+v %#v %s %d %q %x", f.Meters[i], f.Meters[i].Options, f.Meters[i].Options, f.Meters[i].Options, f.Meters[i].Options, f.Meters[i].Options, f.Meters[i].Options)
			if data, err := json.Marshal(f.Meters[i].Options); err == nil {
				shown.Write(data)
			}
		}
		for name, secret := range d.meters {
			if strings.Contains(shown.String(), secret) || strings.Contains(shown.String(), fmt.Sprintf("%x", secret)) {
				t.Fatalf("the secret of %s is shown:\n%s", name, shown.String())
			}
		}
	})
}

// TestDifferencesAreEven: what differs one way differs the other way, by the
// same names, and nothing differs from itself.
func TestDifferencesAreEven(t *testing.T) {
	names := func(lines []string) (all []string) {
		for _, line := range lines {
			name, _, _ := strings.Cut(line, ":")
			all = append(all, name)
		}
		slices.Sort(all)
		return all
	}
	rapid.Check(t, func(t *rapid.T) {
		a, b := building(t).rules, building(t).rules
		there, back := config.Differences(a, b), config.Differences(b, a)
		if !slices.Equal(names(there), names(back)) {
			t.Fatalf("there %q, back %q", there, back)
		}
		if got := config.Differences(a, a); len(got) > 0 {
			t.Fatalf("from itself it differs by %q", got)
		}
		if !reflect.DeepEqual(a, b) && len(there) == 0 {
			t.Fatalf("no difference between %+v and %+v", a, b)
		}
	})
}

// TestDurationsAreRead: every span is read back as it is written.
func TestDurationsAreRead(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		d := span(rt, "span", time.Minute, 3*time.Hour)
		words := config.Duration(d).String()
		f := parse(t, head+"[rules]\nhold = \""+words+"\"\n"+room)
		if got := f.Rooms[0].Seed.Hold; got != d {
			rt.Fatalf("%q is read as %s, want %s", words, got, d)
		}
	})
}
