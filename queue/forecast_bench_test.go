package queue

import (
	"fmt"
	"testing"
	"time"
)

// busyRoom is a room with as many machines, two washers for each dryer, and as
// many turns waiting, of people who behave as they do.
func busyRoom(machines, turns int) (Line, []Supply, *House, *Outlook) {
	supplies := make([]Supply, machines)
	for i := range supplies {
		m := Machine{ID: MachineID(fmt.Sprint("m", i)), Number: i + 1, Kind: Washer, Accessible: i == 0, Stacked: i%4 == 3}
		if i%3 == 2 {
			m.Kind = Dryer
		}
		left := time.Duration(i%9) * 10 * time.Minute
		supplies[i] = Supply{
			Machine: m, Usable: true, Running: i%5 != 0, Load: uint64(i + 1), Home: HomeID(fmt.Sprint(i)),
			Ends:   SpreadOf(Span{left, left + 10*time.Minute, left + 25*time.Minute}),
			CallIn: 20 * time.Minute,
		}
	}
	line := make(Line, turns)
	for i := range line {
		line[i] = Turn{ID: TurnID(i + 1), Home: HomeID(fmt.Sprint(i % 60)), Need: Wash, State: Waiting, DryAfter: i%4 == 0}
		if i%3 == 2 {
			line[i].Need, line[i].DryAfter = Dry, false
		}
		line[i].Wishes.Accessible = i%17 == 7
	}
	samples := make([]time.Duration, 40)
	for i := range samples {
		samples[i] = time.Duration(40+i) * time.Minute
	}
	cycle := Sampled(samples, Span{})
	return line, supplies, plainHouse(), people(cycle)
}

// people is an outlook on a house as there are many: one call in ten is missed,
// most loads are collected soon, some are not.
func people(cycle Spread) *Outlook {
	return &Outlook{
		Cycle: func(Need) Spread { return cycle }, WalkDown: SpreadOf(Span{time.Minute, 3 * time.Minute, 8 * time.Minute}),
		Collect: SpreadOf(Span{2 * time.Minute, 9 * time.Minute, 40 * time.Minute}), CallAfter: 30 * time.Minute,
		Hold: func(HomeID) time.Duration { return 10 * time.Minute }, Missed: 0.1, RecallAfter: 10 * time.Minute, Seed: 1,
	}
}

// BenchmarkForecast: the goal is under 5 ms for 20 machines and 100 turns.
func BenchmarkForecast(b *testing.B) {
	for _, size := range []struct{ machines, turns int }{{1, 3}, {5, 5}, {20, 0}, {20, 100}, {200, 500}} {
		b.Run(fmt.Sprintf("%d_machines_%d_turns", size.machines, size.turns), func(b *testing.B) {
			line, supplies, house, o := busyRoom(size.machines, size.turns)
			b.ReportAllocs()
			for b.Loop() {
				Forecast(line, supplies, house, o, noon)
			}
		})
	}
}
