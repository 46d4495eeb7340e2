package ui

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/push/words"
	"drumturn/queue"
)

// tariffDesk is the manager before the prices.
type tariffDesk struct {
	h *fakeHouse
	s *Server
}

func newTariffDesk(t *testing.T, tariffs ...coordinator.Tariff) *tariffDesk {
	h := newFakeHouse(fullRoom())
	h.enrol(coordinator.Person{ID: "boss", Manager: true})
	for i, one := range tariffs {
		h.people.Tariffs = append(h.people.Tariffs, coordinator.TariffVersion{Version: i + 1, Set: h.now, Tariff: one})
	}
	return &tariffDesk{h, newTestServer(t, h, nil)}
}

func (d *tariffDesk) send(over ...string) *httptest.ResponseRecorder {
	v := url.Values{}
	for _, one := range d.s.tariffSettings(d.s.newestTariff()) {
		switch {
		case one.Kind != coordinator.TruthSetting:
			v.Set(one.Path, one.Value)
		case one.Value == "true":
			v.Set(one.Path, "yes")
		}
	}
	for i := 0; i < len(over); i += 2 {
		v.Set(over[i], over[i+1])
	}
	return ask{method: http.MethodPost, path: "/manager/tariff", form: v}.as("", "secret-of-boss").of(d.s)
}

// dayAndNight is a tariff with a window.
func dayAndNight() coordinator.Tariff {
	return coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 320_000, Windows: []coordinator.TariffWindow{{Name: "night", MicrosPerKWh: 240_000, From: 22 * 60, To: 6 * 60}}}
}

func TestTariffIsLookedAtFirst(t *testing.T) {
	d := newTariffDesk(t, dayAndNight())
	body := d.send("do", "look", "price_per_kwh", "0,35", "windows[1].sunday", "", "windows[2].name", "winter", "windows[2].price_per_kwh", "0.4",
		"windows[2].season_from", "11-01", "windows[2].season_to", "02-28", "windows[2].monday", "yes", "cycle[cellar/w1]", "1.5").Body.String()
	for _, want := range []string{"Price of a kilowatt-hour: 0.32, then <strong>0.35</strong>", "Time 1: Sunday: yes, then <strong>no</strong>", "Time 2: Name: none, then <strong>winter</strong>", "Washer 1: none, then <strong>1.50</strong>", `value="keep"`} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if got := d.h.People().Tariffs; len(got) != 1 {
		t.Errorf("looking set %+v", got)
	}
	if !strings.Contains(d.send("do", "look").Body.String(), "Nothing: these prices were set last.") {
		t.Error("the form as it is shown changes something")
	}
}

func TestTariffIsSet(t *testing.T) {
	d := newTariffDesk(t)
	if w := d.send("do", "keep", "currency", "chf", "price_per_kwh", "0.3275", "valid_from", "2026-07-01", "standing_charge", "12", "standing_per", "year"); w.Code != http.StatusSeeOther {
		t.Fatalf("%d %s", w.Code, w.Body)
	}
	want := coordinator.Tariff{Currency: "CHF", MicrosPerKWh: 327_500, From: coordinator.Date{Year: 2026, Month: time.July, Day: 1}, StandingMicros: 12_000_000, StandingPer: coordinator.PerYear}
	set := d.s.newestTariff()
	if set.Currency != want.Currency || set.MicrosPerKWh != want.MicrosPerKWh || set.From != want.From || set.StandingMicros != want.StandingMicros || set.StandingPer != want.StandingPer {
		t.Errorf("set %+v", set)
	}
}

func TestWrongTariff(t *testing.T) {
	for _, c := range []struct{ field, value, want string }{
		{"price_per_kwh", "cheap", "is no price"},
		{"currency", "euro", "is no currency code"},
		{"windows[1].to", "", "a beginning but no end"},
		{"windows[1].from", "26:00", "no time of day"},
		{"windows[2].price_per_kwh", "0.1", "has no name"},
		{"cycle[cellar/w1]", "free", "is no price"},
		{"valid_from", "next year", "2026-01-31"},
	} {
		d := newTariffDesk(t, dayAndNight())
		w := d.send("do", "keep", c.field, c.value)
		if body := w.Body.String(); w.Code != http.StatusUnprocessableEntity || !strings.Contains(body, c.want) || !strings.Contains(body, `aria-invalid="true"`) || len(d.h.People().Tariffs) != 1 {
			t.Errorf("%s = %q: %d, %+v", c.field, c.value, w.Code, d.h.People().Tariffs)
		}
	}
}

// TestTariffVersions: all that were set stay to be seen; others than the manager see nothing.
func TestTariffVersions(t *testing.T) {
	old, now := dayAndNight(), dayAndNight()
	now.MicrosPerKWh, now.From = 350_000, coordinator.Date{Year: 2026, Month: time.January, Day: 1}
	now.Windows = append(now.Windows, coordinator.TariffWindow{Name: "weekend", MicrosPerKWh: 300_000, From: queue.NoClock, To: queue.NoClock, Days: []time.Weekday{time.Saturday, time.Sunday}})
	d := newTariffDesk(t, old, now)
	body := get("/manager/tariff").as("", "secret-of-boss").of(d.s).Body.String()
	for _, want := range []string{"All prices so far", "and holds from Thursday 1 January 2026", "0.32, then <strong>0.35</strong>", "Time 2: Name: none, then <strong>weekend</strong>"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if w := get("/manager/tariff").of(d.s); w.Code != http.StatusForbidden {
		t.Errorf("a stranger gets %d", w.Code)
	}
}

// TestTariffHasWords: every part of a tariff has a name.
func TestTariffHasWords(t *testing.T) {
	d := newTariffDesk(t, dayAndNight())
	for _, one := range d.s.formTariff() {
		if label := tariffLabel(words.English(), one.Path, d.s); strings.Contains(label, "tariff-") {
			t.Errorf("%s is called %q", one.Path, label)
		}
		for _, choice := range one.Choices {
			if !words.English().Has("rule-choice." + choice) {
				t.Errorf("the choice %q has no words", choice)
			}
		}
	}
}

// TestTariffOfManyMachines: prices of 500 machines, each with the longest that an
// id may be, are taken; what is longer than such a form can be is not read.
func TestTariffOfManyMachines(t *testing.T) {
	d := newTariffDesk(t, dayAndNight())
	room := fullRoom()
	one := room.Machines[0]
	room.Machines = nil
	pairs := []string{"do", "keep"}
	for i := range 500 {
		one.ID = coordinator.MachineID(fmt.Sprintf("%s-%03d", strings.Repeat("m", 36), i))
		room.Machines = append(room.Machines, one)
		pairs = append(pairs, coordinator.CyclePath(room.Room, one.ID), fmt.Sprintf("123456789.%06d", 1+i))
	}
	d.h.change(room.Room, func(s *coordinator.Snapshot) { *s = *room })
	for n := 2; n <= mostWindows; n++ {
		path := fmt.Sprintf("windows[%d].", n)
		pairs = append(pairs, path+"name", fmt.Sprintf("%s %d", strings.Repeat("w", 40), n), path+"price_per_kwh", "0.4", path+"from", fmt.Sprintf("%02d:00", n+8), path+"to", fmt.Sprintf("%02d:30", n+8))
	}
	if w := d.send(pairs...); w.Code != http.StatusSeeOther {
		t.Fatalf("%d: %.2000s", w.Code, w.Body)
	}
	set := d.s.newestTariff()
	if len(set.CyclePrices) != 500 || len(set.Windows) != mostWindows {
		t.Errorf("%d prices, %d windows", len(set.CyclePrices), len(set.Windows))
	}
	for i := range 500 {
		if micros, _ := set.CyclePrice(room.Room, room.Machines[i].ID); micros != 123_456_789_000_001+int64(i) {
			t.Fatalf("machine %d costs %d", i, micros)
		}
	}
	if w := d.send("price_per_kwh", strings.Repeat("9", int(longestTariff(d.s.formTariff())))); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("far too long: %d", w.Code)
	}
	few := newTariffDesk(t)
	if w := few.send("price_per_kwh", strings.Repeat("9", 40<<10)); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("too long for few machines: %d", w.Code)
	}
}
