package ui

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// rulesView is a room's house rules as a form, with what a change would change.
type rulesView struct {
	Name, Back, Path, Export string
	// Version is what the form was made from; Old that it shows an older version.
	Version int
	Old     string
	Problem *problem
	Groups  []ruleGroup
	Ladder  []ladderRow
	Days    []dayRow
	// Looked says that changes were asked for; Changes are what they would be.
	Looked   bool
	Changes  []ruleChange
	Versions []ruleVersion
}

type ruleGroup struct {
	Title string
	Rules []ruleInput
}

// ruleInput is one rule in the form. Kind is minutes, count, clock, truth,
// choice, homes or text.
type ruleInput struct {
	Name, Label, How, Kind, Value, Wrong string
	// Short is the label where what stands above says the rest.
	Short   string
	Choices []ruleChoice
}

type ruleChoice struct {
	Value, Words string
	On           bool
}

type ladderRow struct{ After, Tell ruleInput }

type dayRow struct {
	Day    string
	Closed ruleInput
	Times  []ruleInput
}

type ruleChange struct{ Label, From, To string }

type ruleVersion struct {
	Number     int
	At, Who    string
	Changes    []ruleChange
	Link       string
	InForce    bool
	Unrecorded bool
}

// ruleGroups is how the form is divided; the ladder and the hours follow.
var ruleGroups = []struct {
	title string
	paths []string
}{
	{"rules.turns", []string{"hold", "longer_hold", "dry_call_ahead", "on_my_way_adds", "recall_after", "turns_per_home", "loads_per_home"}},
	{"rules.loads", []string{"grace", "call_uncollected_after", "assume_empty_after", "more_time", "more_time_waiting", "not_me_within", "walk_ups"}},
	{"rules.house", []string{"night_from", "night_to", "open_homes", "wall_touch", "per_home_figures", "keep_days", "text"}},
}

// spareSteps is how many empty steps the ladder's form ends with.
const spareSteps = 2

// rulesPage shows the rules in force, or those of ?version=N.
func (s *Server) rulesPage(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	rules, old := sc.snap.Rules, ""
	if number, err := strconv.Atoi(c.QueryParam("version")); err == nil && number != sc.snap.RulesVersion {
		i := slices.IndexFunc(sc.snap.Versions, func(v coordinator.RulesVersion) bool { return v.Version == number })
		if i < 0 {
			return echo.ErrNotFound
		}
		rules, old = sc.snap.Versions[i].Rules, strconv.Itoa(number)
	}
	v := s.viewRules(sc, settingsOf(&rules))
	v.Old = old
	return s.render(c, http.StatusOK, "rules", v)
}

// rulesFile is the rules in force as a file that a building file may hold.
func (s *Server) rulesFile(c echo.Context) error {
	_, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set("Cache-Control", "no-store")
	h.Set("Content-Disposition", `attachment; filename="house-rules.toml"`)
	return c.Blob(http.StatusOK, "application/toml; charset=utf-8", []byte(sc.snap.Rules.TOML(s.o.House.People().HomeName)))
}

// changeRules looks at a change, or puts it into force.
func (s *Server) changeRules(c echo.Context) error {
	who, sc, err := s.managerScene(c)
	if err != nil {
		return err
	}
	l, settings := sc.lang(), formSettings(&sc.snap.Rules)
	f, err := parseForm(c.Request(), ruleFields(l, settings)...)
	if err != nil {
		return s.showRules(c, sc, settings, nil, err)
	}
	for i := range settings {
		settings[i].Value = typedRule(&settings[i], f[settings[i].Path])
	}
	rules := sc.snap.Rules
	problems := rules.SetAll(settings)
	if len(problems) == 0 {
		rules.LongerHoldHomes = sc.snap.Rules.LongerHoldHomes // they have buttons of their own
		problems = rules.Validate()
	}
	if len(problems) > 0 {
		return s.showRules(c, sc, settings, problems, nil)
	}
	if f["do"] != "keep" {
		v := s.viewRules(sc, settings)
		v.Looked, v.Changes = true, changesOf(l, &sc.snap.Rules, &rules)
		return s.render(c, http.StatusOK, "rules", v)
	}
	version, _ := strconv.Atoi(f["version"])
	if _, err = s.do(c, sc, coordinator.SetRules{Person: who.ID, Rules: rules, Version: version}); err != nil {
		return s.showRules(c, sc, settings, nil, err)
	}
	return s.redirect(c, s.rulesPath(sc)+"#versions")
}

func (s *Server) rulesPath(sc *scene) string { return "/manager" + roomPath(sc.snap.Room) + "/rules" }

// showRules shows the form again, with what is wrong beside each rule, or a refusal above.
func (s *Server) showRules(c echo.Context, sc *scene, settings []coordinator.Setting, problems []coordinator.Problem, err error) error {
	l := sc.lang()
	v := s.viewRules(sc, settings)
	if err != nil {
		status, text, known := refusal(l, err)
		if !known {
			return err
		}
		v.Problem = &problem{Form: "rules", Text: text}
		return s.render(c, status, "rules", v)
	}
	for _, p := range problems {
		v.mark(p.Path, l.Say("rules.wrong", "wrong", p.Wrong, "right", p.Right))
	}
	v.Problem = &problem{Form: "rules", Text: l.Count("rules.problems", len(problems))}
	return s.render(c, http.StatusUnprocessableEntity, "rules", v)
}

// mark puts a problem beside the input that it is about.
func (v *rulesView) mark(path, text string) {
	v.each(func(in *ruleInput) {
		if in.Name == path {
			in.Wrong = text
		}
	})
}

func (v *rulesView) each(fn func(*ruleInput)) {
	for g := range v.Groups {
		for i := range v.Groups[g].Rules {
			fn(&v.Groups[g].Rules[i])
		}
	}
	for i := range v.Ladder {
		fn(&v.Ladder[i].After)
		fn(&v.Ladder[i].Tell)
	}
	for d := range v.Days {
		fn(&v.Days[d].Closed)
		for i := range v.Days[d].Times {
			fn(&v.Days[d].Times[i])
		}
	}
}

// settingsOf are a form's settings: those of the rules, and spare steps of the ladder.
func settingsOf(r *coordinator.Rules) []coordinator.Setting {
	settings := r.Settings()
	settings = withSteps(settings, len(r.Ladder)+1, len(r.Ladder)+spareSteps)
	return slices.DeleteFunc(settings, func(s coordinator.Setting) bool { return s.Kind == coordinator.HomesSetting })
}

var audiences = []string{"owner", "next", "manager"}

// formSettings are those that a form may send: another version may have more
// steps than the one in force.
func formSettings(r *coordinator.Rules) []coordinator.Setting {
	return withSteps(settingsOf(r), len(r.Ladder)+spareSteps+1, mostSteps)
}

// withSteps adds empty steps of the ladder, by their numbers.
func withSteps(settings []coordinator.Setting, first, last int) []coordinator.Setting {
	for n := first; n <= min(last, mostSteps); n++ {
		path := fmt.Sprintf("ladder[%d].", n)
		settings = append(settings,
			coordinator.Setting{Path: path + "after", Kind: coordinator.SpanSetting},
			coordinator.Setting{Path: path + "tell", Kind: coordinator.ChoiceSetting, Value: "owner", Choices: audiences})
	}
	return settings
}

// mostSteps is how many steps of the ladder a form can have.
const mostSteps = 20

func ruleFields(l *words.Language, settings []coordinator.Setting) []field {
	fields := []field{{"do", "What to do", 4, false}, {"version", "Version", 9, false}}
	for _, s := range settings {
		most := 20
		if s.Kind == coordinator.TextSetting {
			most = 2000
		}
		fields = append(fields, field{s.Path, ruleLabel(l, s.Path), most, false})
	}
	return fields
}

// typedRule is what a form's input says, as a setting: minutes are a number, and
// a box that is not ticked is not sent.
func typedRule(s *coordinator.Setting, typed string) string {
	switch s.Kind {
	case coordinator.TruthSetting:
		return strconv.FormatBool(typed == "yes")
	case coordinator.SpanSetting:
		minutes, err := strconv.ParseFloat(strings.Replace(typed, ",", ".", 1), 64)
		if err != nil || minutes < 0 || minutes > 1e7 {
			return typed // to be reported as it was typed
		}
		return coordinator.SpanText(time.Duration(minutes*60+0.5) * time.Second)
	case coordinator.ChoiceSetting:
		if typed == "" {
			return s.Value
		}
	case coordinator.TextSetting:
		return strings.Join(strings.Fields(typed), " ")
	}
	return typed
}

// viewRules makes the form.
func (s *Server) viewRules(sc *scene, settings []coordinator.Setting) *rulesView {
	l := sc.lang()
	path := s.rulesPath(sc)
	v := &rulesView{
		Name: sc.snap.Name, Back: "/manager#rooms", Path: path, Export: path + ".toml", Version: sc.snap.RulesVersion,
		Versions: s.ruleVersions(sc),
	}
	by := map[string]ruleInput{}
	for i := range settings {
		by[settings[i].Path] = inputOf(l, &settings[i])
	}
	for _, g := range ruleGroups {
		group := ruleGroup{Title: l.Say(g.title)}
		for _, p := range g.paths {
			group.Rules = append(group.Rules, by[p])
		}
		v.Groups = append(v.Groups, group)
	}
	for n := 1; n <= mostSteps; n++ {
		after, there := by[fmt.Sprintf("ladder[%d].after", n)]
		if there && (after.Value != "" || n <= len(sc.snap.Rules.Ladder)+spareSteps) {
			v.Ladder = append(v.Ladder, ladderRow{after, by[fmt.Sprintf("ladder[%d].tell", n)]})
		}
	}
	for i := range 7 {
		d := time.Weekday((i + 1) % 7)
		p := "hours." + strings.ToLower(d.String()) + "."
		row := dayRow{Day: l.Weekday(d), Closed: by[p+"closed"], Times: []ruleInput{by[p+"opens"], by[p+"last_start"], by[p+"ended_by"]}}
		row.Closed.Short = l.Say("rule-time.closed")
		for k, key := range []string{"opens", "last_start", "ended_by"} {
			row.Times[k].Short = l.Say("rule-time." + key)
		}
		v.Days = append(v.Days, row)
	}
	return v
}

// inputOf is a setting in the form.
func inputOf(l *words.Language, s *coordinator.Setting) ruleInput {
	in := ruleInput{Name: s.Path, Label: ruleLabel(l, s.Path), Value: s.Value}
	if how := "rule-how." + s.Path; l.Has(how) {
		in.How = l.Say(how)
	}
	switch s.Kind {
	case coordinator.SpanSetting:
		in.Kind = "minutes"
		if d, err := coordinator.ParseSpan(s.Value); err == nil {
			in.Value = strconv.FormatFloat(d.Minutes(), 'f', -1, 64)
		}
	case coordinator.CountSetting:
		in.Kind = "count"
	case coordinator.ClockSetting:
		in.Kind = "clock"
	case coordinator.TruthSetting:
		in.Kind = "truth"
	case coordinator.TextSetting:
		in.Kind = "text"
	case coordinator.ChoiceSetting:
		in.Kind = "choice"
		for _, choice := range s.Choices {
			in.Choices = append(in.Choices, ruleChoice{choice, l.Say("rule-choice." + choice), choice == s.Value})
		}
	}
	return in
}

// ruleLabel is what a rule is called; steps of the ladder and days by what they are of.
func ruleLabel(l *words.Language, path string) string {
	if step, key, ok := strings.Cut(strings.TrimPrefix(path, "ladder["), "]."); ok {
		return l.Say("rule-step."+key, "n", step)
	}
	if rest, ok := strings.CutPrefix(path, "hours."); ok {
		day, key, _ := strings.Cut(rest, ".")
		for d := time.Sunday; d <= time.Saturday; d++ {
			if strings.ToLower(d.String()) == day {
				return l.Say("rule-day."+key, "day", l.Weekday(d))
			}
		}
	}
	return l.Say("rule." + path)
}

// changesOf says how other rules differ, as a person reads it.
func changesOf(l *words.Language, from, to *coordinator.Rules) (all []ruleChange) {
	for _, c := range from.ChangedTo(to) {
		all = append(all, ruleChange{ruleLabel(l, c.Path), ruleValue(l, c.Path, c.From), ruleValue(l, c.Path, c.To)})
	}
	return all
}

// ruleValue is a setting's text as a person reads it.
func ruleValue(l *words.Language, path, value string) string {
	if said := orWord(l, value); said != value || path == "text" {
		return said
	}
	if path == "longer_hold_homes" {
		return l.Count("rules.homes", strings.Count(value, ",")+1)
	}
	if d, err := coordinator.ParseSpan(value); err == nil {
		return l.Span(d)
	}
	return value
}

// orWord says truths, choices and nothing in words, and leaves the rest as it was typed.
func orWord(l *words.Language, value string) string {
	switch {
	case value == "":
		return l.Say("rules.none")
	case value == "true":
		return l.Say("rules.yes")
	case value == "false":
		return l.Say("rules.no")
	case l.Has("rule-choice." + value):
		return l.Say("rule-choice." + value)
	}
	return value
}

// ruleVersions lists the versions, newest first, with what each changed.
func (s *Server) ruleVersions(sc *scene) (all []ruleVersion) {
	l, people := sc.lang(), s.o.House.People()
	for i, v := range slices.Backward(sc.snap.Versions) {
		out := ruleVersion{Number: v.Version, InForce: v.Version == sc.snap.RulesVersion, Link: fmt.Sprintf("%s?version=%d", s.rulesPath(sc), v.Version)}
		if v.At.IsZero() {
			out.Unrecorded = true
		} else {
			out.At = sc.tell().at(v.At)
		}
		if p, ok := people.Persons[v.Person]; ok {
			out.Who = p.Name
		}
		if i > 0 {
			out.Changes = changesOf(l, &sc.snap.Versions[i-1].Rules, &v.Rules)
		}
		all = append(all, out)
	}
	return all
}
