package year

import (
	"fmt"
	"os"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

func learning(s cycle.Settings) cycle.Engine { return cycle.New(s) }

// BenchmarkYear prints the tables of DEVELOPERS.md. Bound it: -benchtime 1x.
func BenchmarkYear(b *testing.B) {
	for _, c := range []struct {
		name string
		set  Setting
	}{{"Steady", Year()}, {"Changing", ChangingYear()}} {
		b.Run(c.name, func(b *testing.B) {
			wishes := Arrivals(&c.set)
			var r *Report
			for b.Loop() {
				r = Turns(&c.set, wishes, learning)
			}
			b.StopTimer()
			wait, high := r.Wait(0)
			all := r.Forecasts[allAsked]
			b.ReportMetric(wait.Minutes(), "wait-min")
			b.ReportMetric(high.Minutes(), "wait95-min")
			b.ReportMetric(all.Error().Minutes(), "error-min")
			b.ReportMetric(100*all.Coverage(), "inside-%")
			b.ReportMetric(r.PerDay(r.Idle[0]+r.Idle[1]), "idle-min/day")
			fmt.Printf("\n%s year:\n\n", c.name)
			reports := []*Report{r, earlyCalls(c.set, wishes), Door(&c.set, wishes), List(&c.set, wishes)}
			Print(os.Stdout, reports...)
			fmt.Println()
			PrintForecasts(os.Stdout, r)
			fmt.Println()
			for _, r := range reports {
				PrintGone(os.Stdout, r)
			}
		})
	}
}

// earlyCalls is the queue in a house that calls the next one sooner although a
// load may still be inside.
func earlyCalls(s Setting, wishes []Wish) *Report {
	s.Rules = func(r *coordinator.Rules) { r.CallUncollectedAfter = 10 * time.Minute }
	r := Turns(&s, wishes, learning)
	r.Name += ", call_uncollected_after 10 min"
	return r
}
