package usage

import (
	"errors"
	"maps"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
	"drumturn/queue"
)

// hours9 are the hours of a machine that ran from 21:30 to 22:30 and that of its
// room, as text; see earlierRows.
const (
	machineHours = "kBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkByIDgEAkByIDgAAkBwAAAA"
	roomHours    = "kBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAAAAkBwAAACQHAAAAJAcAACIDpAciA4BiA6QHIgOAACQHAAAAA"
	oldFigures   = `"Days":1,"Cycles":1,"Starts":1,"Collected":1,"Running":3600000000000,"RunningOpen":3600000000000,"Open":86400000000000,"Blocked":1200000000000,"Waits":"mwMB","CycleWh":1000,"Used":[{"Tariff":1,"Window":0,"Cycles":500000},{"Tariff":1,"Window":1,"Cycles":500000}],"Unmetered":82800000000000`
	oldHomes     = `{"V":2,"Homes":{"h12":{"Cycles":1,"Used":[{"Tariff":1,"Window":0,"Cycles":500000},{"Tariff":1,"Window":1,"Cycles":500000}]}}}`
	oldOpen      = `"Opens":"2026-03-28T00:00:00+01:00","Closes":"2026-03-29T00:00:00+01:00"}`
)

// earlierRows are rows that a program stored which did not pack them yet: of Saturday
// 28 March 2026, when a turn waited an hour, a cycle of 1000 Wh ran from 21:30 to
// 22:30 with a night's tariff from 22:00, and its load was collected after 20 minutes.
func earlierRows() map[string]string {
	untilSaturday := strings.Repeat("A", 6*24*4*4/3)
	return map[string]string{
		"cellar//2026-03-28":         `{"V":2,"Room":"cellar","Date":"2026-03-28",` + oldFigures + `,"Hours":"` + roomHours + `",` + oldOpen,
		"cellar/w1/2026-03-28":       `{"V":2,"Room":"cellar","Machine":"w1","Date":"2026-03-28",` + oldFigures + `,"Hours":"` + machineHours + `",` + oldOpen,
		"~month/cellar//2026-03":     `{"V":2,"Room":"cellar","Month":{"Year":2026,"Month":3},"First":"2026-03-28","Last":"2026-03-28",` + oldFigures + `,"Week":"` + untilSaturday + roomHours + `"}`,
		"~month/cellar/w1/2026-03":   `{"V":2,"Room":"cellar","Machine":"w1","Month":{"Year":2026,"Month":3},"First":"2026-03-28","Last":"2026-03-28",` + oldFigures + `,"Week":"` + untilSaturday + machineHours + `"}`,
		"~home/cellar/2026-03-28":    oldHomes,
		"~home-month/cellar/2026-03": oldHomes,
	}
}

// oldBuilding is the building of these rows.
func oldBuilding() (*House, *Room) {
	tariffs := tariffOf(window("night", 22*60, 6*60, 240_000))
	h := &House{Zone: berlin, Tariffs: tariffs, Homes: map[coordinator.HomeID]string{"h12": "12"},
		Rooms: []HouseRoom{{ID: "cellar", PerHome: true, Machines: []HouseMachine{{ID: "w1", Name: "Washer"}}}}}
	return h, &Room{ID: "cellar", Machines: []coordinator.MachineID{"w1"}, Hours: queue.AlwaysOpen(), PerHome: true, Tariffs: tariffs}
}

// oldWash is what happened that day.
func oldWash() []coordinator.Fact {
	start := local("2026-03-28 21:30")
	return []coordinator.Fact{
		{At: start.Add(-time.Hour), Kind: coordinator.FactJoined, Turn: 1},
		{At: start, Kind: coordinator.FactCalled, Machine: "w1", Turn: 1, Wait: time.Hour},
		{At: start, Kind: coordinator.FactStarted, Machine: "w1", Cycle: 1, Load: 1, Home: "h12", Start: start},
		{At: start.Add(time.Hour), Kind: coordinator.FactCycle, Machine: "w1", Cycle: 1, Load: 1, Start: start, End: start.Add(time.Hour), EnergyWh: 1000, Note: "finished"},
		{At: start.Add(80 * time.Minute), Kind: coordinator.FactCollected, Machine: "w1", Load: 1, Wait: 20 * time.Minute},
	}
}

func putEarlier(t *testing.T, s RollupWriter) {
	t.Helper()
	for key, value := range earlierRows() {
		must(t, s.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: key, Value: []byte(value)}))
	}
}

// everyReport is what a building says of March, by each period and scope.
func everyReport(t *testing.T, s Rollups, h *House) (all []*Report) {
	t.Helper()
	for _, by := range []Period{ByDay, ByWeek, ByMonth, ByAll} {
		for _, scope := range []Scope{{}, {Room: "cellar"}, {Room: "cellar", Machine: "w1"}} {
			all = append(all, report(t, s, h, scope, "2026-03-01", "2026-03-31", by))
		}
	}
	return all
}

// TestRowsOfEarlierPrograms: what was stored as JSON is read, packed in the night
// without a change of what it says, and is then what this program makes of the
// same facts.
func TestRowsOfEarlierPrograms(t *testing.T) {
	f, err := store.Open(filepath.Join(t.TempDir(), "building.db"), store.Options{NoSync: true})
	must(t, err)
	defer func() { must(t, f.Close()) }()
	putEarlier(t, f)
	h, room := oldBuilding()
	before := everyReport(t, f, h)
	r := before[0]
	// By hand: half a kilowatt-hour at 0.30 and half at 0.24.
	if r.Whole.Cycles != 1 || r.Whole.Running != time.Hour || r.Currency.Text(r.Costs.Total) != "0.27" || !about(r.Whole.Waits.Median(), time.Hour) ||
		len(r.Homes) != 3 || r.Homes[0].Energy != 1_000_000 || r.Week[time.Saturday][21].Running != 30*time.Minute {
		t.Errorf("as stored: %+v", r)
	}
	k, err := NewKeeper(f, func() []Room { return []Room{*room} }, Options{Zone: berlin, Log: silent()})
	must(t, err)
	must(t, k.repack(ctx, "cellar", local("2026-04-01 04:15")))
	rows := stored(t, f)
	for key, value := range rows {
		if written(value) {
			t.Errorf("%s is not packed", key)
		}
	}
	if after := everyReport(t, f, h); !reflect.DeepEqual(after, before) {
		t.Error("once packed, the rows say something else")
	}

	fresh := newFake()
	fresh.add("cellar", oldWash()...)
	must(t, rollUp(ctx, fresh, room, date("2026-03-28"), berlin, markAt("2026-03-29 04:15")))
	if anew := everyReport(t, fresh, h); len(fresh.sums) != len(rows) || !reflect.DeepEqual(anew, before) {
		t.Errorf("made anew, %d rows say something else than the %d that were stored", len(fresh.sums), len(rows))
	}
}

// stored are all sums that a store has.
func stored(t *testing.T, r Rollups) map[string][]byte {
	t.Helper()
	all := map[string][]byte{}
	must(t, r.Rollups(ctx, "", "", func(key string, value []byte) bool {
		all[key] = slices.Clone(value)
		return true
	}))
	return all
}

// TestRepackInParts: more rows than go into one transaction are packed over
// several; a failure in between leaves all readable, and the next night goes on.
// Once done it is not looked for again.
func TestRepackInParts(t *testing.T) {
	s := newFake()
	row := earlierRows()["cellar/w1/2026-03-28"]
	const days = 2*repackAtOnce + 7
	first := date("2023-01-01")
	for i := range days {
		d := first.Add(i)
		s.sums[rollupKey("cellar", "w1", d)] = []byte(strings.ReplaceAll(row, "2026-03-28", d.String()))
	}
	s.sums["cellarette//2026-03-28"] = []byte(earlierRows()["cellar//2026-03-28"]) // another room
	s.fail = func(what string) error {
		if what == "rollup "+rollupKey("cellar", "w1", first.Add(repackAtOnce)) {
			return errors.New("no room")
		}
		return nil
	}
	left := func() (n int) {
		for _, value := range s.sums {
			if written(value) {
				n++
			}
		}
		return n
	}
	k := keeper(t, s, Options{})
	now := local("2026-04-01 04:15")
	if err := k.repack(ctx, "cellar", now); err == nil || !strings.Contains(err.Error(), "no room") {
		t.Fatalf("the failure is not told: %v", err)
	}
	if got := left(); got != days-repackAtOnce+1 {
		t.Errorf("%d rows are left after the failure", got)
	}
	if all := between(t, s, "cellar", "2023-01-01", "2026-12-31"); len(all) != days || all[0].Cycles != 1 || all[days-1].Cycles != 1 {
		t.Errorf("%d days are read", len(all))
	}
	s.fail = func(string) error { return nil }
	must(t, k.repack(ctx, "cellar", now))
	if got := left(); got != 1 {
		t.Errorf("%d rows are left", got)
	}
	s.sums["cellar/w1/2026-03-28"] = []byte(row)
	must(t, k.repack(ctx, "cellar", now))
	if got := left(); got != 2 {
		t.Error("it was looked for again")
	}
}

// TestRepackOfADamagedRow: it is told with its key, nothing is lost of the others,
// and the night's other work is done.
func TestRepackOfADamagedRow(t *testing.T) {
	s := newFake()
	putEarlier(t, s)
	s.sums["cellar/w1/2026-03-27"] = []byte(`{"V":2,"Waits":"!"}`)
	before := maps.Clone(s.sums)
	k := keeper(t, s, Options{})
	err := k.CatchUp(ctx, local("2026-04-01 04:15"))
	if err == nil || !strings.Contains(err.Error(), "packing the sums of room cellar") || !strings.Contains(err.Error(), "cellar/w1/2026-03-27") {
		t.Errorf("told of %v", err)
	}
	for key, value := range before {
		if !slices.Equal(s.sums[key], value) && key != "cellar//2026-03-28" && !strings.HasPrefix(key, monthsOf) {
			t.Errorf("%s has changed", key)
		}
	}
	s.done(t, "retain/cellar", "2026-03-31")
	s.done(t, "rollup/attic", "2026-03-31")
}
