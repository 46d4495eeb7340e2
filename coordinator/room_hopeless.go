package coordinator

import (
	"time"

	"drumturn/queue"
)

// TooLong is work that takes longer here, as the room has learned, than the opening
// hours of any day of the week leave: a turn for it waits in vain.
type TooLong struct {
	Need            queue.Need
	Length, Longest time.Duration
}

// tooLong lists the work that the room's machines can do and its hours never allow.
func (r *Room) tooLong() []TooLong {
	longest, limited := r.state.Rules.Hours.Longest()
	if !limited {
		return nil
	}
	var out []TooLong
	for _, need := range [...]queue.Need{queue.Wash, queue.Dry, queue.WashAndDry} {
		length := r.state.Learned.typical(need)
		if length > longest && r.serves(&queue.Turn{Need: need}) {
			out = append(out, TooLong{need, length, longest})
		}
	}
	return out
}

// Hopeless is why a waiting turn cannot be called as things stand, for who looks at it.
type Hopeless struct {
	// TooLong is set when no day is long enough for it.
	TooLong *TooLong
	// NoMachine: every machine that it could use is out of service, or unknown.
	NoMachine bool
}

// Hopeless says why a waiting turn cannot be called as things stand; false when it can.
func (s *Snapshot) Hopeless(t *queue.Turn) (Hopeless, bool) {
	for i := range s.TooLong {
		if s.TooLong[i].Need == t.Need {
			return Hopeless{TooLong: &s.TooLong[i]}, true
		}
	}
	for i := range s.Machines {
		m := &s.Machines[i]
		if t.Fits(&m.Machine.Machine) == queue.Yes && m.Status != Out && m.Status != Unknown {
			return Hopeless{}, false
		}
	}
	return Hopeless{NoMachine: true}, true
}
