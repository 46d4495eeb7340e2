package coordinator

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/queue"
)

// drawRules draws rules that are valid.
func drawRules(t *rapid.T) Rules {
	minutes := func(name string, lo, hi int) time.Duration {
		return time.Duration(rapid.IntRange(lo, hi).Draw(t, name)) * time.Minute
	}
	r := DefaultRules()
	r.Hold, r.Grace = minutes("hold", 1, 180), minutes("grace", 0, 60)
	r.LongerHoldHomes = rapid.SampledFrom([][]HomeID{nil, {"home-a"}, {"home-a", "home-b"}}).Draw(t, "homes")
	r.CallUncollectedAfter, r.AssumeEmptyAfter = minutes("call", 60, 90), minutes("assume", 90, 900)
	r.Ladder = nil
	for i := range rapid.IntRange(0, 4).Draw(t, "steps") {
		tell := rapid.SampledFrom([]Audience{TellOwner, TellNext, TellManager}).Draw(t, "tell")
		r.Ladder = append(r.Ladder, LadderStep{r.Grace + time.Duration(i+1)*7*time.Minute, tell})
	}
	r.WalkUps = rapid.SampledFrom([]Manner{Allowed, Tolerated, Reported}).Draw(t, "walk-ups")
	r.OpenHomes, r.WallTouch = rapid.Bool().Draw(t, "open"), rapid.Bool().Draw(t, "touch")
	r.Text = rapid.SampledFrom([]string{"", "Clean the lint screen, please."}).Draw(t, "text")
	day := &r.Hours[rapid.IntRange(0, 6).Draw(t, "day")]
	day.Closed, day.Opens = rapid.Bool().Draw(t, "closed"), queue.Clock(rapid.IntRange(-1, 600).Draw(t, "opens"))
	return r
}

// TestSettingsCarryTheRules: written as texts and read back they are the same.
func TestSettingsCarryTheRules(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r, back := drawRules(rt), DefaultRules()
		if len(r.Ladder) == 0 {
			back.Ladder = nil // a form without steps names none
		}
		if problems := back.SetAll(r.Settings()); len(problems) > 0 {
			rt.Fatalf("%+v", problems)
		}
		if !reflect.DeepEqual(r, back) {
			rt.Fatalf("%+v came back as %+v", r, back)
		}
		if diff := r.ChangedTo(&back); len(diff) > 0 {
			rt.Fatalf("the same rules differ: %+v", diff)
		}
	})
}

// TestSettingsNameEveryRule: a rule that is added later and forgotten here would
// be lost by an export.
func TestSettingsNameEveryRule(t *testing.T) {
	r := DefaultRules()
	v := reflect.ValueOf(&r).Elem()
	for i := range v.NumField() {
		before := r.Settings()
		name, f := v.Type().Field(i).Name, v.Field(i)
		old := reflect.New(f.Type()).Elem()
		old.Set(f)
		change(t, name, f)
		if reflect.DeepEqual(before, r.Settings()) {
			t.Errorf("a change of %s does not show in the settings", name)
		}
		f.Set(old)
	}
}

// change gives a rule another value.
func change(t *testing.T, name string, f reflect.Value) {
	switch v := f.Addr().Interface().(type) {
	case *time.Duration:
		*v += time.Minute
	case *int:
		*v++
	case *bool:
		*v = !*v
	case *string:
		*v += "x"
	case *Manner:
		*v = Reported
	case *queue.Clock:
		*v = 61
	case *[]HomeID:
		*v = []HomeID{"home-x"}
	case *[]LadderStep:
		*v = []LadderStep{{time.Hour, TellNext}}
	case *queue.Limits:
		v.TurnsPerHome++
	case *queue.Hours:
		v[3].Closed = true
	default:
		t.Fatalf("rule %s is of a type that this test does not know", name)
	}
}

func TestSetAllReports(t *testing.T) {
	for path, c := range map[string]struct{ value, wrong string }{
		"hold":                  {"ten", "no length of time"},
		"grace":                 {"", "empty"},
		"turns_per_home":        {"2.5", "no whole number"},
		"night_from":            {"25:00", "no time of day"},
		"open_homes":            {"perhaps", "neither true nor false"},
		"walk_ups":              {"ignored", "nothing that a house does"},
		"ladder[1].after":       {"soon", "no length of time"},
		"ladder[2].tell":        {"police", "nobody the ladder can tell"},
		"ladder[21].after":      {"5m", "too many steps"},
		"hours.sunday.opens":    {"7", "no time of day"},
		"hours.sonntag.opens":   {"07:00", "no such house rule"},
		"hours.sunday.shuts":    {"07:00", "no such house rule"},
		"soap":                  {"5", "no such house rule"},
		"ladder[0].after":       {"5m", "no such house rule"},
		"hours.monday.ended_by": {"7:5", "no time of day"},
	} {
		r := DefaultRules()
		problems := r.SetAll([]Setting{{Path: path, Value: c.value}})
		if len(problems) != 1 || problems[0].Path != path || !strings.Contains(problems[0].Wrong, c.wrong) || problems[0].Right == "" {
			t.Errorf("%s = %q: %+v", path, c.value, problems)
		}
	}
}

// TestLadderSteps: a step without a time is left out, whatever else it says.
func TestLadderSteps(t *testing.T) {
	r := DefaultRules()
	problems := r.SetAll([]Setting{
		{Path: "ladder[1].after", Value: "12m"}, {Path: "ladder[1].tell", Value: "owner"},
		{Path: "ladder[2].after", Value: " "}, {Path: "ladder[2].tell", Value: "next"},
		{Path: "ladder[3].tell", Value: "manager"}, {Path: "ladder[3].after", Value: "40 min"},
		{Path: "ladder[4].tell", Value: "manager"}, {Path: "ladder[4].after", Value: ""},
	})
	want := []LadderStep{{12 * time.Minute, TellOwner}, {40 * time.Minute, TellManager}}
	if len(problems) > 0 || !reflect.DeepEqual(r.Ladder, want) {
		t.Errorf("the ladder is %+v, %+v", r.Ladder, problems)
	}
}

func TestChangedTo(t *testing.T) {
	a, b := DefaultRules(), DefaultRules()
	b.Hold, b.Hours[time.Sunday].Closed, b.Ladder = 12*time.Minute, true, a.Ladder[:2]
	want := []Changed{
		{"hold", "10m", "12m"}, {"ladder[3].after", "30m", ""}, {"ladder[3].tell", "manager", ""}, {"hours.sunday.closed", "false", "true"},
	}
	if got := a.ChangedTo(&b); !reflect.DeepEqual(got, want) {
		t.Errorf("changed: %+v", got)
	}
}

func TestSpans(t *testing.T) {
	for text, want := range map[string]time.Duration{
		"90s": 90 * time.Second, "10m": 10 * time.Minute, "1h 30 min": 90 * time.Minute, " 7 days ": 7 * 24 * time.Hour, "0s": 0, "1d2h3m4s": 26*time.Hour + 3*time.Minute + 4*time.Second,
	} {
		if got, err := ParseSpan(text); err != nil || got != want {
			t.Errorf("%q is %v, %v", text, got, err)
		}
		if back, err := ParseSpan(SpanText(want)); err != nil || back != want {
			t.Errorf("%v is written %q", want, SpanText(want))
		}
	}
	for _, text := range []string{"", "10", "ten minutes", "1.5h", "-3m", "4000d", "1h-3m"} {
		if got, err := ParseSpan(text); err == nil {
			t.Errorf("%q is %v", text, got)
		}
	}
}

// FuzzSettings: whatever a form sends is read or reported, and what was read is
// written the same.
func FuzzSettings(f *testing.F) {
	for _, s := range (&Rules{}).Settings() {
		f.Add(s.Path, s.Value)
	}
	f.Add("ladder[2].after", "15 min")
	f.Fuzz(func(t *testing.T, path, value string) {
		r := DefaultRules()
		if len(r.SetAll([]Setting{{Path: path, Value: value}})) > 0 {
			return
		}
		back := r.clone()
		if problems := back.SetAll(r.Settings()); len(problems) > 0 || len(r.ChangedTo(&back)) > 0 {
			t.Errorf("%s = %q does not come back: %+v", path, value, problems)
		}
	})
}
