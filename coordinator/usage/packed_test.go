package usage

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
)

// anyFigures are figures of any numbers that a sum can have.
func anyFigures(t *rapid.T) (f Figures) {
	count := func(name string) int { return rapid.IntRange(0, 1e6).Draw(t, name) }
	long := func(name string) time.Duration { return time.Duration(rapid.Int64Range(0, 1e17).Draw(t, name)) }
	f = Figures{
		Days: count("days"), Cycles: count("cycles"), StoppedEarly: count("stopped early"), Presumed: count("presumed"),
		Starts: count("starts"), Collected: count("collected"), Missed: count("missed"),
		Running: long("running"), RunningOpen: long("running, open"), Open: long("open"), Blocked: long("blocked"), Unmetered: long("unmetered"), Out: long("out"),
		CycleWh: milli(rapid.Float64Range(0, 1e9).Draw(t, "Wh")),
	}
	for range rapid.IntRange(0, 8).Draw(t, "waits") {
		f.Waits.Add(time.Duration(rapid.Int64Range(0, 1e15).Draw(t, "wait")))
	}
	for range rapid.IntRange(0, 4).Draw(t, "uses") {
		f.Used = addUsed(f.Used, Used{
			rapid.IntRange(0, 300).Draw(t, "tariff"), rapid.IntRange(0, 9).Draw(t, "window"),
			MilliWh(rapid.Int64Range(0, 1e14).Draw(t, "in cycles")), MilliWh(rapid.Int64Range(0, 1e14).Draw(t, "standby")),
		})
	}
	return f
}

func anyHours(t *rapid.T) (h Hours) {
	for range rapid.IntRange(0, 6).Draw(t, "hours") {
		seconds := func(name string) time.Duration {
			return time.Duration(rapid.Int64Range(0, 1e6).Draw(t, name)) * time.Second
		}
		h[rapid.IntRange(0, 23).Draw(t, "hour")] = Hour{seconds("observed"), seconds("running"), rapid.IntRange(0, 99).Draw(t, "starts"), seconds("waiting")}
	}
	return h
}

// names are what a room and a machine may be called: the machine anything, as
// facts name it.
func names(t *rapid.T) (coordinator.RoomID, coordinator.MachineID) {
	return coordinator.RoomID(rapid.StringMatching(`[a-z][a-z0-9-]{0,8}`).Draw(t, "room")), coordinator.MachineID(rapid.String().Draw(t, "machine"))
}

func anyDate(t *rapid.T) Date {
	return date("2024-01-01").Add(rapid.IntRange(0, 3000).Draw(t, "day"))
}

// TestDayComesBack: whatever a day's sum says, it is read as it was stored.
func TestDayComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		room, machine := names(t)
		s := Summary{V: edition, Room: room, Machine: machine, Date: anyDate(t), Figures: anyFigures(t), Hours: anyHours(t)}
		if rapid.Bool().Draw(t, "open") {
			s.Opens = time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "opens"), rapid.Int64Range(0, 999_999_999).Draw(t, "ns")).UTC()
			s.Closes = s.Opens.Add(time.Hour)
		}
		var back Summary
		must(t, back.decode(rollupKey(room, machine, s.Date), s.pack()))
		if !reflect.DeepEqual(back, s) {
			t.Fatalf("came back as\n     %+v\nwant %+v", back, s)
		}
	})
}

// TestMonthComesBack: the same for a month, with its week.
func TestMonthComesBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		room, machine := names(t)
		var week Week
		week[rapid.IntRange(0, 6).Draw(t, "weekday")] = anyHours(t)
		m := MonthSum{V: edition, Room: room, Machine: machine, Month: MonthOf(anyDate(t)), Figures: anyFigures(t), Week: week.pack(nil)}
		m.First, m.Last = m.Month.First(), m.Month.Last()
		var back MonthSum
		must(t, back.decode(monthKey(room, machine, m.Month), m.pack()))
		if !reflect.DeepEqual(back, m) {
			t.Fatalf("came back as\n     %+v\nwant %+v", back, m)
		}
		var again Week
		u := unpacking{raw: back.Week}
		again.take(&u)
		if u.end() != nil || again != week {
			t.Fatalf("the week came back as %+v", again)
		}
	})
}

// anyHomes are sums of any homes, those of nobody under "".
func anyHomes(t *rapid.T) map[coordinator.HomeID]*HomeSum {
	homes := map[coordinator.HomeID]*HomeSum{}
	for range rapid.IntRange(0, 5).Draw(t, "homes") {
		f := anyFigures(t)
		homes[coordinator.HomeID(rapid.SampledFrom([]string{"", "h1", "h2", "ñ/ü", strings.Repeat("x", 200)}).Draw(t, "home"))] = &HomeSum{f.Cycles, f.Used}
	}
	return homes
}

// TestHomesComeBack: sums by home come back, and those of two days read one after
// the other are those of the one added to those of the other.
func TestHomesComeBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := homeSums{V: edition, Homes: anyHomes(t)}, homeSums{V: edition, Homes: anyHomes(t)}
		stored := [][]byte{a.pack(), b.pack()}
		got, want := homeSums{Homes: map[coordinator.HomeID]*HomeSum{}}, homeSums{Homes: map[coordinator.HomeID]*HomeSum{}}
		must(t, got.addStored("first", stored[0]))
		if !reflect.DeepEqual(got.Homes, a.Homes) {
			t.Fatalf("came back as %+v, want %+v", got.Homes, a.Homes)
		}
		must(t, got.addStored("second", stored[1]))
		want.take(&a)
		want.take(&b)
		if !reflect.DeepEqual(got.Homes, want.Homes) {
			t.Fatalf("two days are %+v, want %+v", got.Homes, want.Homes)
		}
		if !bytes.Equal(stored[0], a.pack()) {
			t.Fatal("the same sums are stored in two ways")
		}
	})
}

// sample is a day, a month and homes, as they are stored.
func sample() map[string][]byte {
	f := Figures{Days: 1, Cycles: 3, Starts: 3, Running: 3 * time.Hour, Open: 24 * time.Hour, CycleWh: 812.5, Waits: SketchOf(time.Minute, time.Hour), Used: []Used{{1, 2, 700_000, 112_500}}}
	day := Summary{V: edition, Figures: f}
	day.Hours[9] = Hour{time.Hour, time.Hour, 1, time.Minute}
	month := MonthSum{V: edition, First: date("2026-11-02"), Last: date("2026-11-30"), Figures: f, Week: Week{}.mustPack()}
	homes := homeSums{V: edition, Homes: map[coordinator.HomeID]*HomeSum{"h12": {3, f.Used}}}
	return map[string][]byte{
		rollupKey("cellar", "w1", date("2026-11-25")): day.pack(), monthKey("cellar", "w1", Month{2026, 11}): month.pack(), homeDayKey("cellar", date("2026-11-25")): homes.pack(),
	}
}

func (w Week) mustPack() []byte { return w.pack(nil) }

// readStored reads any stored sum, as its key says.
func readStored(key string, value []byte) (err error) {
	switch {
	case strings.HasPrefix(key, monthsOf):
		var m MonthSum
		if err = m.decode(key, value); err == nil {
			var w Week
			u := unpacking{raw: m.Week}
			w.take(&u)
			err = u.end()
		}
	case strings.HasPrefix(key, homeDays):
		h := homeSums{Homes: map[coordinator.HomeID]*HomeSum{}}
		err = h.addStored(key, value)
	default:
		var s Summary
		err = s.decode(key, value)
	}
	return err
}

// TestCutSums: a sum of which the end is missing, or that goes on, is refused, and
// the refusal names it.
func TestCutSums(t *testing.T) {
	for key, value := range sample() {
		must(t, readStored(key, value))
		for n := range value {
			if err := readStored(key, value[:n]); err == nil {
				t.Errorf("%s: %d of %d octets were taken for all", key, n, len(value))
			} else if n < 20 && !strings.Contains(err.Error(), key) {
				t.Errorf("%s is not named in: %v", key, err)
			}
		}
		if err := readStored(key, append(slices.Clone(value), 0)); err == nil {
			t.Errorf("%s: an octet too many was taken", key)
		}
	}
}

// TestSumsOfLaterPrograms: an edition or a layout that is not known is refused with
// what to do; nothing is read of it.
func TestSumsOfLaterPrograms(t *testing.T) {
	for key, value := range sample() {
		later, other := slices.Clone(value), slices.Clone(value)
		later[1] = edition + 1
		other[0] = layout + 1
		for _, v := range [][]byte{later, other, []byte(`{"V":99}`)} {
			if err := readStored(key, v); err == nil || !strings.Contains(err.Error(), "use the newer program") || !strings.Contains(err.Error(), key) {
				t.Errorf("%s: %v", key, err)
			}
		}
		for _, v := range [][]byte{nil, {0, 2}, {layout, 0}, {layout}, []byte("{"), []byte(`{"V":"two"}`)} {
			if err := readStored(key, v); err == nil || !strings.Contains(err.Error(), "do not decode") {
				t.Errorf("%s: %q: %v", key, v, err)
			}
		}
	}
}

// TestDamagedNumbers: numbers that no sum can have are refused, however much is
// claimed to follow.
func TestDamagedNumbers(t *testing.T) {
	for name, raw := range map[string][]byte{
		"more bins than octets":   binary.AppendUvarint(nil, 1<<40),
		"a bin twice":             {2, 5, 1, 0, 1},
		"a bin without waits":     {1, 5, 0},
		"a bin beyond all":        append([]byte{1}, binary.AppendUvarint(nil, 1<<20)...),
		"bins that go round":      append(append([]byte{2, 5, 1}, binary.AppendUvarint(nil, math.MaxUint64-2)...), 1),
		"a number without an end": {0x80},
	} {
		u := unpacking{raw: raw}
		var s Sketch
		s.take(&u, u.count())
		if u.end() == nil {
			t.Errorf("%s: read as %+v", name, s)
		}
	}
	for _, f := range []float64{math.NaN(), math.Inf(1)} {
		u := unpacking{raw: binary.BigEndian.AppendUint64(nil, math.Float64bits(f))}
		if got := u.float(); u.end() == nil || got != 0 {
			t.Errorf("%v Wh were read as %v", f, got)
		}
	}
	u := unpacking{raw: packTime(nil, time.Unix(1, 0))}
	u.raw[1] = 0xff
	u.raw = append(u.raw, 0xff, 0xff, 0xff, 0x7f) // nanoseconds of more than a second
	if got := u.time(); u.end() == nil || !got.IsZero() {
		t.Errorf("read as %v", got)
	}
}

// FuzzStoredSums: nothing that may be in a store makes a reader panic or take
// memory without end, and what is read is written and read as the same.
func FuzzStoredSums(f *testing.F) {
	for key, value := range sample() {
		f.Add(key, value)
	}
	for key, value := range earlierRows() {
		f.Add(key, []byte(value))
	}
	f.Fuzz(func(t *testing.T, key string, value []byte) {
		if readStored(key, value) != nil {
			return
		}
		packed, err := repacked(key, value)
		if err != nil {
			t.Fatalf("%q: read, but not packed: %v", key, err)
		}
		if strings.HasPrefix(key, homeMonths) || written(value) {
			return
		}
		again, err := repacked(key, packed)
		if err != nil || !bytes.Equal(again, packed) {
			t.Errorf("%q: %x was packed as %x, then as %x: %v", key, value, packed, again, err)
		}
	})
}

// ExampleSketch_Merge: the waits of two days are those of both, in any order.
func ExampleSketch_Merge() {
	a, b := SketchOf(time.Minute, 3*time.Minute), SketchOf(2*time.Minute)
	a.Merge(&b)
	fmt.Println(a.Count(), a.Median().Round(10*time.Second))
	// Output: 3 2m0s
}
