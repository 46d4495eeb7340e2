package main

import (
	"net/http"
	"slices"
	"testing"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/queue"
)

// reserving is a building with one washer for all, and one for two homes.
const reserving = `
[building]
name = "Reserving"
time_zone = "UTC"
[server]
listen = "127.0.0.1:0"
public_url = "http://localhost:1"
data = "data"
[rooms.cellar]
name = "Cellar"
[[rooms.cellar.machines]]
number = 1
kind = "washer"
reserved_for = ["12", "14 left"]
[[rooms.cellar.machines]]
number = 2
kind = "washer"
`

// TestPlansNameHomes: what the file calls a home is turned into its id, and the
// file itself is left as it was.
func TestPlansNameHomes(t *testing.T) {
	file := &config.File{Rooms: []coordinator.Plan{
		{ID: "a", Machines: []coordinator.Machine{{Machine: queue.Machine{ID: "1", ReservedFor: []queue.HomeID{"12", "14 left"}}}, {Machine: queue.Machine{ID: "2"}}}},
		{ID: "b", Machines: []coordinator.Machine{{Machine: queue.Machine{ID: "3", ReservedFor: []queue.HomeID{"12"}}}}},
	}}
	file.Rooms[1].Seed.LongerHoldHomes = []queue.HomeID{"14 left"}
	got := plans(file)
	want := []queue.HomeID{coordinator.HomeIDFor("12"), coordinator.HomeIDFor("14 left")}
	if !slices.Equal(got[0].Machines[0].ReservedFor, want) || len(got[0].Machines[1].ReservedFor) != 0 || got[1].Machines[0].ReservedFor[0] != want[0] {
		t.Errorf("the plans are %+v", got)
	}
	if longer := got[1].Seed.LongerHoldHomes; len(longer) != 1 || longer[0] != want[1] || file.Rooms[1].Seed.LongerHoldHomes[0] != "14 left" {
		t.Errorf("machines are kept longer for %q, in the file for %q", longer, file.Rooms[1].Seed.LongerHoldHomes)
	}
	if file.Rooms[0].Machines[0].ReservedFor[0] != "12" || got[0].ID != "a" || got[1].ID != "b" {
		t.Errorf("the file became %+v", file.Rooms)
	}
	if want[0] == "12" || want[0] == want[1] {
		t.Errorf("the ids %q tell the names", want)
	}
}

// TestReservedMachine: residents are called to a reserved machine only when it
// is their home's, however they write the home's name.
func TestReservedMachine(t *testing.T) {
	w := wiring(t, reserving, nil).start()
	home := map[string]string{"anna": "7", "ben": "8", "cleo": "12", "dora": "14 left"}
	called := map[string]coordinator.MachineID{}
	for _, name := range []string{"anna", "ben", "cleo"} {
		v := w.visitor()
		v.join(home[name], name)
		if status, text := v.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
			t.Fatalf("%s: %d %s", name, status, text)
		}
	}
	for _, turn := range w.settle().Turns {
		for name := range home {
			if p := w.app.house.People().Persons[turn.Person]; p.Name == name {
				called[name] = turn.Machine
			}
		}
	}
	if called["anna"] != "2" || called["ben"] != "" || called["cleo"] != "1" {
		t.Errorf("called are %v; want anna to 2, cleo past ben to 1", called)
	}
	// When cleo's hold lapses the other home of the two is called, not ben.
	v := w.visitor()
	v.join(home["dora"], "dora")
	if status, text := v.post("/r/cellar/turns", "need", "wash"); status != http.StatusOK {
		t.Fatalf("dora: %d %s", status, text)
	}
	w.clock.Set(evening.Add(w.settle().Rules.Hold + time.Minute))
	for _, turn := range w.settle().Turns {
		name := w.app.house.People().Persons[turn.Person].Name
		if turn.Machine == "1" && name != "dora" {
			t.Errorf("%s is called to a machine of other homes", name)
		}
		if name == "dora" && turn.Machine != "1" {
			t.Errorf("dora is called to %q", turn.Machine)
		}
	}
}

// TestReservedForAsWritten: the name on the file and that a resident types are one home.
func TestReservedForAsWritten(t *testing.T) {
	w := wiring(t, reserving, nil).start()
	dora := w.visitor().join(" 14  Left ", "dora")
	reserved := plans(w.app.file)[0].Machines[0].ReservedFor
	if !slices.Contains(reserved, dora.Home) {
		t.Errorf("dora's home is %q, the machine is for %q", dora.Home, reserved)
	}
}
