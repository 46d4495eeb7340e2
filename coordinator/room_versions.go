package coordinator

import (
	"encoding/json"
	"fmt"
	"slices"
	"time"
)

// RulesVersion is one version of a room's house rules, with when it came into
// force and who put it there (empty: the building file, or not known any more).
type RulesVersion struct {
	Version int
	At      time.Time
	Person  PersonID `json:",omitempty"`
	Rules   Rules
}

// rulesTable is where versions are stored, by number.
const rulesTable = "rules"

// setRules replaces the house rules.
func (r *Room) setRules(e SetRules, now time.Time) error {
	if e.Version != 0 && e.Version != r.state.RulesVersion {
		return Refuse(Conflict, "rules.changed", "The house rules were changed meanwhile. Look at them again.")
	}
	if problems := e.Rules.Validate(); len(problems) > 0 {
		p := problems[0]
		return Refuse(Invalid, "rules.invalid", "House rules, {path}: {wrong}; {right}.", "path", p.Path, "wrong", p.Wrong, "right", p.Right)
	}
	if len(r.state.Rules.ChangedTo(&e.Rules)) == 0 {
		return nil
	}
	r.keepFirst(now)
	r.state.Rules = e.Rules.clone()
	r.state.RulesVersion++
	r.newRules(Fact{Person: e.Person}, now)
	return nil
}

// holdLonger changes for which homes a machine is kept longer.
func (r *Room) holdLonger(e HoldLonger, now time.Time) error {
	if e.Home == "" {
		return Refuse(Invalid, "longer.home", "Choose the home for which machines are to be kept longer.")
	}
	homes := slices.DeleteFunc(slices.Clone(r.state.Rules.LongerHoldHomes), func(h HomeID) bool { return h == e.Home })
	if e.On {
		homes = append(homes, e.Home)
	}
	if len(homes) == len(r.state.Rules.LongerHoldHomes) {
		return nil
	}
	note := "usual hold"
	if e.On {
		note = "longer hold"
	}
	r.setLongerHolds(homes, Fact{Person: e.Person, Home: e.Home, Note: note}, now)
	return nil
}

// setLongerHolds makes a version of the rules with other homes that need more time.
func (r *Room) setLongerHolds(homes []HomeID, f Fact, now time.Time) {
	r.keepFirst(now)
	r.state.Rules.LongerHoldHomes = homes
	r.state.RulesVersion++
	r.newRules(f, now)
}

// newRules stores the rules in force as a version, with its fact.
func (r *Room) newRules(f Fact, now time.Time) {
	f.Kind = FactRules
	r.fact(f)
	r.keepVersion(RulesVersion{Version: r.state.RulesVersion, At: now, Person: f.Person, Rules: r.state.Rules.clone()})
}

// keepFirst stores the rules in force where no version was ever stored: rooms
// were founded before versions were kept.
func (r *Room) keepFirst(now time.Time) {
	if len(r.versions) == 0 {
		r.keepVersion(RulesVersion{Version: r.state.RulesVersion, Rules: r.state.Rules.clone()})
	}
}

func (r *Room) keepVersion(v RulesVersion) {
	r.out.Put(rulesTable, fmt.Sprintf("%06d", v.Version), v)
	r.versions = append(r.versions, v) // readers of older snapshots keep their shorter list
	r.touch()
}

// clone shares nothing with r.
func (r *Rules) clone() Rules {
	c := *r
	c.Ladder, c.LongerHoldHomes = slices.Clone(r.Ladder), slices.Clone(r.LongerHoldHomes)
	return c
}

// restoreVersions takes the stored versions, in order.
func (r *Room) restoreVersions(rows []Row) error {
	for _, row := range rows {
		if row.Table != rulesTable {
			continue
		}
		var v RulesVersion
		if err := json.Unmarshal(row.Value, &v); err != nil {
			return fmt.Errorf("version %s of the house rules of room %q does not read: %w", row.Key, r.plan.ID, err)
		}
		r.versions = append(r.versions, v)
	}
	slices.SortFunc(r.versions, func(a, b RulesVersion) int { return a.Version - b.Version })
	return nil
}
