package coordinator_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/queue"
)

func paths(problems []coordinator.Problem) []string {
	out := []string{}
	for _, p := range problems {
		out = append(out, p.Path)
	}
	return out
}

func TestDefaultRulesAreRight(t *testing.T) {
	r := coordinator.DefaultRules()
	if got := r.Validate(); len(got) != 0 {
		t.Errorf("the default rules have problems: %+v", got)
	}
}

func TestRulesValidate(t *testing.T) {
	type rules = coordinator.Rules
	step := func(after time.Duration, tell coordinator.Audience) coordinator.LadderStep {
		return coordinator.LadderStep{After: after, Tell: tell}
	}
	for name, c := range map[string]struct {
		change func(*rules)
		want   []string
	}{
		"hold of 0":                  {func(r *rules) { r.Hold = 0 }, []string{"hold"}},
		"hold of a day":              {func(r *rules) { r.Hold = 24 * time.Hour }, []string{"hold"}},
		"hold of a minute":           {func(r *rules) { r.Hold = time.Minute }, nil},
		"longer hold of a day":       {func(r *rules) { r.LongerHold = 24 * time.Hour }, []string{"longer_hold"}},
		"no longer hold":             {func(r *rules) { r.LongerHold = 0 }, nil},
		"longer for nobody":          {func(r *rules) { r.LongerHoldHomes = []coordinator.HomeID{"a", ""} }, []string{"longer_hold_homes"}},
		"longer twice":               {func(r *rules) { r.LongerHoldHomes = []coordinator.HomeID{"a", "a"} }, []string{"longer_hold_homes"}},
		"dryer an hour ahead":        {func(r *rules) { r.DryCallAhead = time.Hour }, []string{"dry_call_ahead"}},
		"dryer at the end":           {func(r *rules) { r.DryCallAhead = 0 }, nil},
		"on the way for a day":       {func(r *rules) { r.OnMyWayAdds = 24 * time.Hour }, []string{"on_my_way_adds"}},
		"no grace":                   {func(r *rules) { r.Grace = 0 }, nil},
		"negative grace":             {func(r *rules) { r.Grace = -1 }, []string{"grace"}},
		"no ladder":                  {func(r *rules) { r.Ladder = nil }, nil},
		"step at 0":                  {func(r *rules) { r.Ladder = []coordinator.LadderStep{step(0, coordinator.TellOwner)} }, []string{"ladder[1].after"}},
		"step to nobody":             {func(r *rules) { r.Ladder[1].Tell = 0 }, []string{"ladder[2].tell"}},
		"backwards":                  {func(r *rules) { r.Ladder[1].After = 5 * time.Minute }, []string{"ladder[2].after"}},
		"twice the same":             {func(r *rules) { r.Ladder[2].After = r.Ladder[1].After }, []string{"ladder[3].after"}},
		"one dip, one fault":         {func(r *rules) { r.Ladder[1].After = time.Minute }, []string{"ladder[2].after"}},
		"step of a month":            {func(r *rules) { r.Ladder[2].After = 30 * 24 * time.Hour }, []string{"ladder[3].after"}},
		"endless ladder":             {func(r *rules) { r.Ladder = rising(21) }, []string{"ladder"}},
		"long ladder":                {func(r *rules) { r.Ladder = rising(20) }, nil},
		"no turns":                   {func(r *rules) { r.Limits.TurnsPerHome = 0 }, []string{"turns_per_home"}},
		"no loads":                   {func(r *rules) { r.Limits.LoadsPerHome = -1 }, []string{"loads_per_home"}},
		"a thousand loads":           {func(r *rules) { r.Limits.LoadsPerHome = 1000 }, []string{"loads_per_home"}},
		"nothing kept":               {func(r *rules) { r.KeepDays = 0 }, []string{"keep_days"}},
		"ended before start":         {func(r *rules) { r.Hours[time.Sunday] = queue.Day{Opens: -1, LastStart: 1200, EndedBy: 600} }, []string{"hours.sunday.ended_by"}},
		"half a night":               {func(r *rules) { r.NightTo = queue.NoClock }, []string{"night_to"}},
		"other half":                 {func(r *rules) { r.NightFrom = queue.NoClock }, []string{"night_from"}},
		"no night":                   {func(r *rules) { r.NightFrom, r.NightTo = queue.NoClock, queue.NoClock }, nil},
		"night of no length":         {func(r *rules) { r.NightTo = r.NightFrom }, []string{"night_to"}},
		"night at minute -7":         {func(r *rules) { r.NightFrom = -7 }, []string{"night_from"}},
		"night to minute 2e3":        {func(r *rules) { r.NightTo = 2000 }, []string{"night_to"}},
		"called within grace":        {func(r *rules) { r.CallUncollectedAfter = time.Minute }, []string{"call_uncollected_after"}},
		"called by default":          {func(r *rules) { r.CallUncollectedAfter = 0 }, nil},
		"called before ready":        {func(r *rules) { r.CallUncollectedAfter = -time.Minute }, []string{"call_uncollected_after"}},
		"never empty":                {func(r *rules) { r.AssumeEmptyAfter = 0 }, []string{"assume_empty_after"}},
		"empty within grace":         {func(r *rules) { r.AssumeEmptyAfter = time.Minute }, []string{"assume_empty_after"}},
		"empty next month":           {func(r *rules) { r.AssumeEmptyAfter = 30 * 24 * time.Hour }, []string{"assume_empty_after"}},
		"recall at once":             {func(r *rules) { r.RecallAfter = 0 }, nil},
		"recall before":              {func(r *rules) { r.RecallAfter = -1 }, []string{"recall_after"}},
		"more time below 0":          {func(r *rules) { r.MoreTime = -1 }, []string{"more_time", "more_time_waiting"}},
		"more time of a day":         {func(r *rules) { r.MoreTime = 24 * time.Hour }, []string{"more_time"}},
		"more for who is waited for": {func(r *rules) { r.MoreTimeWaiting = r.MoreTime + 1 }, []string{"more_time_waiting"}},
		"no manner":                  {func(r *rules) { r.WalkUps = 3 }, []string{"walk_ups"}},
		"not me before":              {func(r *rules) { r.NotMeWithin = -1 }, []string{"not_me_within"}},
		"all at once": {func(r *rules) { r.Hold, r.KeepDays, r.Ladder[0].After = 0, 0, -1 },
			[]string{"hold", "ladder[1].after", "keep_days"}},
	} {
		t.Run(name, func(t *testing.T) {
			r := coordinator.DefaultRules()
			c.change(&r)
			got := r.Validate()
			if !slices.Equal(paths(got), c.want) && len(got)+len(c.want) > 0 {
				t.Errorf("problems %+v, want of %v", got, c.want)
			}
			for _, p := range got {
				if p.Wrong == "" || p.Right == "" {
					t.Errorf("%+v does not say both what is wrong and what would be right", p)
				}
			}
		})
	}
}

// rising is a ladder of n good steps.
func rising(n int) []coordinator.LadderStep {
	out := make([]coordinator.LadderStep, n)
	for i := range out {
		out[i] = coordinator.LadderStep{After: time.Duration(i+1) * time.Minute, Tell: coordinator.TellOwner}
	}
	return out
}

// A ladder is right exactly when every step comes after all before it.
func TestLadderRises(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := coordinator.DefaultRules()
		r.Ladder = nil
		good, last := true, 0
		for _, minutes := range rapid.SliceOfN(rapid.IntRange(-2, 40), 0, 6).Draw(t, "minutes") {
			r.Ladder = append(r.Ladder, coordinator.LadderStep{After: time.Duration(minutes) * time.Minute, Tell: coordinator.TellNext})
			good = good && minutes > last
			last = max(last, minutes)
		}
		if got := r.Validate(); (len(got) == 0) != good {
			t.Errorf("ladder %v: problems %+v, but good is %v", r.Ladder, got, good)
		}
	})
}

func TestTariffValidate(t *testing.T) {
	for name, c := range map[string]struct {
		tariff coordinator.Tariff
		want   []string
	}{
		"none":        {coordinator.Tariff{}, nil},
		"usual":       {coordinator.Tariff{Currency: "EUR", MicrosPerKWh: 320_000}, nil},
		"free":        {coordinator.Tariff{Currency: "EUR"}, nil},
		"no currency": {coordinator.Tariff{MicrosPerKWh: 1}, []string{"currency"}},
		"small":       {coordinator.Tariff{Currency: "eur", MicrosPerKWh: 1}, []string{"currency"}},
		"sign":        {coordinator.Tariff{Currency: "€", MicrosPerKWh: 1}, []string{"currency"}},
		"below zero":  {coordinator.Tariff{Currency: "CHF", MicrosPerKWh: -1}, []string{"price_per_kwh"}},
	} {
		if got := c.tariff.Validate(); !slices.Equal(paths(got), c.want) && len(got)+len(c.want) > 0 {
			t.Errorf("%s: problems %+v, want of %v", name, got, c.want)
		}
	}
}
