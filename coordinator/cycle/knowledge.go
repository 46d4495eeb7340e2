package cycle

import (
	"slices"
	"time"
)

// Knowledge is what an engine has learned of its machine, for people to look at.
type Knowledge struct {
	// Cycles is how many whole cycles it has seen.
	Cycles int
	// WorkW is the power from which the machine works, W; GlowW what it draws
	// after a cycle, DrumW what its drum takes at a usual turn, HeatW the power
	// from which it heats. Zero while unknown.
	WorkW, GlowW, DrumW, HeatW float64
	// Changed is when its levels were last found to have changed for good; zero
	// when they have not.
	Changed time.Time
	// Programmes are those that it tells apart, the most used first.
	Programmes []Programme
}

// Programme is a group of runs that took about as long and about as much energy.
type Programme struct {
	Number int
	// Runs is how many of them are remembered, Length and Wh are their medians.
	Runs   int
	Length time.Duration
	Wh     float64
}

// Knowledge tells what has been learned so far.
func (l *Learned) Knowledge() Knowledge {
	v := &l.mem.Levels
	k := Knowledge{
		Cycles: v.Cycles, WorkW: v.WorkW, GlowW: v.GlowW, DrumW: v.DrumW, HeatW: v.HeatW, Changed: v.Changed,
	}
	byNumber := map[int][]run{}
	for _, r := range l.mem.Past.Runs {
		byNumber[r.Programme] = append(byNumber[r.Programme], r)
	}
	for n, rs := range byNumber {
		p := Programme{Number: n, Runs: len(rs)}
		slices.SortFunc(rs, func(a, b run) int { return int(a.Length - b.Length) })
		p.Length = rs[len(rs)/2].Length
		slices.SortFunc(rs, func(a, b run) int {
			switch {
			case a.Wh < b.Wh:
				return -1
			case a.Wh > b.Wh:
				return 1
			}
			return 0
		})
		p.Wh = rs[len(rs)/2].Wh
		k.Programmes = append(k.Programmes, p)
	}
	slices.SortFunc(k.Programmes, func(a, b Programme) int {
		if a.Runs != b.Runs {
			return b.Runs - a.Runs
		}
		return a.Number - b.Number
	})
	return k
}

// Forget makes the engine as new, for a machine that was repaired or replaced
// and shall not be judged by its past.
func (l *Learned) Forget() { l.clear() }
