package tracestory

import (
	"bufio"
	"fmt"
	"io"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

// quarters are the parts of a cycle after which its forecast is looked at.
var quarters = [...]struct {
	name  string
	share float64
}{{"1/4", 0.25}, {"1/2", 0.5}, {"3/4", 0.75}}

// writeText tells the story to people.
func writeText(out io.Writer, s *story) error {
	w := bufio.NewWriter(out)
	if s.readings == 0 {
		fmt.Fprintf(w, "%s: no readings\n", s.name)
		return w.Flush()
	}
	fmt.Fprintf(w, "%s, a %s: %s, %s %s\n", s.name, s.kind, count(s.readings, "reading", "readings"), stretch(s.first, s.last), s.first.Format("MST"))
	told := 0
	for i := range s.runs {
		told = s.tellSilences(w, told, s.runs[i].start)
		s.runs[i].tell(w, i+1)
	}
	s.tellSilences(w, told, s.last.Add(1))
	s.sum(w)
	return w.Flush()
}

// tellSilences writes those that began before an instant, and returns how many
// have been told now.
func (s *story) tellSilences(w io.Writer, told int, before time.Time) int {
	for ; told < len(s.silences) && s.silences[told].from.Before(before); told++ {
		if q := s.silences[told]; q.to.IsZero() {
			fmt.Fprintf(w, "\n     no word from the meter from %s on\n", q.from.Format(dayLayout))
		} else {
			fmt.Fprintf(w, "\n     no word from the meter, %s: %s\n", stretch(q.from, q.to), span(q.to.Sub(q.from)))
		}
	}
	return told
}

func (r *run) tell(w io.Writer, n int) {
	fmt.Fprintf(w, "\n%4d %s: %s, %.3f kWh, peak %.0f W\n", n, stretch(r.start, r.end), span(r.length()), r.energyWh/1000, r.peakW)
	fmt.Fprintf(w, "     %s", r.how())
	if !r.cutOff {
		fmt.Fprintf(w, "; told at %s, %s after its end", r.told.Format(time.TimeOnly), span(r.told.Sub(r.end)))
	}
	if r.stalled {
		fmt.Fprint(w, "; went on far longer than it should")
	}
	fmt.Fprintln(w)
	r.tellForecasts(w)
}

// tellForecasts holds forecasts against what happened, where that is known.
func (r *run) tellForecasts(w io.Writer) {
	if r.cutOff && len(r.asks) > 0 {
		fmt.Fprintf(w, "     said last: %s\n", forecast(r.asks[len(r.asks)-1].Estimate))
	}
	if r.cutOff || r.kind == cycle.Presumed {
		return
	}
	for _, q := range quarters {
		at := r.start.Add(time.Duration(q.share * float64(r.length())))
		if e, ok := r.answer(at); ok {
			fmt.Fprintf(w, "     after %s: %s; it was %s\n", q.name, forecast(e), minutes(r.end.Sub(at)))
		}
	}
}

// known says that the end of the cycle was seen.
func (r *run) known() bool { return !r.cutOff && r.kind == cycle.Finished }

// sum writes the closing summary.
func (s *story) sum(w io.Writer) {
	ways := map[string]int{}
	var lengths, waits []time.Duration
	energy := 0.0
	for i := range s.runs {
		r := &s.runs[i]
		ways[r.how()]++
		energy += r.energyWh
		if r.known() {
			lengths, waits = append(lengths, r.length()), append(waits, r.told.Sub(r.end))
		}
	}
	fmt.Fprintf(w, "\n%s", count(len(s.runs), "cycle", "cycles"))
	sep := ": "
	for _, how := range []string{"finished", "stopped early", "presumed over, as the meter was silent", "cut off by the end of the recording"} {
		if ways[how] > 0 {
			fmt.Fprintf(w, "%s%d %s", sep, ways[how], how)
			sep = "; "
		}
	}
	fmt.Fprintf(w, "\n%.3f kWh in all\n", energy/1000)
	if len(lengths) > 0 {
		fmt.Fprintf(w, "of those that finished, the median took %s and was told %s after its end\n", span(median(lengths)), span(median(waits)))
	}
	s.sumForecasts(w)
	s.sumSilences(w)
}

// sumForecasts holds the answers at the quarters against what happened.
func (s *story) sumForecasts(w io.Writer) {
	n, inside := 0, 0
	var off time.Duration
	for i := range s.runs {
		r := &s.runs[i]
		for _, q := range quarters {
			at := r.start.Add(time.Duration(q.share * float64(r.length())))
			e, ok := r.answer(at)
			if !ok || !r.known() {
				continue
			}
			truth := r.end.Sub(at)
			n++
			off += (e.Median - truth).Abs()
			if e.Low <= truth && truth <= e.High {
				inside++
			}
		}
	}
	if n > 0 {
		fmt.Fprintf(w, "remaining time at the quarters: off by %.1f min on average, within the interval in %d of %d\n",
			off.Minutes()/float64(n), inside, n)
	}
}

func (s *story) sumSilences(w io.Writer) {
	var sum time.Duration
	for _, q := range s.silences {
		if !q.to.IsZero() {
			sum += q.to.Sub(q.from)
		}
	}
	if n := len(s.silences); n > 0 {
		fmt.Fprintf(w, "%s, %s in all\n", count(n, "silence", "silences"), span(sum))
	}
}

func median(d []time.Duration) time.Duration {
	slices.Sort(d)
	return d[len(d)/2]
}
