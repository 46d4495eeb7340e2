package cycle

import (
	"errors"
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
