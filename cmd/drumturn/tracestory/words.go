package tracestory

import (
	"fmt"
	"strconv"
	"time"

	"drumturn/coordinator/cycle"
)

const dayLayout = "Mon 2 Jan 2006 15:04:05"

// span writes a stretch of time in words: 3 d 4 h, 1 h 43 min, 3 min 5 s, 45 s.
func span(d time.Duration) string {
	d = d.Round(time.Second)
	switch {
	case d < 0:
		return "-" + span(-d)
	case d >= 24*time.Hour:
		return fmt.Sprintf("%d d %d h", d/(24*time.Hour), d%(24*time.Hour)/time.Hour)
	case d >= time.Hour:
		return fmt.Sprintf("%d h %d min", d/time.Hour, d%time.Hour/time.Minute)
	case d >= 10*time.Minute:
		return fmt.Sprintf("%d min", d/time.Minute)
	case d >= time.Minute:
		return fmt.Sprintf("%d min %d s", d/time.Minute, d%time.Minute/time.Second)
	default:
		return fmt.Sprintf("%d s", d/time.Second)
	}
}

// minutes writes a forecast, which is not known to the second.
func minutes(d time.Duration) string {
	m := int(d.Round(time.Minute) / time.Minute)
	if m >= 60 {
		return fmt.Sprintf("%d h %d min", m/60, m%60)
	}
	return fmt.Sprintf("%d min", m)
}

// stretch writes from and to, with the second day only where it is another.
func stretch(from, to time.Time) string {
	layout := dayLayout
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		layout = time.TimeOnly
	}
	return from.Format(dayLayout) + " to " + to.Format(layout)
}

// count writes a number with its noun.
func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return thousands(n) + " " + many
}

func thousands(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}

// how says in which way a cycle ended.
func (r *run) how() string {
	switch {
	case r.cutOff:
		return "cut off by the end of the recording"
	case r.kind == cycle.StoppedEarly:
		return "stopped early"
	case r.kind == cycle.Presumed:
		return "presumed over, as the meter was silent"
	default:
		return "finished"
	}
}

// forecast writes an estimate.
func forecast(e cycle.Estimate) string {
	if e.Overdue || e.Median < 30*time.Second {
		if e.High > longOverdue {
			return fmt.Sprintf("overdue, up to %s to go", minutes(e.High))
		}
		return fmt.Sprintf("any minute now (up to %s)", minutes(e.High))
	}
	about := ""
	if e.About {
		about = "about "
	}
	return fmt.Sprintf("%s%s to go (%s to %s)", about, minutes(e.Median), minutes(e.Low), minutes(e.High))
}

// longOverdue is how far the end may still be for "any minute now" to be fair.
const longOverdue = 30 * time.Minute
