package cycle

import (
	"cmp"
	"maps"
	"math"
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

// Programme is a group of runs that went alike. Where a load decides how long it
// takes, as in a dryer with a sensor, it is one programme from its shortest run to
// its longest.
type Programme struct {
	Number int
	// Runs is how many of them are remembered, Length and Wh are their medians.
	Runs   int
	Length time.Duration
	Wh     float64
	// Shortest and Longest, LeastWh and MostWh bound its runs; zero: all were as the median.
	Shortest, Longest time.Duration
	LeastWh, MostWh   float64
}

// Off is how far a cycle is from the programme's runs, in what two runs of one
// programme may differ by: 0 is among them, over 1 is no run of it.
func (p *Programme) Off(length time.Duration, wh float64) float64 {
	shortest, longest := cmp.Or(p.Shortest, p.Length), cmp.Or(p.Longest, p.Length)
	least, most := cmp.Or(p.LeastWh, p.Wh), cmp.Or(p.MostWh, p.Wh)
	apart := max(shortest-length, length-longest, 0).Minutes() / max(4, 0.1*max(length, longest).Minutes())
	return max(apart, max(least-wh, wh-most, 0)/(0.35*max(1, wh, most)))
}

// Knowledge tells what has been learned so far.
func (l *Learned) Knowledge() Knowledge {
	v := &l.mem.Levels
	k := Knowledge{
		Cycles: v.Cycles, WorkW: v.WorkW, GlowW: v.GlowW, DrumW: v.DrumW, HeatW: v.HeatW, Changed: v.Changed,
	}
	for _, runs := range oneProgramme(l.mem.Past.Runs) {
		k.Programmes = append(k.Programmes, programmeOf(runs))
	}
	slices.SortFunc(k.Programmes, func(a, b Programme) int {
		if a.Runs != b.Runs {
			return b.Runs - a.Runs
		}
		return a.Number - b.Number
	})
	return k
}

// programmeOf describes runs of one programme.
func programmeOf(runs []run) Programme {
	p := Programme{Number: runs[0].Programme, Runs: len(runs)}
	for _, r := range runs {
		p.Number = min(p.Number, r.Programme)
	}
	slices.SortFunc(runs, func(a, b run) int { return cmp.Compare(a.Length, b.Length) })
	p.Shortest, p.Length, p.Longest = runs[0].Length, runs[len(runs)/2].Length, runs[len(runs)-1].Length
	slices.SortFunc(runs, func(a, b run) int { return cmp.Compare(a.Wh, b.Wh) })
	p.LeastWh, p.Wh, p.MostWh = runs[0].Wh, runs[len(runs)/2].Wh, runs[len(runs)-1].Wh
	return p
}

const (
	// samePower is how far apart the mean powers of runs of one programme are at
	// most, as a share, and nextLength the least ratio of a length to the next
	// longer one. A dryer ends when its load is dry: its runs differ three times in
	// length, and by a few hundredths in power; washing programmes differ in both.
	samePower  = 0.10
	nextLength = 2.0 / 3
)

// oneProgramme puts together, for people, the groups that the engine tells apart for
// its forecasts although a load alone makes the difference: those of one mean power
// whose lengths follow each other closely.
func oneProgramme(all []run) (programmes [][]run) {
	byNumber := map[int][]run{}
	for _, r := range all {
		byNumber[r.Programme] = append(byNumber[r.Programme], r)
	}
	groups := slices.Collect(maps.Values(byNumber))
	slices.SortFunc(groups, func(a, b []run) int {
		return cmp.Or(cmp.Compare(meanLength(a), meanLength(b)), cmp.Compare(a[0].Programme, b[0].Programme))
	})
	var newest []time.Duration // the mean length of what came last to each programme
	for _, g := range groups {
		length, best, near := meanLength(g), -1, samePower
		for i, p := range programmes {
			off := math.Abs(meanPower(g)/meanPower(p) - 1)
			if off <= near && float64(newest[i]) >= nextLength*float64(length) {
				best, near = i, off
			}
		}
		if best < 0 {
			programmes, newest = append(programmes, g), append(newest, length)
			continue
		}
		programmes[best], newest[best] = append(programmes[best], g...), length
	}
	return programmes
}

func meanLength(runs []run) time.Duration {
	var sum time.Duration
	for _, r := range runs {
		sum += r.Length
	}
	return sum / time.Duration(len(runs))
}

// meanPower is W over all the runs; above 0, so that it can be divided by.
func meanPower(runs []run) float64 {
	var wh, hours float64
	for _, r := range runs {
		wh, hours = wh+r.Wh, hours+r.Length.Hours()
	}
	return max(wh/max(hours, 1e-9), 1e-9)
}

// Forget makes the engine as new, for a machine that was repaired or replaced
// and shall not be judged by its past.
func (l *Learned) Forget() { l.clear() }
