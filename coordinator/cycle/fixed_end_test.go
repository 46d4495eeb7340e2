package cycle

import (
	"testing"
	"time"
)

// runs plays washes of some lengths in minutes with a standby after each.
func runs(t *testing.T, standby float64, minutes ...int) *tape {
	p := newFixedTape(t, 10*time.Second)
	p.power(standby, 5*time.Minute)
	for _, m := range minutes {
		p.power(400, time.Duration(m)*time.Minute).power(standby, 5*time.Minute)
	}
	return p
}

func kinds(events []Event) (k []Kind) {
	for _, e := range events {
		k = append(k, e.Kind)
	}
	return k
}

func TestFixedStoppedEarlyByMains(t *testing.T) {
	for _, c := range []struct {
		what    string
		standby float64
		before  []int
		minutes int
		after   float64
		want    Kind
	}{
		{"mains cut", 1.8, []int{60, 60}, 40, 0, StoppedEarly},
		{"as long as known: switched off by who came for it", 1.8, []int{60, 60}, 58, 0, Finished},
		{"standby as ever", 1.8, []int{60, 60}, 40, 1.7, Finished},
		{"one end is too little to know the standby", 1.8, []int{60}, 40, 0, Finished},
		{"a machine of 0 W standby", 0, []int{60, 60}, 40, 0, Finished},
		{"a standby that is hardly there", 0.4, []int{60, 60}, 40, 0, Finished},
	} {
		p := runs(t, c.standby, c.before...)
		p.events = nil
		p.power(400, time.Duration(c.minutes)*time.Minute).power(c.after, 5*time.Minute)
		if got := p.cycles(); len(got) != 2 || got[1].Kind != c.want {
			t.Errorf("%s: %v, want %v", c.what, kinds(got), c.want)
		}
	}
}

func TestFixedForgetsAnOddStandby(t *testing.T) {
	var s fixedStandby
	s.keep(0)
	for range lastRunKeeps + 5 {
		s.keep(1.8)
	}
	if !s.missing(0) || s.missing(1) {
		t.Errorf("one end without standby is held against the machine for ever: %+v", s)
	}
}

func TestFixedStoppedEarlyByLength(t *testing.T) {
	last := func(p *tape) Kind {
		got := p.of(Finished, StoppedEarly)
		return got[len(got)-1].Kind
	}
	for _, c := range []struct {
		what    string
		minutes []int
		want    Kind
	}{
		{"far below every run", []int{60, 90, 60, 20}, StoppedEarly},
		{"half of the shortest", []int{60, 90, 60, 30}, Finished},
		{"two runs are too little history", []int{60, 90, 20}, Finished},
		{"the same short length again is a programme", []int{60, 90, 60, 20, 21}, Finished},
		{"another short length is not", []int{60, 90, 60, 20, 10}, StoppedEarly},
		{"nor is the same after a long one", []int{60, 90, 60, 20, 60, 20}, StoppedEarly},
	} {
		if got := last(runs(t, 0, c.minutes...)); got != c.want {
			t.Errorf("%s: %v, want %v", c.what, got, c.want)
		}
	}
}

// Somebody switched the machine on, looked, and went: nothing turned.
func TestFixedStoppedEarlyWithoutAMotor(t *testing.T) {
	p := newFixedTape(t, 10*time.Second)
	p.power(0, time.Minute).power(8, 6*time.Minute).power(0, 5*time.Minute)
	early := p.one(StoppedEarly)
	p.at("start", early.Start, 70)
	p.power(150, 40*time.Minute)
	if r, ok := p.engine.Remaining(p.now); !ok || !r.About {
		t.Errorf("a lit display counts as a run: %+v", r)
	}
}
