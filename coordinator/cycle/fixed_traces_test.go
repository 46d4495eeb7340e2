package cycle

import (
	"testing"
	"time"
)

// The labels are reference labels made with hindsight for measured machines of two
// open datasets. Contains information from the tracebase data set, which is made
// available at http://www.tracebase.org under the Open Database License (ODbL).
// REFIT: D. Murray, L. Stankovic, V. Stankovic, An electrical load measurements
// dataset of United Kingdom households from a two-year longitudinal study,
// Scientific Data 4:160122 (2017), CC BY 4.0, as means of 30 s.

// matches pairs told cycles with counted labels whose intersection over union is
// at least 0.7; extra are told cycles that meet no label at all.
func matches(told []Event, all []label) (pairs map[int]Event, counted, extra int) {
	pairs = map[int]Event{}
	for i, l := range all {
		if l.quality == "doubtful" {
			continue
		}
		counted++
		for _, e := range told {
			if overlap(l.start, l.end, e.Start, e.End) >= 0.7 {
				pairs[i] = e
			}
		}
	}
	for _, e := range told {
		met := false
		for _, l := range all {
			met = met || overlap(l.start, l.end, e.Start, e.End) > 0
		}
		if !met {
			extra++
		}
	}
	return pairs, counted, extra
}

func traceSettings(dryer bool, idleBelowW float64) Settings {
	s := DefaultSettings()
	s.Dryer, s.Washer = dryer, !dryer
	if idleBelowW > 0 {
		s.IdleBelowW = idleBelowW
	}
	return s
}

// Washers that go down to 1-3 W when they are done are what the rule is for: every
// cycle is found, with its start, its end, and its energy.
func TestFixedOnMeasuredWashers(t *testing.T) {
	for _, c := range []struct {
		machine string
		want    int
	}{
		{"tracebase/washer-1", 2}, {"tracebase/washer-3", 5},
		{"tracebase/washer-8", 6}, {"tracebase/washer-9", 23},
	} {
		all := labels(t, c.machine)
		told := watch(NewFixed(traceSettings(false, 0)), trace(t, c.machine))
		pairs, counted, extra := matches(told, all)
		t.Logf("%s: %d labels, %d found, %d of them extra", c.machine, counted, len(pairs), extra)
		if counted != c.want || len(pairs) != counted || extra > 0 {
			t.Errorf("%s: %d labels, %d found, %d extra; want all of %d and no more", c.machine, counted, len(pairs), extra, c.want)
		}
		for i, e := range pairs {
			checkMeasured(t, c.machine, all[i], e)
		}
	}
}

// checkMeasured compares one cycle with its label, which is good to 30 s at the
// start and 15 s at the end; a display that glows around the threshold may cost
// 45 s more.
func checkMeasured(t *testing.T, machine string, l label, e Event) {
	t.Helper()
	start, end, told := e.Start.Sub(l.start), e.End.Sub(l.end), e.At.Sub(e.End)
	if start.Abs() > 30*time.Second || end < -15*time.Second || end > time.Minute {
		t.Errorf("%s at %v: start off by %v, end by %v", machine, l.start, start, end)
	}
	if told < 3*time.Minute || told > 3*time.Minute+15*time.Second {
		t.Errorf("%s at %v: told %v after its end", machine, l.start, told)
	}
	if l.quality == "clean" {
		// The label's energy is a step hold with holds capped at 120 s.
		near(t, machine+" energy", e.EnergyWh, l.energyWh, 0.005*l.energyWh+1)
		near(t, machine+" peak", e.PeakW, l.peakW, 1)
	}
}

// What the rule cannot do: a dryer that turns now and then against creases runs
// on for it, up to half an hour.
func TestFixedOnMeasuredDryers(t *testing.T) {
	for _, machine := range []string{"tracebase/dryer-1", "tracebase/dryer-3"} {
		all := labels(t, machine)
		told := watch(NewFixed(traceSettings(true, 0)), trace(t, machine))
		if len(told) != len(all) {
			t.Errorf("%s: told of %d cycles, there are %d labels", machine, len(told), len(all))
		}
		for i, l := range all {
			e := told[i]
			if start := e.Start.Sub(l.start).Abs(); start > 30*time.Second {
				t.Errorf("%s at %v: start off by %v", machine, l.start, start)
			}
			late := e.End.Sub(l.end)
			if e.At.Before(l.end) || late < -15*time.Second || late > 32*time.Minute {
				t.Errorf("%s at %v: end off by %v, told at %v", machine, l.start, late, e.At)
			}
		}
	}
}

// A machine whose display glows above 3 W never seems to end; with a threshold
// above the glow, which the building file may set, it does. (One of these machines
// also shows single samples of 500-1200 W at night: no cycles.)
func TestFixedNeedsAThresholdAboveTheGlow(t *testing.T) {
	for _, c := range []struct {
		machine string
		glowW   float64
	}{{"tracebase/washer-5", 16}, {"tracebase/washer-6", 8}} {
		all := labels(t, c.machine)
		readings := trace(t, c.machine)
		plain, counted, _ := matches(watch(NewFixed(traceSettings(false, 0)), readings), all)
		pairs, _, extra := matches(watch(NewFixed(traceSettings(false, c.glowW)), readings), all)
		t.Logf("%s: %d labels, %d found with 3 W, %d with %v W", c.machine, counted, len(plain), len(pairs), c.glowW)
		if len(plain) > counted/2 || len(pairs) < counted || extra > 0 {
			t.Errorf("%s: %d labels, %d with 3 W, %d with %v W, %d extra", c.machine, counted, len(plain), len(pairs), c.glowW, extra)
		}
	}
}

// Two years of a washer as means of 30 s.
func TestFixedOnTwoYears(t *testing.T) {
	const machine = "refit/washer-1"
	all := labels(t, machine)
	told := watch(NewFixed(traceSettings(false, 0)), trace(t, machine))
	pairs, counted, _ := matches(told, all)
	t.Logf("%s: %d labels, %d found, %d told of", machine, counted, len(pairs), len(told))
	if share := float64(len(pairs)) / float64(counted); share < 0.95 {
		t.Errorf("%s: only %.3f of %d labels found", machine, share, counted)
	}
	early := 0
	for i, e := range pairs {
		if e.Kind == Finished && e.At.Before(all[i].end.Add(-time.Minute)) {
			early++
		}
	}
	if early > 0 {
		t.Errorf("%d cycles were told finished while they ran", early)
	}
}
