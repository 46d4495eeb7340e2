package coordinator

import (
	"math/big"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

func drawTariff(t *rapid.T) Tariff {
	micros := rapid.Int64Range(0, 999_999_999_999_999)
	tariff := Tariff{Currency: "EUR", MicrosPerKWh: micros.Draw(t, "price"), StandingMicros: micros.Draw(t, "standing")}
	tariff.StandingPer = rapid.SampledFrom([]PerPeriod{PerMonth, PerDay, PerYear}).Draw(t, "per")
	tariff.Rounding = rapid.SampledFrom([]Rounding{HalfUp, HalfEven}).Draw(t, "rounding")
	if rapid.Bool().Draw(t, "dated") {
		tariff.From = Date{2026, time.Month(rapid.IntRange(1, 12).Draw(t, "month")), rapid.IntRange(1, 28).Draw(t, "day")}
	}
	for i := range rapid.IntRange(0, 3).Draw(t, "windows") {
		w := TariffWindow{Name: string(rune('a' + i)), MicrosPerKWh: micros.Draw(t, "price"), From: queue.NoClock, To: queue.NoClock}
		if rapid.Bool().Draw(t, "timed") {
			w.From, w.To = 22*60, queue.Clock(rapid.IntRange(0, 600).Draw(t, "to"))
		}
		if rapid.Bool().Draw(t, "season") {
			w.SeasonFrom, w.SeasonTo = YearDay{10, 1}, YearDay{2, 29}
		}
		for d := time.Monday; d <= time.Saturday; d++ {
			if rapid.Bool().Draw(t, "day") {
				w.Days = append(w.Days, d)
			}
		}
		tariff.Windows = append(tariff.Windows, w)
	}
	if rapid.Bool().Draw(t, "cycles") {
		tariff.CyclePrices = []CyclePrice{{"cellar", "w/1", micros.Draw(t, "cycle")}}
	}
	return tariff
}

// TestTariffSettingsComeBack: written as texts and read back it is the same.
func TestTariffSettingsComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		tariff := drawTariff(rt)
		settings := append(tariff.Settings(), EmptyWindow(len(tariff.Windows)+1)...)
		back, problems := TariffOf(settings)
		if len(problems) > 0 || !reflect.DeepEqual(tariff, back) {
			rt.Fatalf("%+v came back as %+v, %+v", tariff, back, problems)
		}
		if !reflect.DeepEqual(tariff.Settings(), back.Settings()) {
			rt.Fatal("the same tariffs differ as texts")
		}
	})
}

// TestMicrosAreExact, against math/big.
func TestMicrosAreExact(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		micros := rapid.Int64Range(0, 999_999_999_999_999).Draw(rt, "micros")
		text := MicrosText(micros)
		back, err := ParseMicros(text)
		exact, ok := new(big.Rat).SetString(text)
		if err != nil || back != micros || !ok || exact.Mul(exact, big.NewRat(1_000_000, 1)).Cmp(new(big.Rat).SetInt64(micros)) != 0 {
			rt.Fatalf("%d is %q is %d, %v", micros, text, back, err)
		}
	})
	for micros, want := range map[int64]string{0: "0.00", 1: "0.000001", 1_000_000: "1.00", 12_000_000: "12.00", 999_999: "0.999999", 120_000: "0.12", 125_000: "0.125", 1_200_000_000_000: "1200000.00"} {
		if got := MicrosText(micros); got != want {
			t.Errorf("%d is %q, want %q", micros, got, want)
		}
	}
	for text, want := range map[string]int64{"0.32": 320_000, "0,3275": 327_500, " 12 ": 12_000_000, "0.000001": 1} {
		if got, err := ParseMicros(text); err != nil || got != want {
			t.Errorf("%q is %d, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "-1", "1.2.3", "0.1234567", "1e3", ".5", "5.", "0,3 EUR"} {
		if got, err := ParseMicros(text); err == nil {
			t.Errorf("%q is %d", text, got)
		}
	}
}

func TestTariffOfReports(t *testing.T) {
	for path, value := range map[string]string{
		"valid_from": "tomorrow", "price_per_kwh": "", "standing_charge": "x", "standing_per": "week", "rounding": "up", "soap": "1",
		"windows[1].price_per_kwh": "-1", "windows[1].from": "24:00", "windows[1].season_to": "02-30", "windows[1].soap": "1",
		"cycle[cellar/1]": "free", "cycle[cellar]": "1",
	} {
		_, problems := TariffOf([]Setting{{Path: path, Value: value}})
		if len(problems) != 1 || problems[0].Path != path || problems[0].Wrong == "" || problems[0].Right == "" {
			t.Errorf("%s = %q: %+v", path, value, problems)
		}
	}
}

// TestWindowsLeftOut: an empty row of a form is no window, and one on all days
// is one on every day.
func TestWindowsLeftOut(t *testing.T) {
	settings := EmptyWindow(1)
	second := EmptyWindow(2)
	for i := range second {
		switch {
		case strings.HasSuffix(second[i].Path, ".name"):
			second[i].Value = "night"
		case strings.HasSuffix(second[i].Path, "day"):
			second[i].Value = "true"
		case second[i].Kind == PriceSetting:
			second[i].Value = "0,20"
		}
	}
	got, problems := TariffOf(slices.Concat(settings, second))
	want := []TariffWindow{{Name: "night", MicrosPerKWh: 200_000, From: queue.NoClock, To: queue.NoClock}}
	if len(problems) > 0 || !reflect.DeepEqual(got.Windows, want) {
		t.Errorf("windows %+v, %+v", got.Windows, problems)
	}
}

func FuzzTariffOf(f *testing.F) {
	f.Add("windows[3].season_from", "12-24")
	f.Add("cycle[a/b]", "1,5")
	f.Fuzz(func(t *testing.T, path, value string) {
		tariff, problems := TariffOf([]Setting{{Path: path, Value: value}})
		if len(problems) > 0 {
			return
		}
		if back, problems := TariffOf(tariff.Settings()); len(problems) > 0 || !reflect.DeepEqual(tariff.Settings(), back.Settings()) {
			t.Errorf("%s = %q does not come back: %+v", path, value, problems)
		}
	})
}
