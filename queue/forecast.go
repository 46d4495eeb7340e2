package queue

import "time"

// Supply is one machine as the forecast sees it.
type Supply struct {
	Machine Machine
	// Usable is false for a machine that is out or of which nothing is known.
	Usable bool
	// Running: a cycle runs, which is declared finished in Ends from now.
	Running bool
	Ends    Spread
	// Load numbers the load inside (Turn.Behind refers to it), 0 for none; Home is
	// whose it is, empty when nobody's.
	Load uint64
	Home HomeID
	// Waited is how long the load, when nothing runs, has been waiting since its
	// owner was told; CallIn is in how long the next turn is called although it is still inside.
	Waited, CallIn time.Duration
}

// Outlook is what the forecast knows of how people in the room behave, and of
// its rules.
type Outlook struct {
	// Cycle is how long a cycle takes from its start until it is declared finished.
	Cycle func(Need) Spread
	// WalkDown is how long a called resident takes to start the machine, of those
	// who do within the hold.
	WalkDown Spread
	// Missed is the share of calls that lapse, 0 to 1.
	Missed float64
	// WayAdds is how much longer a machine is held for who says that they are on
	// their way. WayMissed is the share of those who do not come all the same, and
	// MissedSaid how many of all who do not come had said it, 0 to 1.
	WayAdds               time.Duration
	WayMissed, MissedSaid float64
	// Collect is how long a finished load stays after its owner was told. After
	// CallAfter the next turn is called although the load is inside.
	Collect   Spread
	CallAfter time.Duration
	// Hold is how long a machine is held for a home.
	Hold func(HomeID) time.Duration
	// Ahead is how long before a wash is declared finished the dryer booked behind it
	// may be called; the hold counts from there.
	Ahead time.Duration
	// RecallAfter is how long a turn that missed its call is not called again,
	// unless another is called before.
	RecallAfter time.Duration
	// Seed decides the draws; the same seed gives the same forecast.
	Seed uint64
}

// Guess says when a turn will be called, counted from now: the 10th, 50th and
// 90th percentile, so that In is an 80 % interval. OK is false when that cannot be
// said: no usable machine serves it, or it is more likely than not farther away
// than two weeks.
type Guess struct {
	In Span
	OK bool
}

// Prospect is a forecast of a room.
type Prospect struct {
	// Turns are in the order of the line; those that do not wait have no guess.
	Turns []Guess
	// Join, by Need, is for a newcomer without wishes who joins the line now.
	Join [WashAndDry + 1]Guess
}

// Forecast says when each waiting turn is likely to be called. It plays the room
// a hundred times or more into the future, by the rules that Eligible and Line know and
// with lengths drawn from what the room has learned, and takes percentiles. Who
// joins later, or walks up, is not foreseen.
//
// house is as for Eligible: its Loads count a called turn like a load. A nil
// house has no limits and never closes.
func Forecast(line Line, supplies []Supply, house *House, o *Outlook, now time.Time) Prospect {
	w := newWorld(line, supplies, house, o, now)
	p := newPlay(w)
	for round := range w.lots.rounds() {
		p.play(round)
	}
	prospect := Prospect{Turns: make([]Guess, len(line))}
	for i := range line {
		if line[i].State == Waiting {
			prospect.Turns[i] = p.guess(i)
		}
	}
	for k, need := range newcomers {
		prospect.Join[need] = p.guess(w.ghosts + k)
	}
	return prospect
}
