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
			reports := []*Report{
				r, otherwise(c.set, wishes, "call_uncollected_after 30 min", patient), otherwise(c.set, wishes, "dry_call_ahead 0", atTheEnd),
				Door(&c.set, wishes), List(&c.set, wishes),
			}
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

// otherwise is the queue in a house with another rule.
func otherwise(s Setting, wishes []Wish, name string, change func(*coordinator.Rules)) *Report {
	s.Rules = change
	r := Turns(&s, wishes, learning)
	r.Name += ", " + name
	return r
}

// patient calls the next one only at the end of the ladder when a load may still
// be inside; atTheEnd calls a booked dryer when its wash is known to have ended.
func patient(r *coordinator.Rules)  { r.CallUncollectedAfter = 30 * time.Minute }
func atTheEnd(r *coordinator.Rules) { r.DryCallAhead = 0 }
