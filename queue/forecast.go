package queue

import "time"

// Span is a time with its uncertainty: Low <= Median <= High.
type Span struct{ Low, Median, High time.Duration }

// Supply is one machine as the forecast sees it.
type Supply struct {
	Machine Machine
	// FreeIn is how long until the machine can be called to.
	FreeIn Span
	// Usable is false for a machine that is out or of which nothing is known.
	Usable bool
}

// Outlook is what the forecast needs besides the line and the machines.
type Outlook struct {
	// Length is how long a load for a need occupies a machine, from the call to the
	// next call: walking down, the cycle, and the wait until it is collected.
	Length func(Need) Span
}

// Guess says when a turn will be called, counted from now. OK is false when no
// usable machine serves it.
type Guess struct {
	In Span
	OK bool
}

// Forecast plays the line through the machines in order, first come first
// served, once each with short, typical and long lengths, and says when each
// waiting turn is called. Its cost is turns times machines.
func Forecast(line Line, supplies []Supply, o Outlook, now time.Time) []Guess {
	guesses := make([]Guess, len(line))
	for q := range 3 {
		free := make([]time.Duration, len(supplies))
		for i := range supplies {
			free[i] = supplies[i].FreeIn.pick(q)
		}
		for i := range line {
			if line[i].State != Waiting {
				continue
			}
			at, ok := place(&line[i], supplies, free, o, q, now)
			guesses[i].OK = ok
			guesses[i].In.set(q, at)
		}
	}
	return guesses
}

// place gives the turn the machine that is free first and occupies it.
func place(t *Turn, supplies []Supply, free []time.Duration, o Outlook, q int, now time.Time) (time.Duration, bool) {
	best := -1
	for i := range supplies {
		if !supplies[i].Usable || t.Fits(&supplies[i].Machine) != Yes {
			continue
		}
		if best < 0 || free[i] < free[best] {
			best = i
		}
	}
	if best < 0 {
		return 0, false
	}
	at := max(free[best], t.NotBefore.Sub(now), t.Recall.Sub(now), 0)
	free[best] = at + o.lasting(t.Need, q)
	return at, true
}

func (s *Span) pick(q int) time.Duration { return [...]time.Duration{s.Low, s.Median, s.High}[q] }

func (s *Span) set(q int, d time.Duration) {
	*[...]*time.Duration{&s.Low, &s.Median, &s.High}[q] = d
}

func (o Outlook) lasting(n Need, q int) time.Duration {
	s := o.Length(n)
	return s.pick(q)
}
