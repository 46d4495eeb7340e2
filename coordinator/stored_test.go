package coordinator

import (
	"encoding/json"
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// filler fills every exported field of what is stored with drawn values, so
// that a field that was forgotten in the stored form is noticed.
type filler struct {
	rt *rapid.T
	// zero lets fields stay empty at random: what is left out must read back empty.
	zero bool
}

// words are the types that are stored as one of a few words, with their values.
var words = map[reflect.Type]int{
	reflect.TypeFor[queue.Need](): 3, reflect.TypeFor[queue.Kind](): 3, reflect.TypeFor[queue.State](): 5, reflect.TypeFor[Audience](): 3,
	reflect.TypeFor[Manner]():    int(Reported), // the first, allowed, is zero
	reflect.TypeFor[PerPeriod](): int(PerYear), reflect.TypeFor[Rounding](): int(HalfEven),
}

func (f filler) fill(v reflect.Value) {
	if n, ok := words[v.Type()]; ok { // a word that is not there is an error, not zero
		v.SetUint(uint64(rapid.IntRange(1, n).Draw(f.rt, "word")))
		return
	}
	if f.zero && v.Kind() != reflect.Struct && rapid.Bool().Draw(f.rt, "empty") {
		return
	}
	if v.Type() == reflect.TypeFor[time.Time]() {
		at := noon.Add(time.Duration(rapid.Int64Range(0, 1<<56).Draw(f.rt, "at")))
		v.Set(reflect.ValueOf(at))
		return
	}
	if v.Type() == reflect.TypeFor[FactID]() { // either both of its fields, or none
		v.Set(reflect.ValueOf(FactID{noon.Add(time.Duration(rapid.Int64Range(0, 1<<56).Draw(f.rt, "at"))), rapid.Uint64().Draw(f.rt, "n")}))
		return
	}
	if v.Type() == reflect.TypeFor[Date]() {
		v.Set(reflect.ValueOf(DateOf(noon, time.UTC).Add(rapid.IntRange(0, 9999).Draw(f.rt, "date"))))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			f.fill(v.Field(i))
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		f.fill(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), rapid.IntRange(1, 3).Draw(f.rt, "length"), 3))
		fallthrough
	case reflect.Array:
		for i := range v.Len() {
			f.fill(v.Index(i))
		}
	case reflect.Map:
		key, value := reflect.New(v.Type().Key()).Elem(), reflect.New(v.Type().Elem()).Elem()
		f.fill(key)
		f.fill(value)
		v.Set(reflect.MakeMap(v.Type()))
		v.SetMapIndex(key, value)
	case reflect.String:
		v.SetString(rapid.StringMatching(`[a-z<&"'äש]{1,6}`).Draw(f.rt, "text"))
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(rapid.Int64Range(1, 1<<40).Draw(f.rt, "number"))
	case reflect.Uint8:
		v.SetUint(uint64(rapid.IntRange(1, 5).Draw(f.rt, "small")))
	case reflect.Uint64:
		v.SetUint(rapid.Uint64Min(1).Draw(f.rt, "id"))
	case reflect.Float64:
		v.SetFloat(rapid.Float64Range(0.001, 4000).Draw(f.rt, "figure"))
	default:
		f.rt.Fatalf("nothing fills a %s", v.Type())
	}
}

// TestStoredFormsReadBack: what is stored as JSON reads back as the same value,
// full or with any of its fields empty.
func TestStoredFormsReadBack(t *testing.T) {
	for _, kind := range []reflect.Type{
		reflect.TypeFor[Notice](), reflect.TypeFor[Delivery](), reflect.TypeFor[Fact](), reflect.TypeFor[Rules](),
		reflect.TypeFor[Load](), reflect.TypeFor[Hold](), reflect.TypeFor[Fault](), reflect.TypeFor[queue.Turn](),
		reflect.TypeFor[machineState](), reflect.TypeFor[supplyState](), reflect.TypeFor[learned](), reflect.TypeFor[roomState](),
		reflect.TypeFor[Person](), reflect.TypeFor[Home](), reflect.TypeFor[Session](), reflect.TypeFor[Invitation](),
		reflect.TypeFor[Subscription](), reflect.TypeFor[TariffVersion](), reflect.TypeFor[managerRow](),
		reflect.TypeFor[MachineCode](), reflect.TypeFor[Pass](), reflect.TypeFor[WayIn](), reflect.TypeFor[ManagerInvite](), reflect.TypeFor[GuestInvitation](),
		reflect.TypeFor[Departure](), reflect.TypeFor[Token](), reflect.TypeFor[Webhook](), reflect.TypeFor[HookState](), reflect.TypeFor[StoredFact](),
	} {
		t.Run(kind.Name(), func(t *testing.T) {
			rapid.Check(t, func(rt *rapid.T) {
				in, out := reflect.New(kind), reflect.New(kind)
				filler{rt: rt, zero: rapid.Bool().Draw(rt, "sparse")}.fill(in.Elem())
				data, err := json.Marshal(in.Interface())
				if err != nil {
					rt.Fatal(err)
				}
				if err := json.Unmarshal(data, out.Interface()); err != nil {
					rt.Fatalf("%s does not read back: %v", data, err)
				}
				if !reflect.DeepEqual(in.Interface(), out.Interface()) {
					rt.Fatalf("stored as %s\n   was %+v\nbecame %+v", data, in.Elem(), out.Elem())
				}
			})
		})
	}
}

// TestStoredNames: the stored form is read for years. Whoever renames a field
// must see here that old records lose it.
func TestStoredNames(t *testing.T) {
	for _, c := range []struct {
		v    any
		want string
	}{
		{Hold{Turn: 3, Since: noon, Until: noon.Add(time.Minute), LoadInside: true, Restarted: true},
			`{"Turn":3,"Since":"2026-06-10T12:00:00Z","Until":"2026-06-10T12:01:00Z","LoadInside":true,"Restarted":true}`},
		{Load{ID: 7, Machine: "w1", Cycle: 4, Owner: "anna", Home: "12", Turn: 3, StartedAt: noon, Reason: EndDone, Round: 1, Steps: 1, Taken: 1},
			`{"ID":7,"Machine":"w1","Cycle":4,"Owner":"anna","Home":"12","Turn":3,"StartedAt":"2026-06-10T12:00:00Z","Reason":"done","Round":1,"Steps":1,"Taken":1}`},
		{LadderStep{After: time.Minute, Tell: TellNext}, `{"After":60000000000,"Tell":"next"}`},
		{Fact{At: noon, Kind: FactCycle, Machine: "w1", Cycle: 2, EnergyWh: 500, PeakW: 2000, Note: "finished"},
			`{"At":"2026-06-10T12:00:00Z","Kind":"cycle","Machine":"w1","Cycle":2,"EnergyWh":500,"PeakW":2000,"Note":"finished"}`},
		{Notice{Subject: Subject{Room: "cellar", Turn: 3}, Kind: TurnCalled, Step: 1, To: "anna", Made: noon, UsefulUntil: noon, Machine: 1, MachineKind: queue.Washer},
			`{"Subject":{"Room":"cellar","Turn":3},"Kind":"turn-called","Step":1,"To":"anna","Made":"2026-06-10T12:00:00Z","UsefulUntil":"2026-06-10T12:00:00Z","Machine":1,"MachineKind":"washer"}`},
	} {
		got, err := json.Marshal(c.v)
		if err != nil || string(got) != c.want {
			t.Errorf("%T is stored as\n%s, want\n%s (%v)", c.v, got, c.want, err)
		}
	}
}

// TestAudienceWords: the ladder's audiences by their words, and the error for any other.
func TestAudienceWords(t *testing.T) {
	for a, word := range map[Audience]string{TellOwner: "owner", TellNext: "next", TellManager: "manager"} {
		var back Audience
		if err := back.UnmarshalText([]byte(word)); err != nil || back != a || a.String() != word {
			t.Errorf("%d is %q and reads back as %d (%v)", a, a, back, err)
		}
	}
	kept := TellNext
	err := kept.UnmarshalText([]byte("everybody"))
	if err == nil || !strings.Contains(err.Error(), `"everybody"`) || !strings.Contains(err.Error(), "owner, next or manager") || kept != TellNext {
		t.Errorf("everybody: %v, and the audience is %s", err, kept)
	}
}

// TestRestoreErrors: a state that does not read gives an error that names the
// room; what is not about the room's state does not matter.
func TestRestoreErrors(t *testing.T) {
	state := func(text string) Stored {
		return Stored{Seq: 9, Rows: []Row{{Table: "room", Key: "state", Value: []byte(text)}}}
	}
	for name, text := range map[string]string{
		"no state of a turn": `{"Turns":[{"ID":1,"State":"lost"}]}`,
		"no need":            `{"Turns":[{"ID":1,"Need":"iron"}]}`,
		"no audience":        `{"Rules":{"Ladder":[{"After":1,"Tell":"all"}]}}`,
		"no time":            `{"Now":"yesterday"}`,
		"negative load":      `{"LastLoad":-1}`,
		"a list":             `[]`,
		"nothing":            ``,
	} {
		room, err := Restore(testPlan(), state(text), newPlain)
		if err == nil || room != nil || !strings.Contains(err.Error(), `"cellar"`) {
			t.Errorf("%s: a room %v and the error %v; want an error that names the room", name, room != nil, err)
		}
	}
	for name, stored := range map[string]Stored{
		"never stored":       {},
		"of another table":   {Seq: 1, Rows: []Row{{Table: "person", Key: "state", Value: []byte("?")}}},
		"of another key":     {Seq: 1, Rows: []Row{{Table: "room", Key: "plan", Value: []byte("?")}}},
		"of another machine": {Seq: 1, Checkpoints: []MachineCheckpoint{{Machine: "w9", Checkpoint: cycle.Checkpoint{Version: 1, Data: []byte("?")}}}},
		"a field more":       state(`{"Novelty":true}`),
		"of a later engine":  {Seq: 1, Checkpoints: []MachineCheckpoint{{Machine: "w1", Checkpoint: cycle.Checkpoint{Version: 2, Data: []byte("?")}}}},
	} {
		room, err := Restore(testPlan(), stored, newPlain)
		if err != nil || room.Seq() != stored.Seq {
			t.Errorf("%s: %v, want a room at sequence %d", name, err, stored.Seq)
		}
	}
	_, err := Restore(testPlan(), Stored{Checkpoints: []MachineCheckpoint{{Machine: "d3", Checkpoint: cycle.Checkpoint{Version: 1, Data: []byte("?")}}}}, newPlain)
	if err == nil || !strings.Contains(err.Error(), `"d3"`) || !strings.Contains(err.Error(), `"cellar"`) {
		t.Errorf("a damaged checkpoint: %v, want an error that names the machine and the room", err)
	}
}

// FuzzRestore: no stored state makes the room fall over.
func FuzzRestore(f *testing.F) {
	f.Add([]byte(`{"Turns":[{"ID":1,"State":"called","Machine":"w1","Need":"wash"}],"Machines":[{"ID":"w1","Hold":{"Turn":1}}]}`))
	f.Add([]byte(`{"Loads":[{"ID":1,"Machine":"w1"}],"Machines":[{"ID":"w1","Load":1,"Running":true}]}`))
	f.Add([]byte(`{"Supply":{"Since":"2026-06-10T12:00:00Z"},"Machines":[{"ID":"w2","Deferred":{"Kind":2}}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		room, err := Restore(testPlan(), Stored{Rows: []Row{{Table: "room", Key: "state", Value: data}}}, newPlain)
		if err != nil {
			return
		}
		room.state.Rules = testPlan().Seed
		if _, _, err := room.Step(noon, Reopened{Since: noon}); err != nil {
			t.Fatal(err)
		}
		foreseen(room, noon)
		for range 3 {
			if due := room.Deadline(); !due.IsZero() {
				if _, _, err := room.Step(due, Tick{}); err != nil {
					t.Fatal(err)
				}
			}
		}
	})
}
