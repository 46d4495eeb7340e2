package coordinator

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumturn/queue"
)

// SettingKind says how a house rule is written.
type SettingKind uint8

// The kinds of settings.
const (
	SpanSetting   SettingKind = iota + 1 // "10m", see ParseSpan
	CountSetting                         // "2"
	ClockSetting                         // "22:00"; empty for none
	TruthSetting                         // "true" or "false"
	ChoiceSetting                        // one of Choices
	HomesSetting                         // ids of homes with commas between
	TextSetting                          // a sentence or some
)

// Setting is one house rule as a text. Path is its name in the building file:
// "hold", "ladder[2].after" (the second step), "hours.sunday.ended_by".
type Setting struct {
	Path    string
	Kind    SettingKind
	Value   string
	Choices []string
}

// field is where a rule is kept, and how it is written.
type field struct {
	path    string
	kind    SettingKind
	at      func(*Rules) any // *time.Duration, *int, *queue.Clock, *bool, *Manner, *[]HomeID or *string
	choices []string
}

// fields are the rules besides the ladder and the hours, in the order in which
// they are shown.
var fields = []field{
	{"hold", SpanSetting, func(r *Rules) any { return &r.Hold }, nil},
	{"longer_hold", SpanSetting, func(r *Rules) any { return &r.LongerHold }, nil},
	{"longer_hold_homes", HomesSetting, func(r *Rules) any { return &r.LongerHoldHomes }, nil},
	{"dry_call_ahead", SpanSetting, func(r *Rules) any { return &r.DryCallAhead }, nil},
	{"on_my_way_adds", SpanSetting, func(r *Rules) any { return &r.OnMyWayAdds }, nil},
	{"recall_after", SpanSetting, func(r *Rules) any { return &r.RecallAfter }, nil},
	{"turns_per_home", CountSetting, func(r *Rules) any { return &r.Limits.TurnsPerHome }, nil},
	{"loads_per_home", CountSetting, func(r *Rules) any { return &r.Limits.LoadsPerHome }, nil},
	{"grace", SpanSetting, func(r *Rules) any { return &r.Grace }, nil},
	{"call_uncollected_after", SpanSetting, func(r *Rules) any { return &r.CallUncollectedAfter }, nil},
	{"assume_empty_after", SpanSetting, func(r *Rules) any { return &r.AssumeEmptyAfter }, nil},
	{"more_time", SpanSetting, func(r *Rules) any { return &r.MoreTime }, nil},
	{"more_time_waiting", SpanSetting, func(r *Rules) any { return &r.MoreTimeWaiting }, nil},
	{"not_me_within", SpanSetting, func(r *Rules) any { return &r.NotMeWithin }, nil},
	{"walk_ups", ChoiceSetting, func(r *Rules) any { return &r.WalkUps }, []string{"allowed", "tolerated", "reported"}},
	{"night_from", ClockSetting, func(r *Rules) any { return &r.NightFrom }, nil},
	{"night_to", ClockSetting, func(r *Rules) any { return &r.NightTo }, nil},
	{"open_homes", TruthSetting, func(r *Rules) any { return &r.OpenHomes }, nil},
	{"wall_touch", TruthSetting, func(r *Rules) any { return &r.WallTouch }, nil},
	{"per_home_figures", TruthSetting, func(r *Rules) any { return &r.PerHomeFigures }, nil},
	{"text", TextSetting, func(r *Rules) any { return &r.Text }, nil},
	{"keep_days", CountSetting, func(r *Rules) any { return &r.KeepDays }, nil},
}

// Settings lists all rules as texts: first the plain ones, then the ladder's
// steps, then the hours from Monday to Sunday.
func (r *Rules) Settings() []Setting {
	var all []Setting
	for _, f := range fields {
		all = append(all, Setting{f.path, f.kind, textOf(f.at(r)), f.choices})
	}
	for i := range r.Ladder {
		step, path := &r.Ladder[i], fmt.Sprintf("ladder[%d].", i+1)
		all = append(all,
			Setting{path + "after", SpanSetting, SpanText(step.After), nil},
			Setting{path + "tell", ChoiceSetting, step.Tell.String(), []string{"owner", "next", "manager"}})
	}
	for i := range 7 {
		d := time.Weekday((i + 1) % 7)
		day, path := &r.Hours[d], "hours."+strings.ToLower(d.String())+"."
		all = append(all,
			Setting{path + "closed", TruthSetting, strconv.FormatBool(day.Closed), nil},
			Setting{path + "opens", ClockSetting, day.Opens.String(), nil},
			Setting{path + "last_start", ClockSetting, day.LastStart.String(), nil},
			Setting{path + "ended_by", ClockSetting, day.EndedBy.String(), nil})
	}
	return all
}

func textOf(at any) string {
	switch v := at.(type) {
	case *time.Duration:
		return SpanText(*v)
	case *int:
		return strconv.Itoa(*v)
	case *queue.Clock:
		return v.String()
	case *bool:
		return strconv.FormatBool(*v)
	case *Manner:
		return v.String()
	case *[]HomeID:
		parts := make([]string, len(*v))
		for i, h := range *v {
			parts[i] = string(h)
		}
		slices.Sort(parts)
		return strings.Join(parts, ", ")
	case *string:
		return *v
	}
	panic(fmt.Sprintf("coordinator: a rule of type %T has no text", at))
}

// SetAll changes the rules that the settings name. A ladder among them replaces
// the whole ladder: a step that is not named is gone, and one with an empty
// After is left out. What cannot be read is listed and changes nothing else;
// the rules still have to be validated.
func (r *Rules) SetAll(settings []Setting) []Problem {
	var c checks
	ladder := map[int]*LadderStep{}
	for _, s := range settings {
		if step, key, ok := ladderPath(s.Path); ok {
			c.readStep(ladder, step, key, s)
			continue
		}
		at := r.place(s.Path)
		if at == nil {
			c.add(s.Path, "there is no such house rule", "use the names that are exported")
			continue
		}
		if err := setText(at, s.Value); err != nil {
			c.add(s.Path, err.Error(), right(at))
		}
	}
	if len(ladder) > 0 {
		r.Ladder = nil
		for i := range maxLadder + 1 {
			if step := ladder[i+1]; step != nil && step.Tell != 0 {
				r.Ladder = append(r.Ladder, *step)
			}
		}
	}
	return c.found
}

// place is where the rule of a path is kept; nil when there is none.
func (r *Rules) place(path string) any {
	for _, f := range fields {
		if f.path == path {
			return f.at(r)
		}
	}
	rest, hours := strings.CutPrefix(path, "hours.")
	name, key, _ := strings.Cut(rest, ".")
	for d := range r.Hours {
		if !hours || strings.ToLower(time.Weekday(d).String()) != name {
			continue
		}
		day := &r.Hours[d]
		switch key {
		case "closed":
			return &day.Closed
		case "opens":
			return &day.Opens
		case "last_start":
			return &day.LastStart
		case "ended_by":
			return &day.EndedBy
		}
	}
	return nil
}

// ladderPath takes "ladder[2].after" apart.
func ladderPath(path string) (step int, key string, ok bool) {
	rest, ok := strings.CutPrefix(path, "ladder[")
	number, key, found := strings.Cut(rest, "].")
	step, err := strconv.Atoi(number)
	return step, key, ok && found && err == nil && step >= 1 && (key == "after" || key == "tell")
}

// readStep reads half of a ladder's step. One without a time is left out.
func (c *checks) readStep(ladder map[int]*LadderStep, n int, key string, s Setting) {
	if n > maxLadder {
		c.add(s.Path, "the ladder has too many steps", fmt.Sprintf("use %d at most", maxLadder))
		return
	}
	if ladder[n] == nil {
		ladder[n] = &LadderStep{Tell: TellOwner}
	}
	step := ladder[n]
	if key == "tell" {
		// A step that was left out stays so.
		if tell := new(Audience); tell.UnmarshalText([]byte(s.Value)) != nil {
			c.add(s.Path, fmt.Sprintf("%q is nobody the ladder can tell", s.Value), "use owner, next or manager")
		} else if step.Tell != 0 {
			step.Tell = *tell
		}
		return
	}
	if strings.TrimSpace(s.Value) == "" {
		step.Tell = 0
		return
	}
	var err error
	if step.After, err = ParseSpan(s.Value); err != nil {
		c.add(s.Path, err.Error(), right(&step.After))
	}
}

func setText(at any, text string) (err error) {
	text = strings.TrimSpace(text)
	switch v := at.(type) {
	case *time.Duration:
		var d time.Duration
		if d, err = ParseSpan(text); err == nil {
			*v = d
		}
	case *int:
		var n int
		if n, err = strconv.Atoi(text); err != nil {
			return fmt.Errorf("%q is no whole number", text)
		}
		*v = n
	case *queue.Clock:
		var clock queue.Clock
		if clock, err = queue.ParseClock(text); err == nil {
			*v = clock
		}
	case *bool:
		if text != "true" && text != "false" {
			return fmt.Errorf("%q is neither true nor false", text)
		}
		*v = text == "true"
	case *Manner:
		var m Manner
		if err = m.UnmarshalText([]byte(text)); err == nil {
			*v = m
		}
	case *[]HomeID:
		*v = homeList(text)
	case *string:
		*v = text
	}
	return err
}

func homeList(text string) (homes []HomeID) {
	for _, part := range strings.Split(text, ",") {
		if part = strings.TrimSpace(part); part != "" && !slices.Contains(homes, HomeID(part)) {
			homes = append(homes, HomeID(part))
		}
	}
	return homes
}

// right says how a rule is written.
func right(at any) string {
	switch at.(type) {
	case *time.Duration:
		return `write a length of time such as "90s", "10m" or "1h30m"`
	case *int:
		return "write a whole number"
	case *queue.Clock:
		return `write a time of day such as "21:30", or nothing for none`
	case *bool:
		return "write true or false"
	}
	return "use one of the words that are offered"
}

// Changed is a setting that two lists have differently; "" where one lacks it.
type Changed struct{ Path, From, To string }

// ChangedTo lists how other rules differ from r, in the order of Settings. What
// only one of the ladders has is "" in the other.
func (r *Rules) ChangedTo(other *Rules) []Changed {
	return changedSettings(r.Settings(), other.Settings())
}

// changedSettings lists what differs, in the order of the first list, then of the second.
func changedSettings(from, to []Setting) (all []Changed) {
	before, after := valuesOf(from), valuesOf(to)
	seen := map[string]bool{}
	for _, s := range slices.Concat(from, to) {
		if a, b := before[s.Path], after[s.Path]; a != b && !seen[s.Path] {
			all = append(all, Changed{s.Path, a, b})
		}
		seen[s.Path] = true
	}
	return all
}

func valuesOf(settings []Setting) map[string]string {
	values := make(map[string]string, len(settings))
	for _, s := range settings {
		values[s.Path] = s.Value
	}
	return values
}
