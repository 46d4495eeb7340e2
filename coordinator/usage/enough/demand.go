package enough

import (
	"time"

	"drumturn/queue"
)

// Demand is what was seen of one kind of machine.
type Demand struct {
	// Arrivals is how many people on average came for one in each hour of the
	// week, local time: Arrivals[time.Sunday][14] from 14:00 to 15:00 on Sundays.
	Arrivals [7][24]float64
	// Answers are the times from a call until the machine was started, or until
	// the hold lapsed; Cycles those from the start until it was known that it was
	// over; Delays those from then until the drum was empty, or others could be called.
	// Each load draws one of each.
	Answers, Cycles, Delays []time.Duration
	// Seen is how many came, Left how many of those who joined the queue went
	// before they were called, in Weeks.
	Seen, Left int
	Weeks      float64
}

// Known reports whether enough was seen to say anything: thirty loads.
func (d *Demand) Known() bool { return len(d.Cycles) >= leastCycles && d.Weeks >= 1 && d.Seen > 0 }

const leastCycles = 30

// PerWeek is how many come in a week.
func (d *Demand) PerWeek() (n float64) {
	for _, day := range d.Arrivals {
		for _, v := range day {
			n += v
		}
	}
	return n
}

// taken is how long a load takes a machine on average.
func (d *Demand) taken() time.Duration { return mean(d.Answers) + mean(d.Cycles) + mean(d.Delays) }

func mean(all []time.Duration) (sum time.Duration) {
	if len(all) == 0 {
		return 0
	}
	for _, d := range all {
		sum += d
	}
	return sum / time.Duration(len(all))
}

// Case is a way that things might be.
type Case struct {
	Machines int
	// Collected is the longest that a load stays after it is known to be over; 0 for as it is.
	Collected time.Duration
}

// Room is when a room is open.
type Room struct {
	Hours queue.Hours
	Zone  *time.Location
}
