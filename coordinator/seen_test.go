package coordinator

import (
	"testing"
	"time"
)

// TestNoteWalkUp: seen once it is off the list, over a restart; what was no start
// out of turn cannot be.
func TestNoteWalkUp(t *testing.T) {
	newScene(t, nil).refused(NoteWalkUp{Machine: "w1"}, "walk-up.none")
	s := passedBy(t, Reported)
	s.refused(NoteWalkUp{Machine: "x"}, "machine.unknown")
	if !s.outOfTurn() {
		t.Fatal("nobody started out of turn")
	}
	const machine = "w1"
	for range 2 {
		s.do(NoteWalkUp{Machine: machine, Person: "mia"})
	}
	s.reopen(time.Minute)
	if l := s.room.Snapshot(s.now).Machine(machine).Load; l == nil || !l.PastSeen {
		t.Errorf("the load is %+v", l)
	}
	if got := s.factsOf(FactSeen); len(got) != 1 || got[0].Person != "mia" {
		t.Errorf("facts %+v", got)
	}
}

// TestSeeNotices never goes back, nor into the future, and is a manager's only.
func TestSeeNotices(t *testing.T) {
	town := managed(t)
	if err := town.try(SeeNotices{By: "nobody", At: town.now}); err == nil {
		t.Error("nobody may")
	}
	boss := PersonID("boss")
	town.do(SeeNotices{By: boss, At: town.now.Add(-time.Hour)})
	town.do(SeeNotices{By: boss, At: town.now.Add(-2 * time.Hour)})
	if got := town.people.NoticesSeen; !got.Equal(town.now.Add(-time.Hour)) {
		t.Errorf("seen until %v", got)
	}
	town.do(SeeNotices{By: boss, At: town.now.Add(time.Hour)})
	if got := town.people.NoticesSeen; got.After(town.now) {
		t.Errorf("seen until %v, and it is %v", got, town.now)
	}
	town.reload()
}

// TestOperatorInvites: whoever runs the program may invite a manager; an event
// that only leaves out who it is by may not.
func TestOperatorInvites(t *testing.T) {
	town := managed(t)
	expires := town.now.Add(time.Hour)
	if err := town.try(InviteManager{Hash: "h", Name: "Cleo", Expires: expires}); err == nil {
		t.Error("nobody invites")
	}
	if err := town.try(InviteManager{By: "nobody", Operator: true, Hash: "h", Name: "Cleo", Expires: expires}); err == nil {
		t.Error("somebody else invites as the operator")
	}
	town.do(InviteManager{Operator: true, Hash: "h", Name: "Cleo", Expires: expires})
	if got := town.people.ManagerInvites["h"]; got.Name != "Cleo" {
		t.Errorf("invited %+v", got)
	}
}
