package cycle

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"
)

func TestKnowledge(t *testing.T) {
	e := New(washer())
	if k := e.Knowledge(); k.Cycles != 0 || len(k.Programmes) != 0 || k.WorkW <= 0 {
		t.Errorf("of a new machine: %+v", k)
	}
	g := newProgrammes(2)
	at := t0
	for i := range 8 {
		c := g.wash(at)
		if i%4 == 3 { // now and then a quick one
			c.pieces = append(c.pieces[:4:4], c.pieces[len(c.pieces)-6:]...)
		}
		at = feed(t, e, c, 5*time.Second)
	}
	k := e.Knowledge()
	if k.Cycles != 8 || len(k.Programmes) != 2 || k.Programmes[0].Runs != 6 || k.Programmes[1].Runs != 2 {
		t.Fatalf("%+v", k)
	}
	if p := k.Programmes; p[0].Length <= p[1].Length || p[0].Wh < 300 || p[0].Wh > 1200 {
		t.Errorf("%+v", p)
	}
	if k.DrumW < 70 || k.DrumW > 200 || k.HeatW < 600 || k.GlowW > 4 {
		t.Errorf("%+v", k)
	}
	e.Forget()
	if k := e.Knowledge(); k.Cycles != 0 || len(k.Programmes) != 0 {
		t.Errorf("after forgetting: %+v", k)
	}
}

// runsOf are runs of so many minutes at a power, each of a group of its own.
func runsOf(number *int, watts float64, minutes ...float64) (all []run) {
	for _, m := range minutes {
		*number++
		all = append(all, run{Programme: *number, Length: time.Duration(m * float64(time.Minute)), Wh: watts * m / 60})
	}
	return all
}

// TestOneProgrammeForPeople: what differs by its load alone is one programme, from its
// shortest run to its longest; what differs in power, or leaves a gap, is another.
func TestOneProgrammeForPeople(t *testing.T) {
	for _, c := range []struct {
		name string
		runs func(n *int) []run
		want [][3]float64 // runs, shortest, longest (min), the most used first
	}{
		{"a dryer with a sensor", func(n *int) []run { return runsOf(n, 700, 60, 66, 75, 85, 92, 114, 135, 61, 84) }, [][3]float64{{9, 60, 135}}},
		{"and a load far beyond", func(n *int) []run { return runsOf(n, 700, 60, 75, 92, 245, 247) }, [][3]float64{{3, 60, 92}, {2, 245, 247}}},
		{"drying with little heat besides", func(n *int) []run { return append(runsOf(n, 1600, 40, 50, 60), runsOf(n, 900, 45, 55)...) }, [][3]float64{{3, 40, 60}, {2, 45, 55}}},
		{"washes of one length, hot and cold", func(n *int) []run { return append(runsOf(n, 380, 95, 96, 97), runsOf(n, 95, 95, 96)...) }, [][3]float64{{3, 95, 97}, {2, 95, 96}}},
		{"power that scatters a little", func(n *int) []run {
			return append(append(runsOf(n, 1580, 30, 40), runsOf(n, 1660, 35)...), runsOf(n, 1500, 45)...)
		}, [][3]float64{{4, 30, 45}}},
		{"no energy at all", func(n *int) []run { return runsOf(n, 0, 30, 35) }, [][3]float64{{2, 30, 35}}},
		{"nothing", func(*int) []run { return nil }, nil},
	} {
		e, n := New(washer()), 0
		e.mem.Past.Runs = c.runs(&n)
		got := e.Knowledge().Programmes
		if len(got) != len(c.want) {
			t.Errorf("%s: %+v", c.name, got)
			continue
		}
		for i, p := range got {
			if float64(p.Runs) != c.want[i][0] || p.Shortest.Minutes() != c.want[i][1] || p.Longest.Minutes() != c.want[i][2] || p.Length < p.Shortest || p.Length > p.Longest || p.Wh < p.LeastWh || p.Wh > p.MostWh {
				t.Errorf("%s: programme %d is %+v, want %v", c.name, i, p, c.want[i])
			}
		}
		if again := e.Knowledge().Programmes; !slices.Equal(got, again) {
			t.Errorf("%s: asked again, other programmes", c.name)
		}
	}
}

// TestOffAProgramme: within its bounds a cycle is of it, a little beyond nearly.
func TestOffAProgramme(t *testing.T) {
	wide := &Programme{Length: time.Hour, Wh: 700, Shortest: 40 * time.Minute, Longest: 90 * time.Minute, LeastWh: 450, MostWh: 1100}
	narrow := &Programme{Length: time.Hour, Wh: 700}
	for _, c := range []struct {
		p        *Programme
		minutes  float64
		wh       float64
		min, max float64
	}{
		{wide, 60, 700, 0, 0}, {wide, 40, 450, 0, 0}, {wide, 90, 1100, 0, 0}, {wide, 92, 1100, 0.1, 0.5}, {wide, 120, 1100, 1.1, 9}, {wide, 60, 3000, 1.1, 9},
		{narrow, 60, 700, 0, 0}, {narrow, 64, 700, 0.5, 1}, {narrow, 70, 700, 1.1, 9}, {narrow, 60, 60, 1.1, 9},
	} {
		if off := c.p.Off(time.Duration(c.minutes*float64(time.Minute)), c.wh); off < c.min || off > c.max {
			t.Errorf("%v min and %v Wh are off %+v by %v, want %v to %v", c.minutes, c.wh, *c.p, off, c.min, c.max)
		}
	}
}

func TestLearnedIsDeterministicInItsCheckpoint(t *testing.T) {
	a, _ := learnedWith(t, 3)
	b, _ := learnedWith(t, 3)
	x, err := a.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	y, err := b.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	if string(x.Data) != string(y.Data) || x.Engine != learnedName || x.Version != learnedVersion {
		t.Error("the same readings give another checkpoint")
	}
}

func TestCheckpointOfAYear(t *testing.T) {
	e, _ := learnedWith(t, 2*runsKept)
	c, err := e.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	if len(c.Data) > 64<<10 {
		t.Errorf("%d bytes", len(c.Data))
	}
	if n := len(e.mem.Past.Runs); n != runsKept {
		t.Errorf("%d runs kept", n)
	}
}

func TestRestoreRefusesWhatCannotBe(t *testing.T) {
	e, _ := learnedWith(t, 1)
	good, err := e.Checkpoint()
	if err != nil {
		t.Fatal(err)
	}
	for from, to := range map[string]string{
		`"WorkW":8`:       `"WorkW":0`,
		`"Marks":[`:       `"Marks":[-1,`,
		`"Cycles":1`:      `"Cycles":-1`,
		`"Running":false`: `"Running":true,"Start":"0001-01-01T00:00:00Z","X":0`,
	} {
		bad := good
		bad.Data = []byte(strings.Replace(string(good.Data), from, to, 1))
		if string(bad.Data) == string(good.Data) {
			t.Errorf("no %s in the checkpoint", from)
			continue
		}
		if from == `"Running":false` {
			bad.Data = []byte(strings.Replace(string(bad.Data), `"Start":"2025`, `"Start0":"2025`, 1))
		}
		err := e.Restore(bad)
		if err == nil {
			t.Errorf("%s taken", to)
		}
		if errors.Is(err, ErrVersion) {
			t.Errorf("%s is of this version: %v", to, err)
		}
	}
}

// TestNoAllocationInACycle: folding a reading inside a cycle allocates nothing.
func TestNoAllocationInACycle(t *testing.T) {
	e, at := learnedWith(t, 5)
	rs := sample(newProgrammes(77).wash(at), time.Second)
	from := 11 * 60
	watchAll(e, rs[:from])
	i := from
	n := testing.AllocsPerRun(len(rs)/2-from, func() {
		e.Read(rs[i].At, rs[i])
		i++
	})
	if n != 0 || !e.Status().Running {
		t.Errorf("%v allocations a reading, running %v", n, e.Status().Running)
	}
}

func BenchmarkLearnedRemaining(b *testing.B) {
	e, at := learnedWith(b, 30)
	rs := sample(newProgrammes(77).wash(at), 8*time.Second)
	watchAll(e, rs[:len(rs)/2])
	now := rs[len(rs)/2].At
	b.ReportAllocs()
	for b.Loop() {
		e.Remaining(now)
	}
}

// BenchmarkLearnedCycle is a whole cycle, from idle to idle, of 8 s readings.
func BenchmarkLearnedCycle(b *testing.B) {
	e, at := learnedWith(b, 30)
	c, err := e.Checkpoint()
	if err != nil {
		b.Fatal(err)
	}
	rs := sample(newProgrammes(77).wash(at), 8*time.Second)
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		if err := e.Restore(c); err != nil {
			b.Fatal(err)
		}
		b.StartTimer()
		watchAll(e, rs)
	}
	b.ReportMetric(float64(len(rs)), "readings/op")
}
