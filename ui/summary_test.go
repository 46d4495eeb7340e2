package ui

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/push/words"
	"drumturn/queue"
	"drumturn/ui/specimen"
)

// specimenSays is the manager's day of the specimen building.
func specimenSays(t *testing.T, change func(*Options)) (int, string) {
	t.Helper()
	s := newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) {
		o.Report, o.Worn, o.Capacity = specimen.Report, specimen.Worn{}, specimen.Worn{}.Capacity
		if change != nil {
			change(o)
		}
	})
	w := get("/manager").as("", specimen.Secret(specimen.Manager)).of(s)
	return w.Code, w.Body.String()
}

// TestDayAnswers: each of the six questions has its line and its link.
func TestDayAnswers(t *testing.T) {
	nothing := func(context.Context, usage.Query, []usage.HouseRoom) (*usage.Report, error) {
		return &usage.Report{}, nil
	}
	unpriced := func(ctx context.Context, q usage.Query, rooms []usage.HouseRoom) (*usage.Report, error) {
		r, err := specimen.Report(ctx, q, rooms)
		r.Whole.Cost = usage.Amount{}
		return r, err
	}
	few := func(context.Context, coordinator.RoomID) ([]usage.Capacity, error) { return []usage.Capacity{{}}, nil }
	cases := []struct {
		name   string
		change func(*Options)
		want   []string
	}{
		{"all", nil, []string{
			`<a href="#rooms">14 of 17 machines</a>`, `<a href="#hands">6 things need a hand</a>`, "cycles in 28 days; machines ran ", "149.35\u00a0EUR for 474 kWh in 28 days", "one washer more would shorten the mean wait",
			`/manager/r/cellar/m/d2/wear">Dryer 2 (Laundry room, cellar) is no longer as usual</a>`, `/enough">`,
		}},
		{"the first day", func(o *Options) { o.Report, o.Capacity = nothing, few }, []string{"no figures yet", "too little was seen so far to say"}},
		{"no price", func(o *Options) { o.Report = unpriced }, []string{`/manager/tariff">`, "enter the price of energy"}},
	}
	for _, c := range cases {
		code, body := specimenSays(t, c.change)
		for _, want := range c.want {
			if !strings.Contains(body, want) {
				t.Errorf("%s: %d: the page lacks %q: %s", c.name, code, want, body[strings.Index(body, `class="answers"`):][:1500])
			}
		}
	}
}

// TestDayWithoutFigures: a building that keeps none says what it knows.
func TestDayWithoutFigures(t *testing.T) {
	_, body := specimenSays(t, func(o *Options) { o.Report, o.Worn, o.Capacity = nil, nil, nil })
	if !strings.Contains(body, "14 of 17 machines") || strings.Contains(body, "Enough machines") || strings.Contains(body, "as usual") {
		t.Error("it tells of figures that it has not")
	}
	for name, change := range map[string]func(*Options){
		"report": func(o *Options) {
			o.Report = func(context.Context, usage.Query, []usage.HouseRoom) (*usage.Report, error) {
				return nil, errors.New("disk")
			}
		},
		"capacity": func(o *Options) {
			o.Capacity = func(context.Context, coordinator.RoomID) ([]usage.Capacity, error) { return nil, errors.New("disk") }
		},
	} {
		if code, _ := specimenSays(t, change); code != 500 {
			t.Errorf("%s cannot be read: %d", name, code)
		}
	}
}

// TestWorks: what a machine must not be to be counted as working.
func TestWorks(t *testing.T) {
	good := coordinator.MachineView{Status: coordinator.Running}
	if !works(&good) {
		t.Error("a machine that runs does not work")
	}
	for name, spoil := range map[string]func(*coordinator.MachineView){
		"out":     func(m *coordinator.MachineView) { m.Status = coordinator.Out },
		"silent":  func(m *coordinator.MachineView) { m.Status = coordinator.Unknown },
		"fault":   func(m *coordinator.MachineView) { m.Faults = []coordinator.Fault{{Text: "leaks"}} },
		"stalled": func(m *coordinator.MachineView) { m.Stalled = true },
		"stopped": func(m *coordinator.MachineView) {
			m.Load = &coordinator.Load{Reason: coordinator.EndStopped, ReadyAt: noon}
		},
	} {
		m := good
		if spoil(&m); works(&m) {
			t.Errorf("%s: it works", name)
		}
	}
}

// TestBestCase takes the longest gain, and none that is small or may be chance.
func TestBestCase(t *testing.T) {
	answers := func(off time.Duration, means ...time.Duration) *usage.Capacity {
		c := &usage.Capacity{Kind: queue.Washer, Machines: 2}
		for i, m := range means {
			c.Answers = append(c.Answers, enough.Answer{Case: enough.Case{Machines: 2 + i}, All: enough.Waits{Mean: m}, Off: off})
		}
		return c
	}
	const m = time.Minute
	if best, gain := bestCase(answers(m, 20*m, 12*m, 9*m, 30*m)); best == nil || best.Case.Machines != 4 || gain != 11*m {
		t.Errorf("%v %v", best, gain)
	}
	for name, c := range map[string]*usage.Capacity{
		"less than two minutes": answers(0, 3*m, 2*m), "may be chance": answers(12*m, 20*m, 9*m), "longer": answers(0, 3*m, 9*m), "alone": answers(0, 9*m),
	} {
		if best, _ := bestCase(c); best != nil {
			t.Errorf("%s: %v", name, best)
		}
	}
}

// TestWearAnswerCountsMachines: two drifts of one machine are one machine.
func TestWearAnswerCountsMachines(t *testing.T) {
	l := words.Exactly("en")
	two := []handView{{Machine: "Dryer 2", Room: "Cellar", Link: "/a"}, {Machine: "Dryer 2", Room: "Cellar", Link: "/a"}}
	if got := wearAnswer(l, two).Says; got != "Dryer 2 (Cellar) is no longer as usual" {
		t.Error(got)
	}
	if got := wearAnswer(l, append(two, handView{Machine: "Washer 1", Link: "/b"})).Says; !strings.HasPrefix(got, "2 machines") {
		t.Error(got)
	}
	if got := wearAnswer(l, nil); got.Says != "every machine is as usual" || got.Link != "#rooms" {
		t.Errorf("%+v", got)
	}
}
