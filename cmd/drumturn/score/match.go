package score

import (
	"slices"
	"time"
)

// enough is the intersection over union from which a detection is a label's.
const enough = 0.7

// overlap is the time that two spans share, 0 when none.
func overlap(a0, a1, b0, b1 time.Time) time.Duration {
	if b0.After(a0) {
		a0 = b0
	}
	if b1.Before(a1) {
		a1 = b1
	}
	return max(0, a1.Sub(a0))
}

// iou is intersection over union of a detection and a label, 0 to 1.
func iou(c Cycle, l Label) float64 {
	both := overlap(c.Start, c.End, l.Start, l.End)
	if both == 0 {
		return 0
	}
	return float64(both) / float64(c.End.Sub(c.Start)+l.length()-both)
}

// match pairs detections with labels one to one, most overlap first; doubtful
// labels take no part. It returns for each label the index of its detection, or -1.
func match(cs []Cycle, ls []Label) []int {
	type pair struct {
		c, l int
		iou  float64
	}
	var pairs []pair
	for li, l := range ls {
		if l.Quality == Doubtful {
			continue
		}
		for ci, c := range cs {
			if v := iou(c, l); v >= enough {
				pairs = append(pairs, pair{ci, li, v})
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b pair) int {
		switch {
		case a.iou > b.iou:
			return -1
		case a.iou < b.iou:
			return 1
		}
		return 0
	})
	of := make([]int, len(ls))
	for i := range of {
		of[i] = -1
	}
	taken := make([]bool, len(cs))
	for _, p := range pairs {
		if of[p.l] < 0 && !taken[p.c] {
			of[p.l], taken[p.c] = p.c, true
		}
	}
	return of
}

// counts reports whether a detection counts towards precision: one that
// overlaps doubtful labels and no other is left out.
func counts(c Cycle, ls []Label) bool {
	doubtful := false
	for _, l := range ls {
		if overlap(c.Start, c.End, l.Start, l.End) == 0 {
			continue
		}
		if l.Quality != Doubtful {
			return true
		}
		doubtful = true
	}
	return !doubtful
}

// falseFinish reports whether a label that the detection overlaps was running
// when it was declared finished, with more than a minute to go.
func falseFinish(c Cycle, ls []Label) bool {
	if c.AtEndOfFile {
		return false
	}
	for _, l := range ls {
		if l.Quality != Doubtful && overlap(c.Start, c.End, l.Start, l.End) > 0 &&
			!c.Declared.Before(l.Start) && l.End.Sub(c.Declared) > time.Minute {
			return true
		}
	}
	return false
}
