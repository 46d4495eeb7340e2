package year

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/meter/sim"
	"drumturn/queue"
)

// Wish is one load that somebody wants washed, with all that is decided about it
// whatever the policy.
type Wish struct {
	Number int // from 0
	At     time.Time
	Home   int
	// Dries: it wants a dryer after its wash; BooksDryer: and books it with the wash.
	Dries, BooksDryer bool
	// WalksUp: its owner never uses a queue or a list.
	WalksUp bool
	// Programme and Kg are of the wash; WashFor and DryFor how long it runs.
	Programme       sim.Programme
	Kg              float64
	WashFor, DryFor time.Duration

	seed   uint64
	habits *Habits
	taps   float64
}

// Arrivals invents the wishes of a setting, in their order.
func Arrivals(s *Setting) []Wish {
	rng := rand.New(rand.NewPCG(s.Seed, 0xa221))
	var list []Wish
	weights, total := homeWeights(rng, s.Homes)
	for day := range s.Days {
		midnight := s.Born.AddDate(0, 0, day)
		h := s.habitsAt(midnight)
		weekend := 0
		if d := midnight.Weekday(); d == time.Saturday || d == time.Sunday {
			weekend = 1
		}
		for hour, keen := range hourly[weekend] {
			rate := keen * h.Weekly * float64(s.Homes) / weekOfKeenness()
			for at := rng.ExpFloat64() / rate; at < 1; at += rng.ExpFloat64() / rate {
				when := midnight.Add(time.Duration((float64(hour) + at) * float64(time.Hour)))
				list = append(list, invent(s, len(list), when, pickHome(rng, weights, total)))
			}
		}
	}
	return list
}

// weekOfKeenness is the sum over the hours of a week.
func weekOfKeenness() float64 {
	var sum [2]float64
	for d := range hourly {
		for _, k := range hourly[d] {
			sum[d] += k
		}
	}
	return 5*sum[0] + 2*sum[1]
}

// homeWeights lets some homes wash more than others.
func homeWeights(rng *rand.Rand, homes int) (weights []float64, total float64) {
	for range homes {
		w := math.Exp(0.5 * rng.NormFloat64())
		weights, total = append(weights, w), total+w
	}
	return weights, total
}

func pickHome(rng *rand.Rand, weights []float64, total float64) int {
	u := rng.Float64() * total
	for i, w := range weights {
		if u -= w; u < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// invent draws what is decided about a wish.
func invent(s *Setting, number int, at time.Time, home int) Wish {
	w := Wish{Number: number, At: at, Home: home, seed: s.Seed, habits: s.habitsAt(at)}
	h := w.habits
	w.Dries, w.BooksDryer, w.WalksUp = w.share(drying, 0) < h.Dries, w.share(booking, 0) < h.BooksDryer, w.share(walking, 0) < h.WalksUp
	w.Kg = 2.5 + 4*w.share(weight, 0)
	if unit(s.Seed, uint64(home), tapping, 0) >= h.NeverTap {
		w.taps = h.Taps
	}
	u := w.share(programme, 0)
	for _, p := range programmes {
		if w.Programme = p.what; u < p.share {
			break
		}
		u -= p.share
	}
	w.WashFor, w.DryFor = w.course(queue.Washer).End, w.course(queue.Dryer).End
	return w
}

// The machines are all of these makes.
var makes = map[queue.Kind]sim.Model{queue.Washer: model("washer"), queue.Dryer: model("dryer")}

func model(name string) sim.Model {
	m, err := sim.ModelNamed(name)
	if err != nil {
		panic(err) // the names above are wrong
	}
	m.OffW = 0.5
	return m
}

// course is the wish's run on a kind of machine, the same on each of them.
func (w *Wish) course(kind queue.Kind) sim.Course {
	p := w.Programme
	if kind == queue.Dryer {
		p = sim.Dry
	}
	c, err := sim.Make(makes[kind], p, sim.Laundry{Kg: w.Kg}, w.seed<<32+uint64(w.Number))
	if err != nil {
		panic(err) // every programme above is one of its machine
	}
	return c
}

// person and home are the ids under which the room knows the wish's owner. Each
// wish has a person of its own.
func (w *Wish) person() coordinator.PersonID {
	return coordinator.PersonID(fmt.Sprint("p", w.Number))
}

func (w *Wish) home() coordinator.HomeID { return coordinator.HomeID(fmt.Sprint("home-", w.Home)) }
