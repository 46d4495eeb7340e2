package score

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// disturbedColumns are the columns of the table by disturbance.
var disturbedColumns = []string{"cycles", "f1", "merged", "split", "false", "declared s", "end error s", "remaining min", "ratio", "by machine", "in 80 %"}

// writeDisturbed prints what was asked for of the disturbed copies.
func (r *Report) writeDisturbed(out io.Writer) error {
	if r.Disturbed != nil {
		var rows []row
		for _, d := range r.Disturbed {
			rows = append(rows, row{d.Name, d.Total})
		}
		fmt.Fprintln(out, "\ndisturbed copies of the recordings")
		if err := writeTable(out, rows, disturbedColumns...); err != nil {
			return err
		}
	}
	if r.Calibration == nil {
		return nil
	}
	fmt.Fprintln(out, "\nwrongly declared over, of all that were: with a doubt of")
	return writeCalibration(out, r.Calibration)
}

// writeCalibration prints a line for each disturbance, with a column for each doubt,
// and one of all together.
func writeCalibration(out io.Writer, cs []Calibration) error {
	w := tabwriter.NewWriter(out, 0, 8, 2, ' ', tabwriter.AlignRight)
	for _, d := range doubts {
		fmt.Fprintf(w, "\t%.0f %%", 100*d)
	}
	fmt.Fprintln(w, "\t")
	var names []string
	cells := map[string]map[float64]Calibration{}
	all := "all"
	for _, c := range cs {
		if cells[c.On] == nil {
			names = append(names, c.On)
			cells[c.On] = map[float64]Calibration{}
		}
		cells[c.On][c.Doubt] = c
		if cells[all] == nil {
			cells[all] = map[float64]Calibration{}
		}
		sum := cells[all][c.Doubt]
		sum.Declared, sum.Wrong = sum.Declared+c.Declared, sum.Wrong+c.Wrong
		cells[all][c.Doubt] = sum
	}
	for _, name := range append(names, all) {
		fmt.Fprint(w, name)
		for _, d := range doubts {
			c := cells[name][d]
			fmt.Fprintf(w, "\t%d of %d: %s %%", c.Wrong, c.Declared, number(100*share(c.Wrong, c.Declared), 1))
			if c.On != "" {
				fmt.Fprintf(w, ", %s/%s s", number(c.MedianS, 0), number(c.P95S, 0))
			}
		}
		fmt.Fprintln(w, "\t")
	}
	return w.Flush()
}
