package config_test

import (
	"net/netip"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

func read(t *testing.T, name string) *config.File {
	t.Helper()
	data, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	f, err := config.Parse(name, data, options())
	if err != nil {
		t.Fatalf("refused:\n%v", err)
	}
	return f
}

func same(t *testing.T, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

// Every file of testdata/good is taken.
func TestGoodFiles(t *testing.T) {
	names, _ := filepath.Glob("testdata/good/*.toml")
	if len(names) < 2 {
		t.Fatal("there are no good files")
	}
	for _, name := range names {
		if f := read(t, name); f.Path != name {
			t.Errorf("the path of %s is %s", name, f.Path)
		}
	}
}

func TestLeast(t *testing.T) {
	f := read(t, "testdata/good/least.toml")
	berlin, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	same(t, "building", f.Building, config.Building{Name: "Plover Yard", Zone: berlin})
	power := cycle.DefaultSettings()
	same(t, "rooms", f.Rooms, []coordinator.Plan{{
		ID: "cellar", Name: "cellar", Zone: berlin, Seed: coordinator.DefaultRules(),
		Machines: []coordinator.Machine{{Machine: queue.Machine{ID: "1", Number: 1, Kind: queue.Washer}, Power: power}},
	}})
	same(t, "server", f.Server, config.Server{
		Listen: ":8080", TLS: config.TLS{Mode: "off"}, PublicURL: "http://localhost:8080", Data: "testdata/good/data",
	})
	same(t, "broker", f.Broker, config.Broker{Listen: ":1883", TLS: config.TLS{Mode: "off"}})
	same(t, "schedule", f.Schedule, config.Schedule{Nightly: "15 4 * * *", Monthly: "30 5 1 * *"})
	same(t, "backup", f.Backup, config.Backup{Folder: "testdata/good/data/backup", Keep: 14})
	same(t, "tariff", f.Tariff, coordinator.Tariff{})
	same(t, "meters", len(f.Meters), 0)
	same(t, "warnings", len(f.Warnings), 1)
}

func TestFullServer(t *testing.T) {
	f := read(t, "testdata/good/full.toml")
	same(t, "server", f.Server, config.Server{
		Listen:      "127.0.0.1:9443",
		TLS:         config.TLS{Mode: "files", CertFile: "testdata/good/cert.pem", KeyFile: "testdata/good/key.pem"},
		PublicURL:   "https://laundry.weiher.org/wash",
		PushSubject: "caretaker@weiher.org",
		PushHosts:   []string{"fcm.googleapis.com", ".push.apple.com"},
		Data:        "/var/lib/drumturn",
		TrustedProxies: []netip.Prefix{
			netip.MustParsePrefix("127.0.0.1/32"), netip.MustParsePrefix("10.0.0.0/8"), netip.MustParsePrefix("fd00::/8"),
		},
	})
	same(t, "broker", f.Broker, config.Broker{
		Needed: true, Listen: ":8884",
		TLS: config.TLS{Mode: "files", CertFile: "testdata/good/cert.pem", KeyFile: "testdata/good/key.pem"},
	})
	same(t, "schedule", f.Schedule, config.Schedule{Nightly: "5 3 * * *", Monthly: "0 7 2 * *"})
	same(t, "backup", f.Backup, config.Backup{Folder: "testdata/good/copies", Keep: 30})
	const none = queue.NoClock
	same(t, "tariff", f.Tariff, coordinator.Tariff{
		From: coordinator.Date{Year: 2026, Month: 1, Day: 1}, Currency: "CAD", MicrosPerKWh: 123_456,
		StandingMicros: 9_900_000, StandingPer: coordinator.PerDay, Rounding: coordinator.HalfEven,
		Windows: []coordinator.TariffWindow{
			{Name: "winter night", MicrosPerKWh: 80_000, Days: []time.Weekday{time.Monday, time.Tuesday}, From: 22 * 60, To: 6 * 60,
				SeasonFrom: coordinator.YearDay{Month: 11, Day: 1}, SeasonTo: coordinator.YearDay{Month: 2, Day: 29}},
			{Name: "weekend", MicrosPerKWh: 90_000, Days: []time.Weekday{time.Saturday, time.Sunday}, From: none, To: none},
		},
		CyclePrices: []coordinator.CyclePrice{{Room: "north", Machine: "2", Micros: 1_500_000}},
	})
	same(t, "warnings", len(f.Warnings), 0)
}

func TestFullRules(t *testing.T) {
	f := read(t, "testdata/good/full.toml")
	const none = queue.NoClock
	weekday := queue.Day{Opens: 7 * 60, LastStart: 20 * 60, EndedBy: 22 * 60}
	sunday := weekday
	sunday.Closed = true
	want := coordinator.Rules{
		Hold: 12 * time.Minute, LongerHold: 25 * time.Minute, LongerHoldHomes: []queue.HomeID{"12", "Ground floor"},
		DryCallAhead: 5 * time.Minute, OnMyWayAdds: 2 * time.Minute, Grace: 20 * time.Minute,
		Ladder: []coordinator.LadderStep{
			{After: 20 * time.Minute, Tell: coordinator.TellOwner}, {After: 40 * time.Minute, Tell: coordinator.TellNext},
		},
		Limits:    queue.Limits{TurnsPerHome: 3, LoadsPerHome: 1},
		Hours:     queue.Hours{sunday, weekday, weekday, weekday, weekday, weekday, {Opens: 9 * 60, LastStart: none, EndedBy: 22 * 60}},
		NightFrom: 23 * 60, NightTo: 6*60 + 30,
		CallUncollectedAfter: 45 * time.Minute, AssumeEmptyAfter: 90 * time.Minute,
		RecallAfter: 90 * time.Second, NotMeWithin: 5 * time.Minute,
		MoreTime: 20 * time.Minute, MoreTimeWaiting: 5 * time.Minute, WalkUps: coordinator.Reported,
		OpenHomes: false, KeepDays: 100, PerHomeFigures: true,
	}
	same(t, "rules of a room without its own", f.Room("north").Seed, want)

	want.Hold, want.Ladder = 30*time.Minute, nil
	for i := range want.Hours {
		want.Hours[i].EndedBy = 21*60 + 30
	}
	want.Hours[time.Sunday].Closed, want.Hours[time.Sunday].Opens = false, 10*60
	same(t, "rules of a room with its own", f.Room("south").Seed, want)
}

func TestFullMachines(t *testing.T) {
	f := read(t, "testdata/good/full.toml")
	power := cycle.DefaultSettings()
	power.IdleBelowW, power.IdleFor, power.SilentAfter = 4.5, 2*time.Minute, 24*time.Hour
	power.Doubt, power.RegisterModulusWh = 0.05, 655_360
	dryer := cycle.DefaultSettings()
	dryer.Washer, dryer.Dryer, dryer.Doubt = false, true, 0.1
	both := cycle.DefaultSettings()
	both.Dryer = true
	room := f.Room("north")
	same(t, "name", room.Name, "North cellar")
	same(t, "machines", room.Machines, []coordinator.Machine{
		{
			Machine: queue.Machine{
				ID: "1b", Number: 1, Kind: queue.Washer, CapacityKg: 7.5, Accessible: true, ReservedFor: []queue.HomeID{"12", "14 left"},
			},
			Meter: "w1", RatedW: 2300, PlugW: 3680.5, Power: power,
		},
		{Machine: queue.Machine{ID: "2", Number: 2, Kind: queue.Dryer, Stacked: true}, Meter: "d2", Power: dryer},
		// Its meter is away, so it is run by hand.
		{Machine: queue.Machine{ID: "3", Number: 3, Kind: queue.WasherDryer}, Power: both},
	})
}

func TestFullMeters(t *testing.T) {
	f := read(t, "testdata/good/full.toml")
	secret := config.NewSecret("0123456789abcdef")
	want := []config.Meter{
		{Name: "w1", Driver: "mqtt", Options: &config.MQTTMeter{
			Topic: "laundry/w1", User: "washer", Password: config.NewSecret("correct horse"),
			Payload: config.Payload{Watts: "/a/power", Wh: "/a~1b/energy", Time: "/time", Door: "/door", WhFactor: 1000},
		}},
		{Name: "d2", Driver: "mqtt", Options: &config.MQTTMeter{
			Topic: "laundry/d2", User: "d2", Password: secret, Payload: config.Payload{WhFactor: 1},
		}},
		{Name: "w3", Driver: "mqtt-client", Options: &config.MQTTClientMeter{
			URL: "mqtts://broker.weiher.org:8883", User: "drumturn", Password: config.NewSecret("p"), Topic: "cellar/w3",
			Payload: config.Payload{WhFactor: 1},
		}},
		{Name: "p4", Driver: "httppush", Options: &config.HTTPPushMeter{
			Token: secret, Payload: config.Payload{Wh: "/wh", WhFactor: 1},
		}},
		{Name: "r5", Driver: "replay", Options: &config.ReplayMeter{File: "testdata/good/recording.csv", Repeat: true}},
		{Name: "s6", Driver: "sim", Options: &config.SimMeter{Machine: "dryer", Meter: "rail", Seed: 42, RunsPerDay: 0.5}},
	}
	same(t, "meters", f.Meters, want)
	if m := f.Meter("w3"); m == nil || m.Driver != "mqtt-client" {
		t.Errorf("the meter w3 is not found: %v", m)
	}
	if f.Meter("away") != nil || f.Meter("gone") != nil || f.Room("gone") != nil {
		t.Error("a meter or room is found that is not there")
	}
	if json := f.Meter("w1").Options.(*config.MQTTMeter).Payload.JSON(); !json {
		t.Error("a payload with places is not JSON")
	}
}

// Rules of one room must not reach into another's.
func TestRoomsShareNoLadder(t *testing.T) {
	f := parse(t, head+"[rooms.a]\nmachines=[{number=1,kind=\"washer\"}]\n[rooms.b]\nmachines=[{number=1,kind=\"washer\"}]\n")
	f.Rooms[0].Seed.Ladder[0].After = time.Hour
	if f.Rooms[1].Seed.Ladder[0].After == time.Hour {
		t.Error("two rooms share one ladder")
	}
}
