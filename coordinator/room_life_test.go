package coordinator

import (
	"testing"
	"time"

	"drumturn/queue"
)

// life follows one machine and writes down every status that it shows.
type life struct {
	*scene
	id   MachineID
	seen []lived
}

// lived is a status as the board showed it: from when, and until when it was
// said to last; minutes after the beginning, -1 for none.
type lived struct {
	status       Status
	since, until int
}

// look writes down the machine's status when it is another, or has another since.
func (l *life) look() {
	v := l.room.Snapshot(l.now).Machine(l.id)
	minutes := func(t time.Time) int {
		if t.IsZero() {
			return -1
		}
		return int(t.Sub(noon).Round(time.Minute) / time.Minute)
	}
	s := lived{v.Status, minutes(v.Since), minutes(v.Until)}
	if n := len(l.seen); n > 0 && l.seen[n-1].status == s.status && l.seen[n-1].since == s.since {
		return
	}
	l.seen = append(l.seen, s)
}

// pass lets minutes pass and looks after each.
func (l *life) pass(minutes int) {
	for range minutes {
		l.wait(time.Minute)
		l.look()
	}
}

func (l *life) act(ev Event) {
	l.Helper()
	l.do(ev)
	l.look()
}

func (l *life) power(w float64) {
	l.watts(l.id, w)
	l.look()
}

// dark lets no meter be heard for minutes.
func (l *life) dark(minutes int) {
	for range minutes {
		l.now = l.now.Add(time.Minute)
		l.do(Tick{})
		l.look()
	}
}

// TestWholeLife follows a washer through every status: what it shows, since
// when, and until when. A status begins where the one before ends, but for ends
// that are back-dated: work, and the silence of a meter.
func TestWholeLife(t *testing.T) {
	l := &life{scene: newScene(t, oneWasher), id: "w1"}
	l.look()
	l.pass(5)
	l.join("anna", queue.Wash)
	l.look() // 5
	l.pass(10)
	l.pass(10) // a missed call: free to 25, then called again
	l.pass(2)
	l.power(300) // 27
	l.pass(60)
	l.power(1) // 87
	l.pass(13)
	l.act(Collect{Machine: "w1", Person: "anna", Home: "home-anna"}) // 100
	l.pass(10)
	l.act(TakeOut{Machine: "w1", Text: "Belt"}) // 110
	l.pass(30)
	l.act(PutBack{Machine: "w1"}) // 140
	l.dark(20)
	l.power(1) // 160
	l.pass(10)
	l.power(300) // 170, a walk-up
	l.pass(60)
	l.power(1) // 230
	l.pass(190)
	l.join("ben", queue.Wash) // 420
	l.look()
	l.pass(3)
	l.act(Leave{Turn: 2, Person: "ben"}) // 423
	want := []lived{
		{Free, 0, -1}, {Held, 5, 15}, {Free, 15, -1}, {Held, 25, 35}, {Running, 27, 87},
		{Finished, 87, -1}, {Overdue, 97, -1}, {Free, 100, -1}, {Out, 110, -1}, {Free, 140, -1},
		{Unknown, 140, -1}, {Free, 160, -1}, {Running, 170, 230}, {Finished, 230, -1}, {Overdue, 240, -1},
		{Free, 410, -1}, {Held, 420, 430}, {Free, 423, -1},
	}
	for i := range max(len(want), len(l.seen)) {
		if i >= len(want) || i >= len(l.seen) || want[i] != l.seen[i] {
			t.Fatalf("status %d of the life is not as it should be:\n got %v\nwant %v", i, l.seen[min(i, len(l.seen)):], want[min(i, len(want)):])
		}
	}
}

// TestStatusWords: each status has a word of its own, and what is none has "?".
func TestStatusWords(t *testing.T) {
	words := map[Status]string{
		Free: "free", Held: "held", Running: "running", Finished: "finished", Overdue: "overdue", Unknown: "unknown", Out: "out",
		0: "?", Out + 1: "?", 255: "?",
	}
	for s, want := range words {
		text, err := s.MarshalText()
		if s.String() != want || string(text) != want || err != nil {
			t.Errorf("status %d is %q (%s, %v), want %q", s, s.String(), text, err, want)
		}
	}
}

// TestStatusPrecedence: what wins when several things are true of a machine.
func TestStatusPrecedence(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*scene)
		want Status
	}{
		{"out wins over running", func(s *scene) { s.watts("w1", 300); s.do(TakeOut{Machine: "w1"}) }, Out},
		{"out wins over silence", func(s *scene) {
			s.do(TakeOut{Machine: "w1"})
			s.now = s.now.Add(time.Hour)
			s.do(Tick{})
		}, Out},
		{"silence wins over running", func(s *scene) {
			s.watts("w1", 300)
			s.now = s.now.Add(11 * time.Minute)
			s.do(Tick{})
		}, Unknown},
		{"silence wins over a load", func(s *scene) {
			s.cycle("w1", time.Hour)
			s.now = s.now.Add(11 * time.Minute)
			s.do(Tick{})
		}, Unknown},
		{"by hand wins over silence", func(s *scene) {
			s.now = s.now.Add(11 * time.Minute)
			s.do(ByHand{Machine: "w1", On: true})
		}, Free},
		{"a load wins over the call to it", func(s *scene) {
			s.cycle("w1", time.Hour)
			s.join("anna", queue.Wash)
			s.wait(46 * time.Minute)
			if s.room.Snapshot(s.now).Machine("w1").Hold == nil {
				s.Fatal("nobody was called")
			}
		}, Overdue},
		{"a call wins over a load assumed gone", func(s *scene) {
			s.cycle("w1", time.Hour)
			s.wait(3 * time.Hour)
			s.join("anna", queue.Wash)
		}, Held},
		{"a report of a fault changes nothing", func(s *scene) { s.do(ReportFault{Machine: "w1", Text: "It hums."}) }, Free},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newScene(t, oneWasher)
			c.do(s)
			s.wantStatus("w1", c.want)
		})
	}
}

// TestGraceMoves with the ladder: a supply interruption and a contradicted
// report put off when a load is overdue, on the board and for the nudge alike.
func TestGraceMoves(t *testing.T) {
	s := newScene(t, oneWasher)
	s.join("anna", queue.Wash)
	s.cycle("w1", time.Hour)
	s.wait(4 * time.Minute)
	s.do(Collect{Machine: "w1"})
	s.wait(30 * time.Minute)
	s.do(StillInside{Machine: "w1", Person: "anna", Home: "home-anna"})
	s.wantStatus("w1", Finished)
	s.wait(6*time.Minute - time.Second)
	s.wantStatus("w1", Finished)
	s.wantTold(LoadNudge)
	s.wait(time.Second)
	s.wantStatus("w1", Overdue)
	s.wantTold(LoadNudge, "anna")
	if v := s.room.Snapshot(s.now).Machine("w1"); v.Since.Sub(v.Load.ToldAt).Round(time.Second) != 40*time.Minute {
		t.Fatalf("overdue since %s, told at %s; want 10 minutes of grace and 30 in which it was thought gone", v.Since, v.Load.ToldAt)
	}
}
