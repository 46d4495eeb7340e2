package score

import (
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"
)

type column struct {
	head string
	cell func(Figures) string
}

var columns = []column{
	{"cycles", func(f Figures) string { return fmt.Sprint(f.Labels) }},
	{"f1", func(f Figures) string { return number(f.F1, 3) }},
	{"merged", func(f Figures) string { return fmt.Sprint(f.Merged) }},
	{"split", func(f Figures) string { return fmt.Sprint(f.Split) }},
	{"false", func(f Figures) string { return fmt.Sprint(f.FalseFinishes) }},
	{"declared s", func(f Figures) string { return number(f.DeclareMedianS, 0) + "/" + number(f.DeclareP95S, 0) }},
	{"early (worst s)", func(f Figures) string {
		return fmt.Sprintf("%d (%s)", f.DeclaredEarly, number(f.DeclaredEarlyWorstS, 0))
	}},
	{"end error s", func(f Figures) string { return number(f.EndErrorMedianS, 0) + "/" + number(f.EndErrorP90S, 0) }},
	{"remaining min", func(f Figures) string { return number(f.RemainingMAEMin, 1) }},
	{"by quarter", func(f Figures) string {
		return number(f.RemainingMAEMinQ1, 1) + " " + number(f.RemainingMAEMinQ2, 1) + " " +
			number(f.RemainingMAEMinQ3, 1) + " " + number(f.RemainingMAEMinQ4, 1)
	}},
	{"last run", func(f Figures) string { return number(f.RemainingLastRunMAEMin, 1) }},
	{"ratio", func(f Figures) string { return number(f.RatioToLastRun, 2) }},
	{"by machine", func(f Figures) string { return number(f.RatioMachineMedian, 2) }},
	{"in 80 %", func(f Figures) string { return number(f.Coverage80, 2) }},
	{"width min", func(f Figures) string { return number(f.Width80Min, 1) }},
}

func number(n Number, decimals int) string {
	if math.IsNaN(float64(n)) {
		return "-"
	}
	return fmt.Sprintf("%.*f", decimals, float64(n))
}

// row is one named line of the table.
type row struct {
	name string
	f    Figures
}

// writeTable prints one line per row with the figures side by side: all columns, or
// those that are named.
func writeTable(out io.Writer, rows []row, named ...string) error {
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', tabwriter.AlignRight)
	shown := columns
	if len(named) > 0 {
		shown = slices.DeleteFunc(slices.Clone(columns), func(c column) bool { return !slices.Contains(named, c.head) })
	}
	for _, c := range shown {
		fmt.Fprint(w, "\t", c.head)
	}
	fmt.Fprintln(w, "\t")
	for _, r := range rows {
		fmt.Fprint(w, r.name)
		for _, c := range shown {
			fmt.Fprint(w, "\t", c.cell(r.f))
		}
		fmt.Fprintln(w, "\t")
	}
	return w.Flush()
}
