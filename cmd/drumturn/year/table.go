package year

import (
	"fmt"
	"io"
)

// Print writes reports on the same arrivals as a table in Markdown.
func Print(w io.Writer, reports ...*Report) {
	fmt.Fprintln(w, "| policy | wait for a washer: mean, 95 % | for a dryer: mean, 95 % | idle while wanted, min/day: washers, dryers | of these with an empty drum | walks in vain | washed | washed, not dried |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, r := range reports {
		wash, wash95 := r.Wait(0)
		dry, dry95 := r.Wait(1)
		fmt.Fprintf(w, "| %s | %.0f, %.0f min | %.0f, %.0f min | %.0f, %.0f | %.0f, %.0f | %d | %.1f %% | %d |\n", r.Name,
			wash.Minutes(), wash95.Minutes(), dry.Minutes(), dry95.Minutes(), r.PerDay(r.Idle[0]), r.PerDay(r.Idle[1]),
			r.PerDay(r.Empty[0]), r.PerDay(r.Empty[1]),
			r.Vain, 100*float64(r.Served)/float64(r.Wishes), sum(r.Undried))
	}
}

// PrintForecasts writes how good a report's forecasts were.
func PrintForecasts(w io.Writer, r *Report) {
	fmt.Fprintln(w, "| forecasts | asked | call came after, mean | error of the median, mean | late by, mean | within 80 % interval | before, after it | width of the interval, median |")
	fmt.Fprintln(w, "| --- | --- | --- | --- | --- | --- | --- | --- |")
	for _, sort := range sorts() {
		s := r.Forecasts[sort]
		n := max(1, s.answered())
		fmt.Fprintf(w, "| %s | %d | %.0f min | %.1f min | %.1f min | %.1f %% | %.1f, %.1f %% | %.0f min |\n", sort, s.Asked,
			s.Left().Minutes(), s.Error().Minutes(), s.Bias().Minutes(), 100*s.Coverage(),
			100*float64(s.Early)/float64(n), 100*float64(s.Late)/float64(n), s.Width().Minutes())
	}
}

// PrintGone writes why people went without.
func PrintGone(w io.Writer, r *Report) {
	fmt.Fprintf(w, "%s: %d wishes; not washed %v, washed and not dried %v; joins over the limit %d\n", r.Name, r.Wishes, r.Gone, r.Undried, r.Refused)
}
