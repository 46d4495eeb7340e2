package ui

import (
	"context"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/usage"
	"drumturn/coordinator/usage/enough"
	"drumturn/coordinator/usage/wear"
	"drumturn/push/words"
	"drumturn/queue"
	"drumturn/ui/specimen"
)

// wornServer shows the specimen building to its manager.
func wornServer(t *testing.T, change func(*Options)) func(path string) (int, string) {
	s := newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) {
		o.Worn, o.Capacity = specimen.Worn{}, specimen.Worn{}.Capacity
		if change != nil {
			change(o)
		}
	})
	return func(path string) (int, string) {
		w := get(path).as("", specimen.Secret(specimen.Manager)).of(s)
		return w.Code, w.Body.String()
	}
}

// TestWearPage says a drift in a sentence with what to do, and draws it.
func TestWearPage(t *testing.T) {
	show := wornServer(t, nil)
	code, body := show("/manager/r/cellar/m/d2/wear")
	for _, want := range []string{"Dryer 2 takes 2", "% longer to dry than was usual (Nov 2025)", "It began about", "a blocked vent is a fire risk", "<svg", "Cumulative sums", `class="chart-alarm"`} {
		if !strings.Contains(body, want) {
			t.Errorf("%d: the page lacks %q", code, want)
		}
	}
	if _, body := show("/manager/r/cellar/m/d1/wear"); strings.Contains(body, "It began about") || !strings.Contains(body, "As usual.") {
		t.Error("a dryer that is as usual drifts")
	}
	if _, body := show("/manager/r/cellar/m/w1/wear"); strings.Contains(body, "Drying time") || !strings.Contains(body, "Heating time") {
		t.Error("a washer dries")
	}
	// What changed is said first, in a word and then in full; the sums that prove it are folded away.
	wantInOrder(t, body, `<a href="#is-length"><strong>lasting change</strong></a>`, `<a href="#is-standby">as usual</a>`, `<h2>Drying time</h2>`, `id="wear-length"`, "<details><summary>How sure that is", `id="wear-sums-length"`, "</details>", `<h2>Standby power</h2>`)
	if code, _ := show("/manager/r/cellar/m/x9/wear"); code != 404 {
		t.Errorf("a machine that is not there: %d", code)
	}
	if _, body := show("/manager"); !strings.Contains(body, "% longer to dry") {
		t.Error("today's page does not tell of the drift")
	}
}

// TestLookedAfter: a drift has its button on today's page and on its own.
func TestLookedAfter(t *testing.T) {
	h := specimen.NewHouse(hashSecret)
	s := newTestServer(t, h, func(o *Options) { o.Worn = specimen.Worn{} })
	const act = "/manager/r/cellar/m/d2"
	page := get("/manager").as("", specimen.Secret(specimen.Manager)).of(s).Body.String()
	if !strings.Contains(page, `<form method="post" action="`+act+`"><input type="hidden" name="do" value="looked-after"><button>Looked after</button></form>`) {
		t.Fatalf("the drift has no button:\n%s", page)
	}
	page = get(act+"/wear").as("", specimen.Secret(specimen.Manager)).of(s).Body.String()
	if !strings.Contains(page, `name="text"`) || !strings.Contains(page, `value="looked-after"`) {
		t.Errorf("the wear page has no form:\n%s", page)
	}
}

// TestSettled: what was found before the machine was looked after is no hand, and
// what was found later is.
func TestSettled(t *testing.T) {
	s := newTestServer(t, specimen.NewHouse(hashSecret), nil)
	for _, l := range words.All() {
		sc := *s.scenes.get("cellar", l)
		snap := *sc.snap
		snap.Machines = append([]coordinator.MachineView(nil), snap.Machines...)
		sc.snap = &snap
		m := &snap.Machines[0]
		d := wear.Drift{Figure: wear.Heating, Since: specimen.In(-3 * 24 * 60), Cycles: 30, Change: 0.3, Last: specimen.In(-60)}
		found := map[coordinator.MachineID][]wear.Drift{m.ID: {d}}
		hands := func() int { return len(driftHands(&sc, found)) }
		if n := hands(); n != 1 {
			t.Errorf("%d hands before", n)
		}
		m.LookedAfter = specimen.In(-90)
		if n := hands(); n != 1 {
			t.Errorf("%d hands, though it goes on", n)
		}
		m.LookedAfter = specimen.In(-30)
		if n := hands(); n != 0 {
			t.Errorf("%d hands after", n)
		}
		f := viewWear(&sc, m, &wear.Chart{Figure: wear.Heating, Drift: &d})
		if f.Drifts || !strings.Contains(f.Says, fullDay(l, m.LookedAfter.In(sc.tell().zone))) || !strings.Contains(f.Says, "30") {
			t.Errorf("%s: %+v", l.Code(), f)
		}
	}
}

// TestWearToNobodyElse: residents and strangers see none of it.
func TestWearToNobodyElse(t *testing.T) {
	s := newTestServer(t, specimen.NewHouse(hashSecret), func(o *Options) { o.Worn, o.Capacity = specimen.Worn{}, specimen.Worn{}.Capacity })
	for _, path := range []string{"/manager/r/cellar/m/d2/wear", "/manager/r/cellar/enough"} {
		for _, who := range []string{"", specimen.Secret("ann")} {
			if w := get(path).as(who, "").of(s); w.Code != 403 {
				t.Errorf("%s as %q: %d", path, who, w.Code)
			}
		}
	}
}

// TestWearSentences: every figure has its sentences in every language, in both directions.
func TestWearSentences(t *testing.T) {
	s := newTestServer(t, specimen.NewHouse(hashSecret), nil)
	for _, l := range words.All() {
		sc := s.scenes.get("cellar", l)
		m := &sc.snap.Machines[0]
		for _, f := range wear.Figures() {
			seen := map[string]bool{}
			for _, change := range []float64{0.24, -0.2} {
				d := wear.Drift{Figure: f, Since: specimen.Noon, Cycles: 30, Change: change, From: specimen.In(-200_000), To: specimen.In(-100_000)}
				says := driftSays(sc, m, &d)
				if strings.ContainsAny(says, "{}") || strings.Contains(says, "wear-") || seen[says] || !strings.Contains(says, "2") {
					t.Errorf("%s, %s %v: %q", l.Code(), f, change, says)
				}
				seen[says] = true
			}
		}
	}
}

// TestWearLearning: what is still learned, and what was never measured, is said.
func TestWearLearning(t *testing.T) {
	few := wear.Chart{Figure: wear.Energy, Points: make([]wear.Point, 7)}
	show := wornServer(t, func(o *Options) { o.Worn = cannedWear{charts: []wear.Chart{few, {Figure: wear.Spin}}} })
	_, body := show("/manager/r/cellar/m/w1/wear")
	if !strings.Contains(body, "What is usual is still learned: 7 cycles so far.") || !strings.Contains(body, "Not measured yet.") || strings.Contains(body, "<svg class=\"chart") {
		t.Errorf("the page is\n%s", body)
	}
	show = wornServer(t, func(o *Options) { o.Worn = cannedWear{err: errors.New("disk")} })
	for _, path := range []string{"/manager/r/cellar/m/w1/wear", "/manager"} {
		if code, _ := show(path); code != 500 {
			t.Errorf("%s on a store that fails: %d", path, code)
		}
	}
}

// TestWearOrder: a figure that changed stands before those that are as usual.
func TestWearOrder(t *testing.T) {
	changed := wear.Chart{Figure: wear.Standby, Points: make([]wear.Point, 7), Drift: &wear.Drift{Figure: wear.Standby, Change: 3, Since: specimen.In(-9000), Last: specimen.In(-60)}}
	show := wornServer(t, func(o *Options) {
		o.Worn = cannedWear{charts: []wear.Chart{{Figure: wear.Energy}, changed, {Figure: wear.Spin}}}
	})
	_, body := show("/manager/r/cellar/m/w1/wear")
	wantInOrder(t, body, `<h2>Standby power</h2>`, `<h2>Energy of a cycle</h2>`, `<h2>Power at the end of the spin</h2>`)
}

// wantInOrder looks for parts of a page, each behind the one before it.
func wantInOrder(t *testing.T, page string, parts ...string) {
	t.Helper()
	for _, part := range parts {
		i := strings.Index(page, part)
		if i < 0 {
			t.Errorf("%q is not where it should be", part)
			return
		}
		page = page[i+len(part):]
	}
}

type cannedWear struct {
	charts []wear.Chart
	err    error
}

func (c cannedWear) Wear(context.Context, coordinator.RoomID, coordinator.MachineID) (usage.Wear, error) {
	return usage.Wear{Charts: c.charts}, c.err
}

func (c cannedWear) Drifts(context.Context, coordinator.RoomID) (map[coordinator.MachineID][]wear.Drift, error) {
	return nil, c.err
}

// TestEnoughPage says what was seen, what would help, and what it assumes.
func TestEnoughPage(t *testing.T) {
	show := wornServer(t, nil)
	code, body := show("/manager/r/cellar/enough")
	wantInOrder(t, body, "<h2>3 washers</h2>", `<p class="lead">What helps most: one washer more`, "people a week came for one")
	for _, want := range []string{"3 washers", "people a week came for one, over 12 weeks", "31 people left the queue", "What helps most: one washer more", "one washer less", "everybody collects within 15 min", "<svg", "What this assumes", "Too little was seen to say anything: 0 loads in 2 weeks."} {
		if !strings.Contains(body, want) {
			t.Errorf("%d: the page lacks %q", code, want)
		}
	}
	show = wornServer(t, func(o *Options) { o.Capacity = nil })
	if code, _ := show("/manager/r/cellar/enough"); code != 404 {
		t.Errorf("where nothing is kept: %d", code)
	}
}

// TestHelpsOnlyBeyondChance: what is gained must be worth a machine.
func TestHelpsOnlyBeyondChance(t *testing.T) {
	answer := func(machines int, wait, off time.Duration) enough.Answer {
		return enough.Answer{Case: enough.Case{Machines: machines}, All: enough.Waits{Mean: wait}, Off: off}
	}
	for _, c := range []struct {
		as, more, off time.Duration
		want          string
	}{
		{20 * time.Minute, 5 * time.Minute, time.Minute, "one dryer more"},
		{20 * time.Minute, 19 * time.Minute, time.Second, "None of these"},
		{20 * time.Minute, 15 * time.Minute, 9 * time.Minute, "None of these"},
		{0, 0, 0, "None of these"},
	} {
		got := helps(words.English(), &usage.Capacity{Kind: queue.Dryer, Machines: 2, Answers: []enough.Answer{answer(2, c.as, c.off), answer(3, c.more, c.off)}})
		if !strings.Contains(got, c.want) {
			t.Errorf("%v to %v, give or take %v: %q", c.as, c.more, c.off, got)
		}
	}
	if math.Abs(scaled(wear.Length, math.Log(1.24))-24) > 1e-9 || scaled(wear.Standby, 1.5) != 1.5 {
		t.Error("the charts' units are wrong")
	}
}
