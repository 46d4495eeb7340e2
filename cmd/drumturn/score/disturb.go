package score

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"drumturn/coordinator/cycle"
)

// disturbance is another meter, machine or use than was recorded. What it does is
// invented, but what it does it to is not: the labels stay true, or move along.
type disturbance struct {
	name string
	// do changes a machine's recording; false when this one would stay as it is.
	do func(m *measured, rnd *rand.Rand) bool
}

// disturbances are all of them, in the order of the table. The meters are those of
// the trade; how often people stop a machine is unknown, so that each cycle is
// stopped once.
var disturbances = []disturbance{
	{"a fifth of the readings lost", dropped(0.2)},
	{"glow of 5 W after the end", glowing(5)},
	{"glow of 9 W after the end", glowing(9)},
	{"glow of 12 W after the end", glowing(12)},
	{"a reading each 30 s", looked(30*time.Second, held)},
	{"a reading each 60 s", looked(time.Minute, held)},
	{"a mean of each 30 s", looked(30*time.Second, mean)},
	{"a mean of each 60 s", looked(time.Minute, mean)},
	{"reports of changes", changed},
	{"stopped for 5 min in the midst", stopped(5*time.Minute, 2)},
	{"1.5 times the power", scaled(1.5)},
	{"steps of 2 W", stepped(2)},
	{"noise of 3 % and 0.4 W", noised},
}

// disturb is a copy of m under d, the same in each run; false when d would not change it.
func (d disturbance) disturb(m measured) (measured, bool) {
	h := fnv.New64a()
	h.Write([]byte(m.set + "/" + m.machine + ": " + d.name))
	m.readings, m.labels = slices.Clone(m.readings), slices.Clone(m.labels)
	ok := d.do(&m, rand.New(rand.NewPCG(h.Sum64(), 1)))
	return m, ok
}

func dropped(share float64) func(*measured, *rand.Rand) bool {
	return func(m *measured, rnd *rand.Rand) bool {
		m.readings = slices.DeleteFunc(m.readings, func(cycle.Reading) bool { return rnd.Float64() < share })
		return true
	}
}

// glowFor is for how long the display glows.
const glowFor = 40 * time.Minute

// glowing lets the display glow after each cycle, doubtful ones too.
func glowing(watts float64) func(*measured, *rand.Rand) bool {
	return func(m *measured, _ *rand.Rand) bool {
		k := 0
		for i := range m.readings {
			r := &m.readings[i]
			for k+1 < len(m.labels) && !r.At.Before(m.labels[k+1].Start) {
				k++
			}
			if after := r.At.Sub(m.labels[k].End); after > 0 && after <= glowFor {
				r.Watts = max(r.Watts, watts)
			}
		}
		return true
	}
}

// looked reads the meter by the clock: what it shows then, or the mean since.
func looked(each time.Duration, show func(rs []cycle.Reading, at time.Time, each time.Duration) float64) func(*measured, *rand.Rand) bool {
	return func(m *measured, _ *rand.Rand) bool {
		if usualInterval(m.readings) >= each*3/4 {
			return false
		}
		var out []cycle.Reading
		rs, from := m.readings, 0
		for i := range rs {
			last := i == len(rs)-1
			at := rs[i].At.Truncate(each)
			if at.Before(rs[i].At) {
				at = at.Add(each)
			}
			if !last && !rs[i+1].At.After(at) {
				continue
			}
			// rs[i] is the newest at this tick of the clock; the meter also shows it at
			// the next ones until a newer comes, but in a hole.
			for !at.After(rs[i].At.Add(lookedHole)) && (last || rs[i+1].At.After(at)) {
				for from < i && rs[from+1].At.Before(at.Add(-each)) {
					from++
				}
				out = append(out, cycle.Power(at, show(rs[from:i+1], at, each)))
				if last {
					break
				}
				at = at.Add(each)
			}
		}
		m.readings = out
		return true
	}
}

// lookedHole is for how long a reading is believed where the recording has a hole.
const lookedHole = 2 * time.Minute

// held is the newest reading's power, W.
func held(rs []cycle.Reading, _ time.Time, _ time.Duration) float64 { return rs[len(rs)-1].Watts }

// mean is the mean power of the time before an instant, W, each reading held until
// the next one.
func mean(rs []cycle.Reading, at time.Time, each time.Duration) float64 {
	from := at.Add(-each)
	var ws, known float64
	for i, r := range rs {
		a, b := r.At, at
		if i+1 < len(rs) {
			b = rs[i+1].At
		}
		if a.Before(from) {
			a = from
		}
		if d := min(b.Sub(a), lookedHole).Seconds(); d > 0 {
			ws, known = ws+d*r.Watts, known+d
		}
	}
	if known <= 0 {
		return rs[len(rs)-1].Watts
	}
	return ws / known
}

// usualInterval is the median time between readings.
func usualInterval(rs []cycle.Reading) time.Duration {
	var ds []time.Duration
	for i := 1; i < len(rs); i++ {
		ds = append(ds, rs[i].At.Sub(rs[i-1].At))
	}
	slices.Sort(ds)
	if len(ds) == 0 {
		return 0
	}
	return ds[len(ds)/2]
}

// changed leaves what a meter says that reports changes of more than 1 W and 3 %, and
// each five minutes; a hole stays one.
func changed(m *measured, _ *rand.Rand) bool {
	var out []cycle.Reading
	for i, r := range m.readings {
		if n := len(out); n > 0 {
			was := out[n-1]
			same := math.Abs(r.Watts-was.Watts) <= max(1, 0.03*was.Watts) && r.At.Sub(was.At) < 5*time.Minute
			if same && r.At.Sub(m.readings[i-1].At) < 5*time.Minute {
				continue
			}
		}
		out = append(out, r)
	}
	m.readings = out
	return true
}

// stopped lets each clean cycle stand still once, somewhere in the middle two fifths of
// it, at watts; everything after is later by that.
func stopped(long time.Duration, watts float64) func(*measured, *rand.Rand) bool {
	return func(m *measured, rnd *rand.Rand) bool {
		var out []cycle.Reading
		var shift time.Duration
		rs := m.readings
		upTo := func(at time.Time) {
			for len(rs) > 0 && rs[0].At.Before(at) {
				r := rs[0]
				r.At = r.At.Add(shift)
				out, rs = append(out, r), rs[1:]
			}
		}
		for i := range m.labels {
			l := &m.labels[i]
			at := l.Start.Add(time.Duration((0.3 + 0.4*rnd.Float64()) * float64(l.length())))
			start, end := l.Start.Add(shift), l.End.Add(shift)
			if upTo(at); l.Quality == Clean && len(out) > 1 && len(rs) > 0 {
				each := max(time.Second, min(long, rs[0].At.Add(shift).Sub(out[len(out)-1].At)))
				from := out[len(out)-1].At
				for d := each; d <= long; d += each {
					out = append(out, cycle.Power(from.Add(d), watts))
				}
				shift += long
				end = end.Add(long)
			}
			l.Start, l.End = start, end
		}
		upTo(time.Unix(1<<40, 0))
		m.readings = out
		return true
	}
}

func scaled(by float64) func(*measured, *rand.Rand) bool {
	return each(func(w float64, _ *rand.Rand) float64 { return by * w })
}

// stepped rounds to whole steps, as a cheap meter does.
func stepped(watts float64) func(*measured, *rand.Rand) bool {
	return each(func(w float64, _ *rand.Rand) float64 { return watts * math.Round(w/watts) })
}

var noised = each(func(w float64, rnd *rand.Rand) float64 {
	return max(0, w+(2*rnd.Float64()-1)*(0.4+0.03*w))
})

// each changes the power of each reading.
func each(f func(w float64, rnd *rand.Rand) float64) func(*measured, *rand.Rand) bool {
	return func(m *measured, rnd *rand.Rand) bool {
		for i := range m.readings {
			m.readings[i].Watts = f(m.readings[i].Watts, rnd)
		}
		return true
	}
}
