package queue

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestFiniteTable: COMPUTED outside this project, R queueing 0.2.12 and sums of
// another program agree. Rates per time; Delayed is as an arrival sees it.
func TestFiniteTable(t *testing.T) {
	for _, row := range []struct {
		eager, mu      float64
		servers, homes int

		p0, l, lq, through, wq, w, busy, delayed float64
	}{
		{0.1, 1, 1, 10, 0.21458234310734728, 2.1458234310734734, 1.3604057741808209, 0.7854176568926526, 1.7320794385537415, 2.732079438553741, 0.7854176568926525, 0.7267920561446256},
		{0.05, 1, 2, 20, 0.3525457972254591, 1.152747833527544, 0.21038522520392133, 0.9423626083236227, 0.2232529424933121, 1.223252942493312, 0.47118130416181137, 0.2704885587379347},
		{1. / 48, 1, 2, 12, 0.7800709698637998, 0.24766474529038546, 0.0028244274839352183, 0.24484031780645027, 0.011535794060551613, 1.0115357940605514, 0.12242015890322512, 0.020956554070380967},
		{0.1, 0.5, 3, 12, 0.10169132360088358, 2.308287091966124, 0.3699445103593494, 0.9691712908033877, 0.38171220492167746, 2.381712204921677, 0.6461141938689249, 0.32007914061560183},
		{0.1, 1, 1, 4, 0.6466632177961718, 0.4666321779617176, 0.11329539575788933, 0.35333678220382825, 0.3206442166910689, 1.320644216691069, 0.35333678220382825, 0.26793557833089315},
		{0.2, 1, 2, 6, 0.3197094480536088, 1.115351168857742, 0.13842140262929048, 0.9769297662284515, 0.14169022934338674, 1.1416902293433868, 0.48846488311422576, 0.21457744266415335},
		{0.02, 1, 2, 40, 0.4350603074386284, 0.9084430414079783, 0.12661190223613766, 0.7818311391718404, 0.16194277241278995, 1.1619427724127902, 0.39091556958592033, 0.2075963123586462},
	} {
		s := solved(t)(Finite(row.servers, row.homes, row.eager, row.mu))
		near(t, "P0", s.P0, row.p0, 1e-10)
		near(t, "L", s.L, row.l, 1e-10)
		near(t, "Lq", s.Lq, row.lq, 1e-10)
		near(t, "through", s.Through, row.through, 1e-10)
		near(t, "Wq", s.Wq, row.wq, 1e-10)
		near(t, "W", s.W, row.w, 1e-10)
		near(t, "busy", s.Busy, row.busy, 1e-10)
		near(t, "delayed", s.Delayed, row.delayed, 1e-10)
	}
}

// TestFiniteBalances: those who come are those who are served, Little's law
// holds, and homes as many as machines never wait.
func TestFiniteBalances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		servers := rapid.IntRange(1, 30).Draw(t, "servers")
		homes := rapid.IntRange(1, 2000).Draw(t, "homes")
		eager := rapid.Float64Range(1e-4, 10).Draw(t, "eager")
		s, err := Finite(servers, homes, eager, 1)
		if err != nil {
			t.Fatal(err)
		}
		if came := eager * (float64(homes) - s.L); math.Abs(came-s.Through) > 1e-6*(1+eager*float64(homes)) {
			t.Fatalf("%g come and %g are served", came, s.Through)
		}
		if math.Abs(s.L-s.Through*s.W) > 1e-9*s.L {
			t.Fatalf("L %g, but Little's law gives %g", s.L, s.Through*s.W)
		}
		if homes <= servers && (s.Wq != 0 || s.Delayed != 0) {
			t.Fatalf("%d homes wait for %d machines: %+v", homes, servers, s)
		}
	})
}

// TestFiniteTendsToMMc: very many homes that come very seldom are like arrivals
// at random. With 200 000 homes the two agree within a thousandth.
func TestFiniteTendsToMMc(t *testing.T) {
	const homes = 200_000
	f := solved(t)(Finite(3, homes, 2./homes, 1))
	m := solved(t)(MMc(3, 2, 1))
	near(t, "Wq", f.Wq, m.Wq, 1e-3)
	near(t, "P0", f.P0, m.P0, 1e-3)
	near(t, "delayed", f.Delayed, m.Delayed, 1e-3)
}

func TestFiniteRefuses(t *testing.T) {
	for _, c := range []struct {
		servers, homes int
		eager, mu      float64
	}{
		{0, 1, 1, 1}, {1, 0, 1, 1}, {1, -3, 1, 1}, {mostServers + 1, 5, 1, 1}, {1, mostServers + 1, 1, 1},
		{1, 1, -1, 1}, {1, 1, 1, 0}, {1, 1, math.NaN(), 1}, {1, 1, 1, math.Inf(1)}, {1, 9, 1e300, 1e-300},
	} {
		if s, err := Finite(c.servers, c.homes, c.eager, c.mu); err == nil || s != (Steady{}) {
			t.Errorf("%+v: %+v without an error", c, s)
		}
	}
	s := solved(t)(Finite(2, 40, 0, 1))
	if s.P0 != 1 || s.W != 1 || s.Wq != 0 {
		t.Errorf("homes that never come: %+v", s)
	}
}

// TestAnotherMachine: the question that the closed forms are there for. A house
// of 40 homes that each come every 50 hours for an hour waits with a third
// machine less than half as long as with two.
func TestAnotherMachine(t *testing.T) {
	two, three := solved(t)(Finite(2, 40, 0.02, 1)), solved(t)(Finite(3, 40, 0.02, 1))
	if three.Wq > two.Wq/2 {
		t.Errorf("mean wait %.3f h with two, %.3f h with three", two.Wq, three.Wq)
	}
}
