package main

import (
	"math"
	"slices"
	"sort"
	"time"
)

// reckonTally is what the figures are made of.
type reckonTally struct {
	labels, detected, matched                int
	merged, split, falseFinishes             int
	declared, endErrors                      []float64
	errors, lastRun, inside, width, machines []float64
	quarter                                  [4][]float64
}

// reckonFigures are the figures of some machines together.
func reckonFigures(ms []reckonedMachine) map[string]float64 {
	var y reckonTally
	for _, m := range ms {
		y.add(m)
	}
	precision, recall := reckonShare(y.matched, y.detected), reckonShare(y.matched, y.labels)
	early := slices.DeleteFunc(slices.Clone(y.declared), func(s float64) bool { return s >= 0 })
	worst := 0.0
	for _, s := range early {
		worst = max(worst, -s)
	}
	f := map[string]float64{
		"labels": float64(y.labels), "detected": float64(y.detected), "matched": float64(y.matched),
		"precision": precision, "recall": recall, "f1": 2 * precision * recall / (precision + recall),
		"merged": float64(y.merged), "split": float64(y.split), "false_finishes": float64(y.falseFinishes),
		"declare_median_s": reckonPercentile(y.declared, 50), "declare_p95_s": reckonPercentile(y.declared, 95),
		"declared_early": float64(len(early)), "declared_early_worst_s": worst,
		"end_error_median_s": reckonPercentile(y.endErrors, 50), "end_error_p90_s": reckonPercentile(y.endErrors, 90),
		"remaining_mae_min": reckonMean(y.errors), "remaining_last_run_mae_min": reckonMean(y.lastRun),
		"remaining_ratio_to_last_run":    reckonMean(y.errors) / reckonMean(y.lastRun),
		"remaining_ratio_machine_median": reckonPercentile(y.machines, 50),
		"coverage_80":                    reckonMean(y.inside), "width_80_min": reckonMean(y.width),
	}
	for i, q := range []string{"q1", "q2", "q3", "q4"} {
		f["remaining_mae_min_"+q] = reckonMean(y.quarter[i])
	}
	return f
}

func reckonShare(part, whole int) float64 { return float64(part) / float64(whole) }

func reckonMean(all []float64) float64 {
	sum := 0.0
	for _, v := range all {
		sum += v
	}
	return sum / float64(len(all)) // not a number where there are none
}

// reckonPercentile interpolates linearly between the two nearest of the values.
func reckonPercentile(all []float64, p float64) float64 {
	if len(all) == 0 {
		return math.NaN()
	}
	sorted := slices.Clone(all)
	slices.Sort(sorted)
	at := p / 100 * float64(len(sorted)-1)
	below := int(at)
	above := min(below+1, len(sorted)-1)
	return sorted[below] + (at-float64(below))*(sorted[above]-sorted[below])
}

// add takes one machine.
func (y *reckonTally) add(m reckonedMachine) {
	cycles := m.cycles()
	pairs := reckonPairs(m.labels, cycles)
	for _, l := range m.labels {
		if l.quality != "doubtful" {
			y.labels++
		}
	}
	for k, c := range cycles {
		if _, ok := pairs[k]; ok || !reckonOnlyDoubtful(c, m.labels) {
			y.detected++
		}
	}
	y.matched += len(pairs)
	y.middles(m.labels, cycles)
	y.falseFinishes += reckonFalseFinishes(m)
	y.times(m, cycles, pairs)
}

// reckonPairs matches cycles (the key) to labels that count, most overlap first.
func reckonPairs(labels []reckonLabel, cycles []reckonLine) map[int]int {
	type pair struct {
		cycle, label int
		iou          float64
	}
	var all []pair
	for i, l := range labels {
		for k, c := range cycles {
			if iou := reckonIoU(l, c); l.quality != "doubtful" && iou >= 0.7 {
				all = append(all, pair{k, i, iou})
			}
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].iou > all[b].iou })
	pairs, taken := map[int]int{}, map[int]bool{}
	for _, p := range all {
		if _, used := pairs[p.cycle]; !used && !taken[p.label] {
			pairs[p.cycle], taken[p.label] = p.label, true
		}
	}
	return pairs
}

func reckonIoU(l reckonLabel, c reckonLine) float64 {
	both := reckonOverlap(l, c.Start, c.End)
	return both / (l.length().Seconds() + c.End.Sub(c.Start).Seconds() - both)
}

// reckonOverlap is how many seconds of a label lie in a stretch.
func reckonOverlap(l reckonLabel, from, to time.Time) float64 {
	if l.start.After(from) {
		from = l.start
	}
	if l.end.Before(to) {
		to = l.end
	}
	return max(0, to.Sub(from).Seconds())
}

func reckonOnlyDoubtful(c reckonLine, labels []reckonLabel) bool {
	doubtful := false
	for _, l := range labels {
		if reckonOverlap(l, c.Start, c.End) > 0 {
			if l.quality != "doubtful" {
				return false
			}
			doubtful = true
		}
	}
	return doubtful
}

// middles counts cycles with two labels in them, and labels with two cycles.
func (y *reckonTally) middles(labels []reckonLabel, cycles []reckonLine) {
	in := func(at, from, to time.Time) bool { return !at.Before(from) && !at.After(to) }
	for _, c := range cycles {
		n := 0
		for _, l := range labels {
			if l.quality != "doubtful" && in(l.middle(), c.Start, c.End) {
				n++
			}
		}
		if n >= 2 {
			y.merged++
		}
	}
	for _, l := range labels {
		n := 0
		for _, c := range cycles {
			if in(c.Start.Add(c.End.Sub(c.Start)/2), l.start, l.end) {
				n++
			}
		}
		if n >= 2 {
			y.split++
		}
	}
}

// reckonFalseFinishes counts the words "it is over" said while it was not, each of
// them, also those that were taken back.
func reckonFalseFinishes(m reckonedMachine) (n int) {
	for _, c := range m.lines {
		if !c.ends() || c.AtEndOfFile {
			continue
		}
		for _, l := range m.labels {
			if l.quality != "doubtful" && reckonOverlap(l, c.Start, c.End) > 0 &&
				!c.Time.Before(l.start) && l.end.Sub(c.Time) > time.Minute {
				n++
				break
			}
		}
	}
	return n
}

// times takes what is measured on matched clean cycles.
func (y *reckonTally) times(m reckonedMachine, cycles []reckonLine, pairs map[int]int) {
	var errors, lastRun []float64
	scored := 0
	for k, c := range cycles {
		i, ok := pairs[k]
		if !ok || m.labels[i].quality != "clean" {
			continue
		}
		l := m.labels[i]
		if !c.AtEndOfFile {
			y.declared = append(y.declared, c.Time.Sub(l.end).Seconds())
		}
		y.endErrors = append(y.endErrors, math.Abs(c.End.Sub(l.end).Seconds()))
		if i == 0 {
			continue
		}
		scored++
		before := len(y.errors)
		y.asked(m, l, m.labels[i-1].length())
		errors, lastRun = append(errors, y.errors[before:]...), append(lastRun, y.lastRun[before:]...)
	}
	if scored >= 4 {
		y.machines = append(y.machines, reckonMean(errors)/reckonMean(lastRun))
	}
}

// asked asks once a minute how long a labelled cycle still takes, "to its end" without
// it: so the last-run rule's published errors come out (19.6 min of the refit set).
func (y *reckonTally) asked(m reckonedMachine, l reckonLabel, last time.Duration) {
	for at := l.start.Add(time.Minute); at.Before(l.end); at = at.Add(time.Minute) {
		truth := l.end.Sub(at).Seconds()
		median, low, high := m.answer(at)
		e := math.Abs(median-truth) / 60
		y.errors = append(y.errors, e)
		q := min(3, int(4*at.Sub(l.start)/l.length()))
		y.quarter[q] = append(y.quarter[q], e)
		byLast := max(0, (last - at.Sub(l.start)).Seconds())
		y.lastRun = append(y.lastRun, math.Abs(byLast-truth)/60)
		y.width = append(y.width, (high-low)/60)
		held := 0.0
		if truth >= low-1 && truth <= high+1 { // a label is good to the second at best
			held = 1
		}
		y.inside = append(y.inside, held)
	}
}
