package config

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

// namedAs calls every home by its id.
func namedAs(h coordinator.HomeID) (string, bool) { return string(h), true }

// TestRulesComeBack: what is exported is imported as the same rules, and needs no
// defaults for it.
func TestRulesComeBack(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		r := coordinator.DefaultRules()
		r.Hold = time.Duration(rapid.IntRange(60, 10_000).Draw(rt, "hold")) * time.Second
		r.Grace = time.Duration(rapid.IntRange(0, 9).Draw(rt, "grace")) * time.Minute
		r.Ladder = r.Ladder[:rapid.IntRange(0, 3).Draw(rt, "steps")]
		r.LongerHoldHomes = rapid.SampledFrom([][]coordinator.HomeID{nil, {"12"}, {"12", `1"4\`}}).Draw(rt, "homes")
		r.Text = rapid.SampledFrom([]string{"", `Say "please".`, `back\slash`, "Bitte Flusensieb reinigen ä€漢"}).Draw(rt, "text")
		r.WalkUps, r.WallTouch = coordinator.Reported, rapid.Bool().Draw(rt, "touch")
		day := &r.Hours[rapid.IntRange(0, 6).Draw(rt, "day")]
		day.Opens, day.Closed = queue.Clock(rapid.IntRange(-1, 900).Draw(rt, "opens")), rapid.Bool().Draw(rt, "closed")
		text := r.TOML(namedAs)
		back, err := ParseRules("house.toml", []byte(text))
		if err != nil {
			rt.Fatalf("%v\n%s", err, text)
		}
		slices.Sort(back.LongerHoldHomes)
		slices.Sort(r.LongerHoldHomes)
		if len(r.Ladder) == 0 && len(back.Ladder) == 0 {
			r.Ladder, back.Ladder = nil, nil
		}
		if len(r.LongerHoldHomes) == 0 && len(back.LongerHoldHomes) == 0 {
			r.LongerHoldHomes, back.LongerHoldHomes = nil, nil
		}
		if !reflect.DeepEqual(r, back) {
			rt.Fatalf("%+v came back as %+v\n%s", r, back, text)
		}
	})
}

// TestRulesOfABuildingFile: the same text is a building file's section.
func TestRulesOfABuildingFile(t *testing.T) {
	r := coordinator.DefaultRules()
	r.Hold, r.Text = 13*time.Minute, "Clean the lint screen."
	file, err := Parse("building.toml", []byte("[building]\nname = \"Pond House\"\ntime_zone = \"Europe/Vienna\"\n"+r.TOML(namedAs)+"\n[rooms.cellar]\n[[rooms.cellar.machines]]\nnumber = 1\nkind = \"washer\"\n"), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if diff := file.Rooms[0].Seed.ChangedTo(&r); len(diff) > 0 {
		t.Errorf("differs: %+v", diff)
	}
}

func TestParseRulesRefuses(t *testing.T) {
	for text, want := range map[string]string{
		"":                           "no house rules",
		"[rooms.cellar]\n":           "house rules",
		"[rules]\nhold = \"soon\"\n": "hold",
		"[rules]\nhold = \"4s\"\n":   "too short",
		"[rules]\nsoap = 3\n":        "soap",
		"[rules]\nhold = \"5m\"\n[tariff]\na = 1": "tariff",
		"[rules]\nhold = ":                        "house.toml:2",
	} {
		_, err := ParseRules("house.toml", []byte(text))
		var wrong *Error
		if !errors.As(err, &wrong) || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// FuzzParseRules: house rules that are read keep to their own bounds, and come back from
// their own text; others are refused with reasons that name a line.
func FuzzParseRules(f *testing.F) {
	r := coordinator.DefaultRules()
	f.Add(r.TOML(namedAs))
	f.Add("[rules]\n[[rules.ladder]]\nafter = 5\n")
	f.Fuzz(func(t *testing.T, text string) {
		r, err := ParseRules("x", []byte(text))
		if err != nil {
			refused, ok := errors.AsType[*Error](err)
			if !ok || len(refused.Problems) == 0 {
				t.Fatalf("%q is refused by %v (%T)", text, err, err)
			}
			for _, p := range refused.Problems {
				if p.Line < 1 || p.Line > strings.Count(text, "\n")+1 || p.Wrong == "" || p.Right == "" {
					t.Errorf("%q has the problem %+v", text, p)
				}
			}
			return
		}
		if problems := r.Validate(); len(problems) > 0 {
			t.Errorf("rules are taken that are wrong: %+v", problems)
		}
		again := r.TOML(namedAs)
		back, err := ParseRules("x", []byte(again))
		if err != nil || back.TOML(namedAs) != again {
			t.Errorf("%q is written as %q, which is read as %+v (%v)", text, again, back, err)
		}
	})
}
