package score

import (
	"encoding/json"
	"math"
)

// Number is a figure; one that cannot be told (nothing to reckon it from) is
// NaN and printed as null.
type Number float64

// MarshalJSON writes null for what cannot be told, and at most 4 decimals.
func (n Number) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(math.Round(float64(n)*1e4) / 1e4)
}

// Figures is everything that is reckoned of a machine, a data set or the total.
type Figures struct {
	Labels        int    `json:"labels"`
	Detected      int    `json:"detected"`
	Matched       int    `json:"matched"`
	Precision     Number `json:"precision"`
	Recall        Number `json:"recall"`
	F1            Number `json:"f1"`
	Merged        int    `json:"merged"`
	Split         int    `json:"split"`
	FalseFinishes int    `json:"false_finishes"`
	// Declared is how many ends were declared, also those that were taken back.
	Declared               int    `json:"-"`
	DeclareMedianS         Number `json:"declare_median_s"`
	DeclareP95S            Number `json:"declare_p95_s"`
	DeclaredEarly          int    `json:"declared_early"`
	DeclaredEarlyWorstS    Number `json:"declared_early_worst_s"`
	EndErrorMedianS        Number `json:"end_error_median_s"`
	EndErrorP90S           Number `json:"end_error_p90_s"`
	RemainingMAEMin        Number `json:"remaining_mae_min"`
	RemainingMAEMinQ1      Number `json:"remaining_mae_min_q1"`
	RemainingMAEMinQ2      Number `json:"remaining_mae_min_q2"`
	RemainingMAEMinQ3      Number `json:"remaining_mae_min_q3"`
	RemainingMAEMinQ4      Number `json:"remaining_mae_min_q4"`
	RemainingLastRunMAEMin Number `json:"remaining_last_run_mae_min"`
	RatioToLastRun         Number `json:"remaining_ratio_to_last_run"`
	RatioMachineMedian     Number `json:"remaining_ratio_machine_median"`
	Coverage80             Number `json:"coverage_80"`
	Width80Min             Number `json:"width_80_min"`
}

func share(part, whole int) Number {
	if whole == 0 {
		return Number(math.NaN())
	}
	return Number(float64(part) / float64(whole))
}

func (t *tally) figures() Figures {
	f := Figures{
		Labels: t.labels, Detected: t.detected, Matched: t.matched,
		Precision: share(t.matched, t.detected), Recall: share(t.matched, t.labels),
		F1:     share(2*t.matched, t.detected+t.labels),
		Merged: t.merged, Split: t.split, FalseFinishes: t.falseFinishes, Declared: t.declared,
		DeclareMedianS: percentile(t.declare, 0.5), DeclareP95S: percentile(t.declare, 0.95),
		DeclaredEarly: t.early, DeclaredEarlyWorstS: Number(t.earlyWorst),
		EndErrorMedianS: percentile(t.endError, 0.5), EndErrorP90S: percentile(t.endError, 0.9),
		RemainingMAEMin:   t.remaining().mean(),
		RemainingMAEMinQ1: t.quarter[0].mean(), RemainingMAEMinQ2: t.quarter[1].mean(),
		RemainingMAEMinQ3: t.quarter[2].mean(), RemainingMAEMinQ4: t.quarter[3].mean(),
		RemainingLastRunMAEMin: t.lastRun.mean(), RatioToLastRun: Number(t.ratio()),
		RatioMachineMedian: percentile(t.ratios, 0.5),
		Coverage80:         share(t.inside, t.offered), Width80Min: t.width.mean(),
	}
	return f
}
