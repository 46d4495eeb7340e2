package coordinator

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

// plainEngine is the simplest engine there can be: above 10 W runs, at or below
// is over at once; a cycle takes an hour; silent after ten minutes. It lets the
// room's tests say exactly when a cycle begins and ends.
type plainEngine struct {
	S   cycle.Status
	Cut time.Time // power fell to 0 W at this time; over three minutes later
	out []cycle.Event
}

func newPlain(cycle.Settings) cycle.Engine { return &plainEngine{} }

func (e *plainEngine) Read(now time.Time, r cycle.Reading) []cycle.Event {
	e.out = e.out[:0]
	if e.S.Silent {
		e.S.Silent = false
		e.out = append(e.out, cycle.Event{Kind: cycle.Heard, At: now})
	}
	e.S.Last = r
	switch works := r.Watts > 10; {
	case r.Watts == 0 && e.S.Running:
		if e.Cut.IsZero() {
			e.Cut = r.At
		}
	case works && e.S.Running:
		e.Cut = time.Time{}
	case works && !e.S.Running:
		e.S.Running, e.S.Start = true, r.At
		e.out = append(e.out, cycle.Event{Kind: cycle.Started, At: now, Start: r.At})
	case !works && e.S.Running:
		e.S.Running = false
		kind := cycle.Finished
		if r.At.Sub(e.S.Start) < 20*time.Minute {
			kind = cycle.StoppedEarly
		}
		e.out = append(e.out, cycle.Event{Kind: kind, At: now, Start: e.S.Start, End: r.At, EnergyWh: 500, PeakW: 2000})
	}
	return e.out
}

func (e *plainEngine) Tick(now time.Time) []cycle.Event {
	e.out = e.out[:0]
	if over := e.Cut.Add(3 * time.Minute); !e.Cut.IsZero() && !over.After(now) {
		e.S.Running = false
		e.out = append(e.out, cycle.Event{Kind: cycle.StoppedEarly, At: now, Start: e.S.Start, End: e.Cut})
		e.Cut = time.Time{}
		return e.out
	}
	if due := e.Next(); !due.IsZero() && !due.After(now) {
		e.S.Silent = true
		e.out = append(e.out, cycle.Event{Kind: cycle.Silent, At: now, Start: e.S.Last.At})
	}
	return e.out
}

func (e *plainEngine) Next() time.Time {
	if e.S.Silent || e.S.Last.At.IsZero() {
		return time.Time{}
	}
	silent := e.S.Last.At.Add(10 * time.Minute)
	if over := e.Cut.Add(3 * time.Minute); !e.Cut.IsZero() && over.Before(silent) {
		return over
	}
	return silent
}

func (e *plainEngine) Status() cycle.Status { return e.S }

func (e *plainEngine) Remaining(now time.Time) (cycle.Estimate, bool) {
	left := max(e.S.Start.Add(time.Hour).Sub(now), 0)
	return cycle.Estimate{Median: left, Low: left / 2, High: left * 2}, e.S.Running
}

func (e *plainEngine) Checkpoint() (cycle.Checkpoint, error) {
	s := e.S
	data, err := json.Marshal([]any{s.Running, s.Silent, s.Start, s.Last.At, s.Last.Watts, e.Cut})
	return cycle.Checkpoint{Engine: "plain", Version: 1, At: e.S.Last.At, Data: data}, err
}

func (e *plainEngine) Restore(c cycle.Checkpoint) error {
	if c.Version != 1 {
		return cycle.ErrVersion
	}
	fields := []any{&e.S.Running, &e.S.Silent, &e.S.Start, &e.S.Last.At, &e.S.Last.Watts, &e.Cut}
	return json.Unmarshal(c.Data, &fields)
}

// noon is a Wednesday noon in summer, UTC.
var noon = time.Date(2026, 6, 10, 12, 0, 0, 0, time.UTC)

// testPlan is a room with washers 1 and 2 and dryer 3, under plain rules.
func testPlan() Plan {
	machine := func(id MachineID, n int, k queue.Kind) Machine {
		return Machine{
			Machine: queue.Machine{ID: id, Number: n, Kind: k}, Meter: "meter-" + string(id),
			Power: cycle.DefaultSettings(),
		}
	}
	rules := DefaultRules()
	rules.NightFrom, rules.NightTo = queue.NoClock, queue.NoClock
	rules.CallUncollectedAfter = 45 * time.Minute
	return Plan{
		ID: "cellar", Name: "Cellar", Zone: time.UTC, Seed: rules,
		Machines: []Machine{machine("w1", 1, queue.Washer), machine("w2", 2, queue.Washer), machine("d3", 3, queue.Dryer)},
	}
}

// memory is the smallest store of one room: what a restart gives back.
type memory struct{ stored Stored }

func (m *memory) commit(t *testing.T, set ChangeSet) {
	t.Helper()
	if !set.Moves() {
		return
	}
	if set.Expect != m.stored.Seq {
		t.Fatalf("change set expects sequence %d, the store is at %d", set.Expect, m.stored.Seq)
	}
	m.stored.Seq++
	m.stored.At = set.At
	m.stored.Rows = putRows(m.stored.Rows, set.Rows)
	for _, c := range set.Checkpoints {
		m.stored.Checkpoints = append(deleteCheckpoint(m.stored.Checkpoints, c.Machine), c)
		m.stored.Tail = slices.DeleteFunc(m.stored.Tail, func(r MachineReading) bool { return r.Machine == c.Machine })
	}
}

func deleteCheckpoint(list []MachineCheckpoint, id MachineID) []MachineCheckpoint {
	var kept []MachineCheckpoint
	for _, c := range list {
		if c.Machine != id {
			kept = append(kept, c)
		}
	}
	return kept
}

// scene is a room under test with a clock and everything it ever gave out.
type scene struct {
	*testing.T
	room    *Room
	now     time.Time
	store   memory
	notices []Notice
	facts   []Fact
	// unsent are the notices that no later set withdrew.
	unsent map[string]Notice
	// left is what the steps left behind, as lines; nil while no test looks.
	left []string
}

// newScene opens a room in which every machine has been heard idle.
func newScene(t *testing.T, change func(*Plan)) *scene {
	t.Helper()
	plan := testPlan()
	if change != nil {
		change(&plan)
	}
	s := &scene{T: t, room: NewRoom(plan, newPlain), now: noon, unsent: map[string]Notice{}}
	s.idle()
	return s
}

// idle reads standby power from every machine that does not run.
func (s *scene) idle() {
	for i, m := range s.room.plan.Machines {
		if !s.room.engines[i].Status().Running {
			s.watts(m.ID, 1)
		}
	}
}

// watts reads power from a machine's meter.
func (s *scene) watts(id MachineID, w float64) {
	s.Helper()
	if last := s.room.engines[s.room.index(id)].Status().Last.At; !s.now.After(last) {
		s.now = last.Add(time.Millisecond)
	}
	reading := cycle.Power(s.now, w)
	set := s.room.Measure(s.now, id, reading)
	s.take(set)
	if !slices.ContainsFunc(set.Checkpoints, func(c MachineCheckpoint) bool { return c.Machine == id }) {
		s.store.stored.Tail = append(s.store.stored.Tail, MachineReading{Machine: id, Reading: reading})
	}
}

// take books a change set, as the store and the outbox would.
func (s *scene) take(set ChangeSet) {
	s.Helper()
	s.store.commit(s.T, set)
	if s.left != nil {
		s.left = append(s.left, linesOf(&set)...)
	}
	s.facts = append(s.facts, set.Facts...)
	for _, subject := range set.Withdraw {
		for key, n := range s.unsent {
			if n.Subject == subject {
				delete(s.unsent, key)
			}
		}
	}
	for _, n := range set.Notices {
		for _, old := range s.notices {
			if old.Key() == n.Key() {
				s.Errorf("notice %s was made twice", n.Key())
			}
		}
		s.notices = append(s.notices, n)
		s.unsent[n.Key()] = n
	}
}

// do steps an event that must be taken.
func (s *scene) do(ev Event) Reply {
	s.Helper()
	reply, err := s.try(ev)
	if err != nil {
		s.Fatalf("%T at %s: %v", ev, s.now.Format("15:04:05"), err)
	}
	return reply
}

// try steps an event that may be refused.
func (s *scene) try(ev Event) (Reply, error) {
	s.Helper()
	set, reply, err := s.room.Step(s.now, ev)
	s.take(set)
	return reply, err
}

// refused steps an event that must be refused with the given key.
func (s *scene) refused(ev Event, key string) {
	s.Helper()
	_, err := s.try(ev)
	if refusal, ok := err.(*Error); !ok || refusal.Key != key {
		s.Fatalf("%T: got %v, want a refusal %q", ev, err, key)
	}
}

// wait lets time pass, with every deadline at its own instant and the meters
// of all machines heard each minute.
func (s *scene) wait(d time.Duration) {
	s.Helper()
	end := s.now.Add(d)
	for s.now.Before(end) {
		next := s.now.Add(time.Minute)
		if next.After(end) {
			next = end
		}
		for due := s.room.Deadline(); !due.IsZero() && !due.After(next); due = s.room.Deadline() {
			s.now = later(s.now, due)
			s.do(Tick{})
		}
		s.now = next
		for i, m := range s.room.plan.Machines {
			if st := s.room.engines[i].Status(); !st.Silent {
				s.watts(m.ID, st.Last.Watts)
			}
		}
	}
}

// reopen kills the room and opens it again from what was committed, after a time.
func (s *scene) reopen(down time.Duration) {
	s.Helper()
	room, err := Restore(s.room.plan, s.store.stored, newPlain)
	if err != nil {
		s.Fatal(err)
	}
	since := s.now
	s.room = room
	s.now = s.now.Add(down)
	s.do(Reopened{Since: since})
}

// join takes a turn for a person whose home has the same name.
func (s *scene) join(who string, need queue.Need) TurnID {
	s.Helper()
	return s.do(Join{Person: PersonID(who), Home: HomeID("home-" + who), Need: need}).Turn
}

// cycle runs a machine for a time from now on.
func (s *scene) cycle(id MachineID, d time.Duration) {
	s.Helper()
	s.watts(id, 200)
	s.wait(d)
	s.watts(id, 1)
}

// status is a machine's status on the board.
func (s *scene) status(id MachineID) Status { return s.room.Snapshot(s.now).Machine(id).Status }

// foreseen is the board with its forecasts.
func (s *scene) foreseen() *Snapshot { return foreseen(s.room, s.now) }

// foreseen is what a room shows once its forecasts are worked out.
func foreseen(r *Room, now time.Time) *Snapshot {
	snap := r.Snapshot(now)
	return snap.With(r.Foresee(snap).Prospects())
}

// told lists whom notices of a kind went to, in order.
func (s *scene) told(kind NoticeKind) []string {
	var who []string
	for _, n := range s.notices {
		if n.Kind == kind {
			who = append(who, string(n.To)+string(n.Role))
		}
	}
	return who
}

// wantTold checks whom notices of a kind went to.
func (s *scene) wantTold(kind NoticeKind, who ...string) {
	s.Helper()
	got := s.told(kind)
	if len(got) != len(who) {
		s.Fatalf("%s was told to %v, want %v", kind, got, who)
	}
	for i := range who {
		if got[i] != who[i] {
			s.Fatalf("%s was told to %v, want %v", kind, got, who)
		}
	}
}

// wantStatus checks a machine's status.
func (s *scene) wantStatus(id MachineID, want Status) {
	s.Helper()
	if got := s.status(id); got != want {
		s.Fatalf("at %s machine %s is %s, want %s", s.now.Format("15:04:05"), id, got, want)
	}
}

// factsOf lists the facts of a kind, in order.
func (s *scene) factsOf(kind FactKind) []Fact {
	var out []Fact
	for _, f := range s.facts {
		if f.Kind == kind {
			out = append(out, f)
		}
	}
	return out
}

// hasFact reports whether a fact of a kind with the note was written.
func (s *scene) hasFact(kind FactKind, note string) bool {
	for _, f := range s.facts {
		if f.Kind == kind && f.Note == note {
			return true
		}
	}
	return false
}

// putRows is what a store does with a set's rows; without a value it deletes.
func putRows(have, set []Row) []Row {
	out := slices.Clone(have)
	for _, row := range set {
		out = slices.DeleteFunc(out, func(r Row) bool { return r.Table == row.Table && r.Key == row.Key })
		if row.Value != nil {
			out = append(out, row)
		}
	}
	return out
}
