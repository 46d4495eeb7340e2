package ui

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"drumturn/coordinator"
	"drumturn/push/words"
)

// tariffView is the tariff as a form, with what a change would change, and all
// versions.
type tariffView struct {
	Problem *problem
	Plain   []ruleInput
	Windows []windowView
	Cycles  []ruleInput
	Looked  bool
	Changes []ruleChange
	// Versions are all that were ever set, newest first.
	Versions []tariffVersion
}

// windowView is one time of another price.
type windowView struct {
	Title  string
	Inputs []ruleInput
	Days   []ruleInput
}

type tariffVersion struct {
	Number  int
	Set     string
	From    string // the day from which it holds; empty: since ever
	Changes []ruleChange
}

// tariffPath is where the prices are set.
const tariffPath = "/manager/tariff"

const (
	// spareWindows is how many empty windows the form ends with, mostWindows how many it can have.
	spareWindows = 2
	mostWindows  = 12
)

// tariffPage shows the tariff that was set last, to be changed.
func (s *Server) tariffPage(c echo.Context) error {
	if s.manager(c) == nil {
		return notManager
	}
	return s.render(c, http.StatusOK, "tariff", s.viewTariff(s.lang(c), s.tariffSettings(s.newestTariff())))
}

func (s *Server) newestTariff() *coordinator.Tariff {
	if all := s.o.House.People().Tariffs; len(all) > 0 {
		return &all[len(all)-1].Tariff
	}
	return &coordinator.Tariff{}
}

// changeTariff looks at a change, or sets it.
func (s *Server) changeTariff(c echo.Context) error {
	who := s.manager(c)
	if who == nil {
		return notManager
	}
	l, settings := s.lang(c), s.formTariff()
	fields := []field{{"do", "What to do", 4, false}}
	for _, one := range settings {
		fields = append(fields, field{one.Path, tariffLabel(l, one.Path, s), 80, false})
	}
	f, err := parseLongForm(c.Request(), longestTariff(settings), fields...)
	if err != nil {
		return s.showTariff(c, settings, nil, err)
	}
	for i := range settings {
		settings[i].Value = typedTariff(&settings[i], f[settings[i].Path])
	}
	tariff, problems := coordinator.TariffOf(settings)
	if len(problems) == 0 {
		problems = tariff.Validate()
	}
	if len(problems) > 0 {
		return s.showTariff(c, settings, problems, nil)
	}
	if f["do"] != "keep" {
		v := s.viewTariff(l, settings)
		v.Looked, v.Changes = true, s.tariffChanges(l, s.newestTariff(), &tariff)
		return s.render(c, http.StatusOK, "tariff", v)
	}
	if err := s.o.House.DoPeople(c.Request().Context(), coordinator.SetTariff{Tariff: tariff, By: who.ID}); err != nil {
		return s.showTariff(c, settings, nil, err)
	}
	return s.redirect(c, "/manager/tariff#versions")
}

// priceOctets are more than a price and what stands around it take in a form.
const priceOctets = 32

// longestTariff is how long the form may be, bytes: as any, and for every
// machine's price per cycle what its name and a price take.
func longestTariff(settings []coordinator.Setting) int64 {
	most := int64(maxForm)
	for _, one := range settings {
		if strings.HasPrefix(one.Path, "cycle[") {
			most += int64(len(url.QueryEscape(one.Path)) + priceOctets)
		}
	}
	return most
}

// showTariff shows the form again, with what is wrong beside each part, or a refusal above.
func (s *Server) showTariff(c echo.Context, settings []coordinator.Setting, problems []coordinator.Problem, err error) error {
	l := s.lang(c)
	v, status := s.viewTariff(l, settings), http.StatusUnprocessableEntity
	text := l.Count("tariff.problems", len(problems))
	if err != nil {
		var known bool
		if status, text, known = refusal(l, err); !known {
			return err
		}
	}
	for _, p := range problems {
		v.mark(p.Path, l.Say("rules.wrong", "wrong", p.Wrong, "right", p.Right))
	}
	v.Problem = &problem{Form: "tariff", Text: text}
	return s.render(c, status, "tariff", v)
}

func (v *tariffView) mark(path, text string) {
	lists := [][]ruleInput{v.Plain, v.Cycles}
	for i := range v.Windows {
		lists = append(lists, v.Windows[i].Inputs, v.Windows[i].Days)
	}
	for _, list := range lists {
		for i := range list {
			if list[i].Name == path {
				list[i].Wrong = text
			}
		}
	}
}

// tariffSettings are a form's settings: those of the tariff, spare windows, and
// every machine's price per cycle.
func (s *Server) tariffSettings(t *coordinator.Tariff) []coordinator.Setting {
	settings := slices.DeleteFunc(t.Settings(), func(one coordinator.Setting) bool { return strings.HasPrefix(one.Path, "cycle[") })
	for n := len(t.Windows) + 1; n <= min(len(t.Windows)+spareWindows, mostWindows); n++ {
		settings = append(settings, coordinator.EmptyWindow(n)...)
	}
	for _, room := range s.o.House.Rooms() {
		snap := s.o.House.Snapshot(room)
		for i := range snap.Machines {
			one := coordinator.Setting{Path: coordinator.CyclePath(room, snap.Machines[i].ID), Kind: coordinator.PriceSetting}
			if micros, ok := t.CyclePrice(room, snap.Machines[i].ID); ok {
				one.Value = coordinator.MicrosText(micros)
			}
			settings = append(settings, one)
		}
	}
	return settings
}

// formTariff are those that a form may send: as many windows as a form can have.
func (s *Server) formTariff() []coordinator.Setting {
	settings := s.tariffSettings(&coordinator.Tariff{})
	for n := spareWindows + 1; n <= mostWindows; n++ {
		settings = append(settings, coordinator.EmptyWindow(n)...)
	}
	return settings
}

func typedTariff(one *coordinator.Setting, typed string) string {
	switch one.Kind {
	case coordinator.TruthSetting:
		return fmt.Sprint(typed == "yes")
	case coordinator.ChoiceSetting:
		if typed == "" {
			return one.Value
		}
	}
	return typed
}

// viewTariff makes the form.
func (s *Server) viewTariff(l *words.Language, settings []coordinator.Setting) *tariffView {
	v := &tariffView{Versions: s.tariffVersions(l)}
	shown := 0
	for i := range settings {
		one := &settings[i]
		in := tariffInput(l, one, s)
		n, key, inWindow := coordinator.WindowPath(one.Path)
		switch {
		case !inWindow && strings.HasPrefix(one.Path, "cycle["):
			v.Cycles = append(v.Cycles, in)
		case !inWindow:
			v.Plain = append(v.Plain, in)
		default:
			for len(v.Windows) < n {
				v.Windows = append(v.Windows, windowView{Title: l.Say("tariff.window", "n", len(v.Windows)+1)})
			}
			w := &v.Windows[n-1]
			in.Short = l.Say("tariff-window." + key)
			if one.Kind == coordinator.TruthSetting {
				w.Days = append(w.Days, in)
			} else {
				w.Inputs = append(w.Inputs, in)
				if one.Value != "" {
					shown = max(shown, n)
				}
			}
		}
	}
	v.Windows = v.Windows[:min(len(v.Windows), shown+spareWindows)]
	return v
}

func tariffInput(l *words.Language, one *coordinator.Setting, s *Server) ruleInput {
	in := inputOf(l, one)
	in.Label = tariffLabel(l, one.Path, s)
	if how := "tariff-how." + one.Path; l.Has(how) {
		in.How = l.Say(how)
	}
	switch one.Kind {
	case coordinator.PriceSetting:
		in.Kind = "price"
	case coordinator.DateSetting:
		in.Kind = "date"
	case coordinator.TextSetting, coordinator.YearDaySetting:
		in.Kind = "line"
	}
	return in
}

// tariffLabel is what a part of the tariff is called.
func tariffLabel(l *words.Language, path string, s *Server) string {
	if n, key, ok := coordinator.WindowPath(path); ok {
		return l.Say("tariff.of-window", "n", n, "part", l.Say("tariff-window."+key))
	}
	if place, ok := strings.CutPrefix(path, "cycle["); ok {
		room, machine, _ := strings.Cut(strings.TrimSuffix(place, "]"), "/")
		if snap := s.o.House.Snapshot(coordinator.RoomID(room)); snap != nil {
			if m := snap.Machine(coordinator.MachineID(machine)); m != nil {
				return l.Say("tariff.cycle-of", "room", snap.Name, "machine", machineName(l, m))
			}
		}
		return place
	}
	return l.Say("tariff-part." + path)
}

// tariffChanges says how another tariff differs, as a person reads it.
func (s *Server) tariffChanges(l *words.Language, from, to *coordinator.Tariff) (all []ruleChange) {
	for _, c := range from.ChangedTo(to) {
		all = append(all, ruleChange{tariffLabel(l, c.Path, s), orWord(l, c.From), orWord(l, c.To)})
	}
	return all
}

// tariffVersions lists all tariffs, newest first, with what each changed.
func (s *Server) tariffVersions(l *words.Language) (all []tariffVersion) {
	tariffs := s.o.House.People().Tariffs
	for i, t := range slices.Backward(tariffs) {
		v := tariffVersion{Number: t.Version, Set: fullDay(l, t.Set)}
		if !t.Tariff.From.IsZero() {
			v.From = fullDay(l, t.Tariff.From.Begin(time.UTC))
		}
		before := &coordinator.Tariff{}
		if i > 0 {
			before = &tariffs[i-1].Tariff
		}
		v.Changes = s.tariffChanges(l, before, &tariffs[i].Tariff)
		all = append(all, v)
	}
	return all
}
