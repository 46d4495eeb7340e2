package main

import (
	"context"
	"fmt"
	"slices"
	"time"

	"drumturn/config"
	"drumturn/coordinator"
	"drumturn/coordinator/store"
)

// rulesRequest asks for a room's house rules, or with a Text to put its rules
// into force; with Look too, only what that would change.
type rulesRequest struct {
	Room coordinator.RoomID
	Text string
	Look bool
}

// rulesAnswer is what is in force then, and what has changed.
type rulesAnswer struct {
	Text    string
	Version int
	Changes []coordinator.Changed
}

// rules answers for the running building.
func (a *app) rules(ctx context.Context, req rulesRequest) (rulesAnswer, error) {
	snap := a.house.Snapshot(req.Room)
	if snap == nil {
		return rulesAnswer{}, fmt.Errorf("the running program has no room %q: it was started with another building file", req.Room)
	}
	return req.answer(snap, a.house.People(), func(ev coordinator.SetRules) (*coordinator.Snapshot, error) {
		_, err := a.house.Do(ctx, req.Room, ev)
		return a.house.Snapshot(req.Room), err
	})
}

// answer reads the rules of a room, and puts others into force with set, which
// gives the room as it is then.
func (req rulesRequest) answer(snap *coordinator.Snapshot, people *coordinator.People, set func(coordinator.SetRules) (*coordinator.Snapshot, error)) (rulesAnswer, error) {
	answer := rulesAnswer{Version: snap.RulesVersion}
	if req.Text != "" {
		rules, err := config.ParseRules("house rules", []byte(req.Text))
		if err != nil {
			return answer, err
		}
		rules.LongerHoldHomes = homeIDs(rules.LongerHoldHomes)
		answer.Changes = snap.Rules.ChangedTo(&rules)
		if !req.Look && len(answer.Changes) > 0 {
			if snap, err = set(coordinator.SetRules{Rules: rules, Version: snap.RulesVersion}); err != nil {
				return answer, err
			}
		}
	}
	answer.Version = snap.RulesVersion
	answer.Text = fmt.Sprintf("# House rules of room %s, version %d.\n\n", snap.Room, snap.RulesVersion) + snap.Rules.TOML(people.HomeName)
	return answer, nil
}

// offlineRules answers from the store of a building that does not run.
func offlineRules(ctx context.Context, file *config.File, path string, req rulesRequest) (rulesAnswer, error) {
	open := store.Open
	if req.Text == "" || req.Look {
		open = store.OpenToRead
	}
	st, err := open(path, store.Options{})
	if err != nil {
		return rulesAnswer{}, err
	}
	defer st.Close()
	all := plans(file)
	plan := all[slices.IndexFunc(all, func(p coordinator.Plan) bool { return p.ID == req.Room })]
	stored, err := st.Load(ctx, req.Room)
	if err != nil {
		return rulesAnswer{}, err
	}
	room, err := coordinator.Restore(plan, stored, engine)
	if err != nil {
		return rulesAnswer{}, err
	}
	stored, err = st.Load(ctx, coordinator.Building)
	if err != nil {
		return rulesAnswer{}, err
	}
	people, err := coordinator.RestorePeople(stored)
	if err != nil {
		return rulesAnswer{}, err
	}
	return req.answer(room.Snapshot(time.Now()), people, func(ev coordinator.SetRules) (*coordinator.Snapshot, error) {
		set, _, err := room.Step(time.Now(), ev)
		if err == nil {
			err = st.Commit(ctx, set)
		}
		return room.Snapshot(time.Now()), err
	})
}
