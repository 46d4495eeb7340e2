package queue

import (
	"testing"
	"time"

	"pgregory.net/rapid"
)

func exactly(d time.Duration) Span { return Span{d, d, d} }

// TestForecastByHand: two washers, three turns, worked out on paper. Washer 1 is
// free now, washer 2 in 30 minutes; a load occupies a machine for 80 minutes. So
// the turns are called now, in 30 minutes, and in 80.
func TestForecastByHand(t *testing.T) {
	supplies := []Supply{
		{Machine: Machine{ID: "1", Kind: Washer}, Usable: true},
		{Machine: Machine{ID: "2", Kind: Washer}, Usable: true, FreeIn: exactly(30 * time.Minute)},
		{Machine: Machine{ID: "3", Kind: Dryer}, Usable: true},
	}
	o := Outlook{Length: func(Need) Span { return exactly(80 * time.Minute) }}
	line := waiting("wwwd")
	want := []time.Duration{0, 30 * time.Minute, 80 * time.Minute, 0}
	for i, g := range Forecast(line, supplies, o, noon) {
		if !g.OK || g.In != exactly(want[i]) {
			t.Errorf("turn %d: %+v, want in %s", line[i].ID, g, want[i])
		}
	}
}

func TestForecastSpreads(t *testing.T) {
	supplies := []Supply{{Machine: Machine{ID: "1", Kind: Washer}, Usable: true, FreeIn: Span{time.Minute, 2 * time.Minute, 4 * time.Minute}}}
	o := Outlook{Length: func(Need) Span { return Span{10 * time.Minute, 20 * time.Minute, 40 * time.Minute} }}
	got := Forecast(waiting("ww"), supplies, o, noon)[1].In
	want := Span{11 * time.Minute, 22 * time.Minute, 44 * time.Minute}
	if got != want {
		t.Errorf("the second is called in %+v, want %+v", got, want)
	}
}

func TestForecastKnowsNothing(t *testing.T) {
	supplies := []Supply{{Machine: Machine{ID: "1", Kind: Washer}}}
	o := Outlook{Length: func(Need) Span { return exactly(time.Hour) }}
	for _, g := range Forecast(waiting("wd"), supplies, o, noon) {
		if g.OK {
			t.Errorf("a turn that no machine serves is forecast: %+v", g)
		}
	}
}

func TestForecastRespectsLater(t *testing.T) {
	supplies := []Supply{{Machine: Machine{ID: "1", Kind: Washer}, Usable: true}}
	o := Outlook{Length: func(Need) Span { return exactly(time.Hour) }}
	line := waiting("w")
	line[0].NotBefore = noon.Add(45 * time.Minute)
	if got := Forecast(line, supplies, o, noon)[0].In.Median; got != 45*time.Minute {
		t.Errorf("called in %s although not before 45 minutes", got)
	}
}

// TestForecastIsMonotone: a turn behind another of the same need is not called
// before it, and nobody gains by a machine less.
func TestForecastIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var supplies []Supply
		for range rapid.IntRange(1, 5).Draw(t, "machines") {
			free := time.Duration(rapid.IntRange(0, 100).Draw(t, "free")) * time.Minute
			supplies = append(supplies, Supply{Machine: Machine{Kind: Washer}, Usable: true, FreeIn: exactly(free)})
		}
		o := Outlook{Length: func(Need) Span { return exactly(time.Hour) }}
		line := waiting(rapid.StringMatching(`w{1,8}`).Draw(t, "line"))
		all := Forecast(line, supplies, o, noon)
		for i := 1; i < len(all); i++ {
			if all[i].In.Median < all[i-1].In.Median {
				t.Fatalf("turn %d is called before turn %d", i+1, i)
			}
		}
		fewer := Forecast(line, supplies[1:], o, noon)
		for i := range fewer {
			if fewer[i].OK && fewer[i].In.Median < all[i].In.Median {
				t.Fatalf("turn %d gains by a machine less", i+1)
			}
		}
	})
}

func BenchmarkForecast(b *testing.B) {
	supplies := make([]Supply, 20)
	for i := range supplies {
		supplies[i] = Supply{Machine: Machine{Kind: Washer}, Usable: true, FreeIn: exactly(time.Duration(i) * time.Minute)}
	}
	line := make(Line, 100)
	for i := range line {
		line[i] = Turn{ID: TurnID(i + 1), Need: Wash, State: Waiting}
	}
	o := Outlook{Length: func(Need) Span { return exactly(time.Hour) }}
	for b.Loop() {
		Forecast(line, supplies, o, noon)
	}
}
