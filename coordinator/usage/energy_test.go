package usage

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

var noon = local("2026-06-10 12:00")

// watts are readings from noon on, by the second.
func watts(seconds []float64, power func(i int) float64) (all []cycle.Reading) {
	for i, s := range seconds {
		all = append(all, cycle.Power(noon.Add(time.Duration(s*1e9)), power(i)))
	}
	return all
}

func every(step, last float64) (all []float64) {
	for s := 0.0; s <= last; s += step {
		all = append(all, s)
	}
	return all
}

func drawn(readings []cycle.Reading) float64 {
	c := curveOf(readings, 0, 0, readings[len(readings)-1].At)
	return c.between(readings[0].At, readings[len(readings)-1].At)
}

// TestCurveAgainstSciPy: energies by scipy.integrate 1.10.1 with the earlier
// value held, Wh; the sine's and the step's are also exact by calculus.
func TestCurveAgainstSciPy(t *testing.T) {
	irregular := []float64{2, 2000, 2050, 150, 155, 400, 3}
	near(t, "irregular samples", drawn(watts([]float64{0, 10, 20, 35, 60, 90, 120}, func(i int) float64 { return irregular[i] })), 19.769444444444446, 1e-9)
	near(t, "sine", drawn(watts(every(60, 3600), func(i int) float64 { return 1000 + 500*math.Sin(2*math.Pi*float64(i)/60) })), 1000, 1e-9)
	near(t, "step", drawn(watts(every(60, 3600), func(i int) float64 {
		if i < 30 {
			return 2000
		}
		return 100
	})), 1050, 1e-9)
	near(t, "ramp", drawn(watts(every(300, 1800), func(i int) float64 { return float64(i) * 2000 / 6 })), 416.6666666666667, 1e-9)
}

// TestCurveWithRegister: what the register counted is what counts. The series are
// those that cumulative counters of 16 bits and of 7 digits give where they roll
// over (recomputed by hand: 30+26+380 and 0.09+0.05+0.08).
func TestCurveWithRegister(t *testing.T) {
	for _, c := range []struct {
		modulus float64
		wh      []float64
		want    float64
	}{
		{65536, []float64{65500, 65530, 20, 400}, 436},
		{cycle.RegisterModulusDigits(7, 10), []float64{99999900, 99999990, 40, 120}, 220},
		{0, []float64{31000, 31010, 0, 5}, 15},
	} {
		var readings []cycle.Reading
		for i, wh := range c.wh {
			readings = append(readings, cycle.Reading{At: noon.Add(time.Duration(i) * time.Hour), Watts: math.NaN(), Wh: wh})
		}
		got := curveOf(readings, 10*time.Minute, c.modulus, readings[3].At).between(noon, readings[3].At)
		near(t, "energy by the register", got, c.want, 1e-6)
	}
}

// TestCurveHoles: a reading holds as long as the meter may be silent and no
// longer; a register tells what was drawn in the hole, but not when.
func TestCurveHoles(t *testing.T) {
	at := func(minutes int) time.Time { return noon.Add(time.Duration(minutes) * time.Minute) }
	plain := []cycle.Reading{cycle.Power(at(0), 600), cycle.Power(at(10), 600), cycle.Power(at(70), 600), cycle.Power(at(80), 0)}
	c := curveOf(plain, 10*time.Minute, 0, at(80))
	near(t, "without a register", c.between(at(0), at(80)), 200, 1e-9)
	if known := c.known(at(0), at(80)); known != 20*time.Minute {
		t.Errorf("known for %v", known)
	}
	for i, wh := range []float64{0, 100, 700, 800} {
		plain[i].Wh = wh
	}
	c = curveOf(plain, 10*time.Minute, 0, at(80))
	near(t, "with a register", c.between(at(0), at(80)), 800, 1e-9)
	near(t, "the hole", c.between(at(10), at(70)), 600, 1e-9)
	near(t, "half of the hole", c.between(at(10), at(40)), 300, 1e-9)
}

// TestCoarseRegister: a register of 10 Wh steps does not move the energy about.
func TestCoarseRegister(t *testing.T) {
	var readings []cycle.Reading
	wh := 0.0
	for m := range 121 {
		power := 20.0
		if m >= 60 {
			power = 1000
		}
		readings = append(readings, cycle.Reading{At: noon.Add(time.Duration(m) * time.Minute), Watts: power, Wh: math.Floor(wh/10) * 10})
		wh += power / 60
	}
	c := curveOf(readings, 10*time.Minute, 0, noon.Add(2*time.Hour))
	near(t, "the first hour", c.between(noon, noon.Add(time.Hour)), 20, 10)
	near(t, "the second hour", c.between(noon.Add(time.Hour), noon.Add(2*time.Hour)), 1000, 10)
}

// tariffOf is a tariff of one price and windows.
func tariffOf(windows ...coordinator.TariffWindow) coordinator.Tariffs {
	return coordinator.Tariffs{{Version: 1, Tariff: coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 300_000, Windows: windows}}}
}

func window(name string, from, to queue.Clock, micros int64) coordinator.TariffWindow {
	return coordinator.TariffWindow{Name: name, From: from, To: to, MicrosPerKWh: micros}
}

// measured is a day with readings of w1 each minute.
func measured(of Day, power func(time.Time) float64) Day {
	of.Power = map[coordinator.MachineID]cycle.Settings{"w1": cycle.DefaultSettings()}
	of.Machines = []coordinator.MachineID{"w1"}
	of.Readings = func(_ coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
		for at := from.Truncate(time.Minute); at.Before(to); at = at.Add(time.Minute) {
			if !at.Before(from) && !fn(coordinator.MachineReading{Machine: "w1", Reading: cycle.Power(at, power(at))}) {
				break
			}
		}
		return nil
	}
	return of
}

// TestEnergyAtBorders: a kilowatt from 21:30 to 22:15, and 2 W at rest, with a
// window from 22:00 to 06:00.
func TestEnergyAtBorders(t *testing.T) {
	begin, end := local("2026-06-10 21:30"), local("2026-06-10 22:15")
	of := measured(dayOf("2026-06-10", []coordinator.Fact{ran("w1", 1, "2026-06-10 21:30", "2026-06-10 22:15", 750, "finished")}, local("2026-06-11 12:00")),
		func(at time.Time) float64 {
			if at.Before(begin) || !at.Before(end) {
				return 2
			}
			return 1000
		})
	of.Tariffs = tariffOf(window("night", 22*60, 6*60, 200_000))
	got := summarised(of)[1].Used
	want := []Used{
		{Tariff: 1, Window: 0, Cycles: 500_000, Standby: 2000 * 31 / 2}, // 06:00 to 21:30
		{Tariff: 1, Window: 1, Cycles: 250_000, Standby: 2000*6 + 2000*7/4},
	}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("\n got %+v\nwant %+v", got, want)
	}
}

// TestEnergyWhenClocksChange: a machine draws a kilowatt all day. The window from
// 02:00 to 03:00 is not there on 2026-03-29 and is there twice on 2026-10-25
// (IANA time zone database, Europe/Berlin).
func TestEnergyWhenClocksChange(t *testing.T) {
	for day, want := range map[string][2]MilliWh{"2026-03-28": {23, 1}, "2026-03-29": {23, 0}, "2026-10-25": {23, 2}} {
		of := measured(dayOf(day, nil, date(day).End(berlin).Add(time.Hour)), func(time.Time) float64 { return 1000 })
		of.Tariffs = tariffOf(window("two", 2*60, 3*60, 1))
		var got [2]MilliWh
		for _, u := range summarised(of)[1].Used {
			got[u.Window] += u.Standby
		}
		if got[0] != want[0]*1e6 || got[1] != want[1]*1e6 {
			t.Errorf("%s: %v, want %v kWh", day, got, want)
		}
	}
}

// TestStandbyIsNotCycles: what runs at night's work is no standby, and a machine
// whose meter was silent has no energy but says for how long.
func TestStandbyIsNotCycles(t *testing.T) {
	of := measured(dayOf("2026-06-10", []coordinator.Fact{
		{At: local("2026-06-10 22:00"), Kind: coordinator.FactWalkUp, Machine: "w1", Cycle: 5, Load: 5, Start: local("2026-06-10 22:00")},
	}, local("2026-06-10 23:00")), func(at time.Time) float64 {
		if at.Before(local("2026-06-10 22:00")) {
			return 1
		}
		return 2000
	})
	got := summarised(of)[1]
	if cycles, standby := got.Energy(); cycles != 0 || standby != 22_000 || got.Unmetered != 0 {
		t.Errorf("%v in cycles, %v at rest, unmetered %v", cycles, standby, got.Unmetered)
	}
	of.Readings = nil
	if got := summarised(of)[1]; got.Unmetered != 22*time.Hour || len(got.Used) != 0 {
		t.Errorf("without readings %+v", got)
	}
	of.Kept = map[coordinator.MachineID]Figures{"w1": {Unmetered: time.Hour, Used: []Used{{Tariff: 2, Cycles: 9, Standby: 7}}}}
	if got := summarised(of)[1]; got.Unmetered != time.Hour || len(got.Used) != 1 || got.Used[0] != (Used{Tariff: 2, Standby: 7}) {
		t.Errorf("what was known before is now %+v", got)
	}
}

// TestReportedCycle: a cycle run by hand has what its meter knows, if it has one.
func TestReportedCycle(t *testing.T) {
	f := ran("w1", 1, "2026-06-10 10:00", "2026-06-10 11:00", 0, string(coordinator.EndReported))
	of := measured(dayOf("2026-06-10", []coordinator.Fact{f}, local("2026-06-11 12:00")), func(time.Time) float64 { return 600 })
	if cycles, _ := summarised(of)[1].Used[0].Cycles, 0; cycles != 600_000 {
		t.Errorf("it took %v", cycles)
	}
}

// TestCyclesAddUp: however readings, windows and midnights cut cycles, their parts
// add up to what the cycle engine said, in whole milliwatt-hours; and the homes'
// parts to those of all.
func TestCyclesAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := rapid.SampledFrom([]Date{date("2026-03-28"), date("2026-10-24"), date("2026-06-10")}).Draw(t, "begin")
		at := begin.Begin(berlin).Add(time.Hour)
		var facts []coordinator.Fact
		var readings []cycle.Reading
		var want, homes MilliWh
		for i := range rapid.IntRange(1, 6).Draw(t, "cycles") {
			start := at.Add(time.Duration(rapid.IntRange(1, 600).Draw(t, "idle")) * time.Minute)
			end := start.Add(time.Duration(rapid.IntRange(1, 300*60).Draw(t, "runs")) * time.Second)
			wh := float64(rapid.IntRange(0, 3_000_000).Draw(t, "mWh")) / 1000
			load := coordinator.LoadID(i + 1)
			facts = append(facts,
				coordinator.Fact{At: start, Kind: coordinator.FactStarted, Machine: "w1", Cycle: uint64(i + 1), Load: load, Home: coordinator.HomeID(rapid.SampledFrom([]string{"", "12", "14"}).Draw(t, "home")), Start: start},
				coordinator.Fact{At: end, Kind: coordinator.FactCycle, Machine: "w1", Cycle: uint64(i + 1), Load: load, Start: start, End: end, EnergyWh: wh, Note: "finished"})
			for at := start; at.Before(end); at = at.Add(time.Duration(rapid.IntRange(10, 3000).Draw(t, "gap")) * time.Second) {
				readings = append(readings, cycle.Power(at, float64(rapid.IntRange(0, 2500).Draw(t, "W"))))
			}
			want += MilliWh(math.Round(wh * 1000))
			at = end
		}
		var got MilliWh
		for d := begin; !DateOf(at, berlin).Before(d); d = d.Add(1) {
			of := dayOf(d.String(), facts, at.Add(time.Hour))
			of.Tariffs = tariffOf(window("a", queue.Clock(rapid.IntRange(0, 700).Draw(t, "from")), queue.Clock(rapid.IntRange(701, 1439).Draw(t, "to")), 5))
			of.Readings = func(_ coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
				for _, r := range readings {
					if !r.At.Before(from) && r.At.Before(to) {
						fn(coordinator.MachineReading{Reading: r})
					}
				}
				return nil
			}
			of.Power = map[coordinator.MachineID]cycle.Settings{"w1": cycle.DefaultSettings()}
			sums, err := Summarise(of)
			must(t, err)
			cycles, _ := sums.All[0].Energy()
			got += cycles
			for _, h := range sums.Homes {
				for _, u := range h.Used {
					homes += u.Cycles
				}
			}
		}
		if got != want || homes != want {
			t.Fatalf("the days' parts are %d mWh, the homes' %d, the cycles took %d", got, homes, want)
		}
	})
}
