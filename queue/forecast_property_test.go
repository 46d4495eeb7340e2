package queue

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// drawPeople is an outlook on a house of some behaviour.
func drawPeople(t *rapid.T) *Outlook {
	cycle := drawSpread(t, "cycle")
	return &Outlook{
		Cycle: func(Need) Spread { return cycle }, WalkDown: drawSpread(t, "walk"), Collect: drawSpread(t, "collect"),
		Missed:      rapid.Float64Range(0, 1).Draw(t, "missed"),
		CallAfter:   time.Duration(rapid.IntRange(0, 120).Draw(t, "call after")) * minute,
		Hold:        func(HomeID) time.Duration { return 10 * minute },
		RecallAfter: time.Duration(rapid.IntRange(0, 60).Draw(t, "recall")) * minute,
		Seed:        rapid.Uint64().Draw(t, "seed"),
	}
}

// drawWashers are washers, some of which run or hold a load.
func drawWashers(t *rapid.T, least int) []Supply {
	var list []Supply
	for i := range rapid.IntRange(least, 6).Draw(t, "washers") {
		s := Supply{Machine: Machine{ID: MachineID(fmt.Sprint("m", i)), Number: i + 1, Kind: Washer}, Usable: true}
		switch rapid.IntRange(0, 2).Draw(t, "doing") {
		case 1:
			s.Running, s.Ends, s.Load = true, drawSpread(t, "ends"), uint64(i+1)
		case 2:
			s.Load, s.Waited = uint64(i+1), time.Duration(rapid.IntRange(0, 60).Draw(t, "waited"))*minute
			s.CallIn = time.Duration(rapid.IntRange(0, 60).Draw(t, "call in")) * minute
		}
		list = append(list, s)
	}
	return list
}

func notBefore(a, b Span) bool { return a.Low >= b.Low && a.Median >= b.Median && a.High >= b.High }

// TestForecastKeepsTheLine: a turn behind another of the same need and wishes is
// not called before it, in any percentile, and a newcomer not before the last.
func TestForecastKeepsTheLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		supplies, o := drawWashers(t, 1), drawPeople(t)
		line := waiting(rapid.StringMatching(`w{1,12}`).Draw(t, "line"))
		p := Forecast(line, supplies, nil, o, noon)
		all := append(slices.Clone(p.Turns), p.Join[Wash])
		for i, g := range all {
			if i > 0 && g.OK && (!all[i-1].OK || !notBefore(g.In, all[i-1].In)) {
				t.Fatalf("turn %d in %v, the next in %v", i, all[i-1], g)
			}
			if g.OK && (g.In.Low < 0 || g.In.Median < g.In.Low || g.In.High < g.In.Median || g.In.High > farthest) {
				t.Fatalf("turn %d in %v", i+1, g.In)
			}
		}
	})
}

// TestForecastGainsByMachines: a machine more makes nobody wait longer, in any
// percentile, where all want the same and come when called. (With other wishes in
// between it may: one who is served sooner can be in the way of another later.)
func TestForecastGainsByMachines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		supplies, o := drawWashers(t, 2), drawPeople(t)
		o.Missed = 0
		line := waiting(rapid.StringMatching(`w{1,12}`).Draw(t, "line"))
		more := Forecast(line, supplies, nil, o, noon)
		fewer := Forecast(line, supplies[:len(supplies)-1], nil, o, noon)
		for i := range line {
			if fewer.Turns[i].OK && (!more.Turns[i].OK || !notBefore(fewer.Turns[i].In, more.Turns[i].In)) {
				t.Fatalf("turn %d in %v, with a machine less in %v", i+1, more.Turns[i], fewer.Turns[i])
			}
		}
		if fewer.Join[Wash].OK && !notBefore(fewer.Join[Wash].In, more.Join[Wash].In) {
			t.Fatalf("a newcomer in %v, with a machine less in %v", more.Join[Wash], fewer.Join[Wash])
		}
	})
}

// TestForecastRespectsTheHours: nobody is said to be called when no start is allowed.
func TestForecastRespectsTheHours(t *testing.T) {
	zone := zoneOf(t, "Europe/Berlin")
	rapid.Check(t, func(t *rapid.T) {
		house := plainHouse()
		house.Hours, house.Zone = drawHours(t), zone
		length := time.Duration(rapid.IntRange(0, 180).Draw(t, "length")) * minute
		house.Length = func(Need) time.Duration { return length }
		now := noon.Add(time.Duration(rapid.IntRange(0, 200*24*60).Draw(t, "now")) * minute)
		p := Forecast(waiting("wwww"), drawWashers(t, 1), house, drawPeople(t), now)
		for i, g := range append(p.Turns, p.Join[Wash]) {
			for _, in := range [...]time.Duration{g.In.Low, g.In.Median, g.In.High} {
				// Instants are cut to the millisecond, farthest stands for what is farther.
				ok := house.Hours.MayStart(now.Add(in), length, zone) || house.Hours.MayStart(now.Add(in+time.Millisecond), length, zone)
				if g.OK && in < farthest && !ok {
					t.Fatalf("turn %d is called at %s", i+1, now.Add(in).In(zone))
				}
			}
		}
	})
}

// TestForecastIsRepeatable: the same seed gives the same forecast, another seed
// another one, but nearly: medians within a tenth of the way to the percentiles'
// distance, plus what a single round makes.
func TestForecastIsRepeatable(t *testing.T) {
	line, supplies, house, o := busyRoom(6, 10)
	a, b := Forecast(line, supplies, house, o, noon), Forecast(line, supplies, house, o, noon)
	if !reflect.DeepEqual(a, b) {
		t.Fatal("two forecasts from one seed differ")
	}
	o.Seed++
	other := Forecast(line, supplies, house, o, noon)
	if reflect.DeepEqual(a, other) {
		t.Fatal("the seed decides nothing")
	}
	for i := range line {
		x, y := a.Turns[i].In, other.Turns[i].In
		wide := x.High - x.Low + 2*minute
		if (x.Median-y.Median).Abs() > wide/4 || (x.Low-y.Low).Abs() > wide/4 || (x.High-y.High).Abs() > wide/3 {
			t.Errorf("turn %d: %v with one seed, %v with another", i+1, x, y)
		}
	}
}

// TestForecastIsSteady: a minute later, with everything a minute nearer, nobody's
// instant has moved: the draws belong to the turns and loads, not to the forecast.
func TestForecastIsSteady(t *testing.T) {
	at := func(passed time.Duration) []Guess {
		line, supplies, house, o := busyRoom(6, 10)
		for i := range supplies {
			s := &supplies[i]
			left := 20*minute + time.Duration(i)*7*minute - passed
			s.Running, s.Ends = true, SpreadOf(Span{left, left + 10*minute, left + 20*minute})
		}
		return Forecast(line, supplies, house, o, noon.Add(passed)).Turns
	}
	before, after := at(0), at(minute)
	for i := range before {
		if d := before[i].In.Median - after[i].In.Median - minute; d.Abs() > 2*time.Millisecond {
			t.Errorf("turn %d moved by %s", i+1, d)
		}
	}
}

// TestForecastLeavesItsInput: neither the line nor the house are changed.
func TestForecastLeavesItsInput(t *testing.T) {
	line, supplies, house, o := busyRoom(4, 9)
	house.Loads["1"] = 1
	before := slices.Clone(line)
	Forecast(line, supplies, house, o, noon)
	if !reflect.DeepEqual(before, line) || len(house.Loads) != 1 || house.Loads["1"] != 1 {
		t.Error("the line or the house changed")
	}
}

// TestForecastCovers: the 80 % interval holds what then happens in 75 to 85 of 100
// cases. What happens is drawn by other means from the same laws, worked out for
// the only machine of a room by plain adding up.
func TestForecastCovers(t *testing.T) {
	law := Sampled(exponential(cells, 40*minute), Span{})
	o := people(law)
	o.Missed = 0
	p := Forecast(waiting("www"), []Supply{aWasher("1", 0)}, nil, o, noon)
	inside, n := 0, 4000
	for k := range uint64(n) {
		draw := func(s Spread, j uint64) time.Duration {
			return s.quantile(float64(mix64(k*100+j)>>11) / (1 << 53))
		}
		at := time.Duration(0)
		for j := range uint64(2) {
			at += min(draw(o.WalkDown, 3*j), 10*minute) + draw(law, 3*j+1) + min(draw(o.Collect, 3*j+2), o.CallAfter)
		}
		if at >= p.Turns[2].In.Low && at <= p.Turns[2].In.High {
			inside++
		}
	}
	if share := float64(inside) / float64(n); math.Abs(share-0.8) > 0.05 {
		t.Errorf("the interval %v holds %.3f of what happens", p.Turns[2].In, share)
	}
}

// FuzzForecast: whatever it is given, the forecast ends, and says nothing that is
// no time.
func FuzzForecast(f *testing.F) {
	f.Add(uint8(3), uint8(5), int64(time.Hour), int64(0), int64(math.MaxInt64), 0.1, uint64(1))
	f.Add(uint8(0), uint8(9), int64(-1), int64(math.MinInt64), int64(0), math.NaN(), uint64(0))
	f.Add(uint8(9), uint8(60), int64(0), int64(0), int64(0), math.Inf(1), uint64(math.MaxUint64))
	f.Fuzz(func(t *testing.T, machines, turns uint8, a, b, c int64, missed float64, odd uint64) {
		x, y, z := time.Duration(a), time.Duration(b), time.Duration(c)
		spread := SpreadOf(Span{x, y, z})
		supplies := make([]Supply, machines%12)
		for i := range supplies {
			h := mix64(odd + uint64(i))
			supplies[i] = Supply{
				Machine: Machine{ID: MachineID(fmt.Sprint(h % 5)), Number: int(h % 3), Kind: Kind(h % 6), Accessible: h&8 > 0},
				Usable:  h&16 > 0, Running: h&32 > 0, Ends: spread, Load: h >> 8 % 6, Home: HomeID(fmt.Sprint(h >> 20 % 3)),
				Waited: y, CallIn: z,
			}
		}
		line := make(Line, turns%70)
		for i := range line {
			h := mix64(odd ^ uint64(i)<<9)
			line[i] = Turn{
				ID: TurnID(h % 40), Need: Need(h >> 8 % 6), State: State(h >> 12 % 7), Home: HomeID(fmt.Sprint(h >> 20 % 3)),
				Misses: int(h>>30%4) - 1, DryAfter: h&128 > 0, Behind: h >> 33 % 9 / 4, Machine: MachineID(fmt.Sprint(h % 5)),
				NotBefore: noon.Add(x), Recall: noon.Add(y), CalledAt: noon.Add(z), HoldUntil: noon.Add(x / 2),
			}
		}
		house := &House{Limits: Limits{LoadsPerHome: int(odd % 3)}, Hours: AlwaysOpen(), Loads: map[HomeID]int{"1": int(b)}}
		if odd%4 == 1 {
			house.Hours[odd%7] = Day{Opens: Clock(a), LastStart: Clock(b), EndedBy: Clock(c), Closed: odd%8 == 1}
			house.Length = func(Need) time.Duration { return z }
		}
		o := &Outlook{
			Cycle: func(Need) Spread { return spread }, WalkDown: spread, Collect: spread, Missed: missed,
			CallAfter: x, RecallAfter: y, Hold: func(HomeID) time.Duration { return z }, Seed: odd,
		}
		p := Forecast(line, supplies, house, o, noon)
		for i, g := range append(p.Turns, p.Join[:]...) {
			if g.In.Low < 0 || g.In.Median < g.In.Low || g.In.High < g.In.Median || g.In.High > farthest || !g.OK && g.In != (Span{}) {
				t.Errorf("guess %d: %+v", i, g)
			}
		}
	})
}

// TestAgenda: happenings come in the order of their instants, of one instant machines first, by
// number.
func TestAgenda(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var a agenda
		var want []happening
		for range rapid.IntRange(0, 60).Draw(t, "n") {
			h := happening{time.Duration(rapid.IntRange(0, 9).Draw(t, "at")), rapid.IntRange(-5, 5).Draw(t, "what")}
			a.push(h)
			want = append(want, h)
		}
		slices.SortFunc(want, func(x, y happening) int {
			if x.at != y.at {
				return int(x.at - y.at)
			}
			place := func(what int) int { // machines by number, then turns
				if what >= 0 {
					return what
				}
				return 1000 + what
			}
			return place(x.what) - place(y.what)
		})
		for i := range want {
			if got := a.pop(); got != want[i] {
				t.Fatalf("%d. is %v, want %v", i+1, got, want[i])
			}
		}
	})
}

// TestPick: the k-th smallest, with the smaller ones before it.
func TestPick(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		row := rapid.SliceOfN(rapid.Int32Range(0, 20), 1, 80).Draw(t, "row")
		sorted := slices.Sorted(slices.Values(row))
		k := rapid.IntRange(0, len(row)-1).Draw(t, "k")
		if got := pick(row, k); got != sorted[k] {
			t.Fatalf("the %d-th is %d, want %d", k, got, sorted[k])
		}
		if k > 0 && slices.Max(row[:k]) > sorted[k] || slices.Min(row[k:]) < sorted[k] {
			t.Fatalf("not parted at %d: %v", k, row)
		}
	})
}
