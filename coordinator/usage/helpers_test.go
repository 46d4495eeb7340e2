package usage

import (
	"context"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
	_ "time/tzdata" // the same rules of the clocks on every machine

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
	"drumturn/queue"
)

var (
	ctx    = context.Background()
	berlin = zone("Europe/Berlin")
)

func zone(name string) *time.Location {
	z, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return z
}

func must(t interface {
	Helper()
	Fatal(...any)
}, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

// local is an instant of Berlin.
func local(text string) time.Time {
	t, err := time.ParseInLocation("2006-01-02 15:04:05", text+":00", berlin)
	if err != nil {
		panic(err)
	}
	return t
}

func date(text string) (d Date) {
	if err := d.UnmarshalText([]byte(text)); err != nil {
		panic(err)
	}
	return d
}

// fakeStore is a store in memory that counts what it is asked.
type fakeStore struct {
	mu      sync.Mutex
	facts   map[coordinator.Unit][]coordinator.Fact
	sums    map[string][]byte
	marks   map[string][]time.Time // job and date -> when it was marked
	newest  map[string]string      // job -> the latest date that it was marked for
	read    map[coordinator.MachineID][]cycle.Reading
	retains []retainCall
	backups []string
	// fail is asked before each call that writes; it may panic.
	fail func(what string) error
}

type retainCall struct {
	unit               coordinator.Unit
	byPerson, readings time.Time
}

func newFake() *fakeStore {
	return &fakeStore{
		facts: map[coordinator.Unit][]coordinator.Fact{}, sums: map[string][]byte{}, marks: map[string][]time.Time{}, newest: map[string]string{}, read: map[coordinator.MachineID][]cycle.Reading{},
		fail: func(string) error { return nil },
	}
}

func (s *fakeStore) add(unit coordinator.Unit, facts ...coordinator.Fact) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.facts[unit] = append(s.facts[unit], facts...)
	slices.SortStableFunc(s.facts[unit], func(a, b coordinator.Fact) int { return a.At.Compare(b.At) })
}

func (s *fakeStore) Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	s.mu.Lock()
	all := slices.Clone(s.facts[unit])
	s.mu.Unlock()
	for _, f := range all {
		if !f.At.Before(from) && f.At.Before(to) && !fn(f) {
			break
		}
	}
	return ctx.Err()
}

func (s *fakeStore) Readings(ctx context.Context, _ coordinator.Unit, m coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	for _, r := range s.read[m] {
		if !r.At.Before(from) && r.At.Before(to) && !fn(coordinator.MachineReading{Machine: m, Reading: r}) {
			break
		}
	}
	return ctx.Err()
}

func (s *fakeStore) PutRollups(_ context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error {
	for _, sum := range sums {
		if err := s.fail("rollup " + sum.Key); err != nil {
			return err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, sum := range sums {
		if s.sums[sum.Key] = slices.Clone(sum.Value); sum.Value == nil {
			delete(s.sums, sum.Key)
		}
	}
	if mark.Job != "" {
		s.mark(mark.Job, mark.Date, mark.At)
	}
	return nil
}

func (s *fakeStore) Rollups(_ context.Context, from, to string, fn func(string, []byte) bool) error {
	s.mu.Lock()
	all := maps.Clone(s.sums)
	s.mu.Unlock()
	for _, key := range slices.Sorted(maps.Keys(all)) {
		if key >= from && (to == "" || key < to) && !fn(key, all[key]) {
			break
		}
	}
	return nil
}

func (s *fakeStore) JobDone(_ context.Context, job, date string) (bool, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.marks[job+" "+date]) > 0, nil
}

func (s *fakeStore) MarkJob(_ context.Context, job, date string, at time.Time) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.mark(job, date, at)
	return nil
}

func (s *fakeStore) mark(job, date string, at time.Time) {
	s.marks[job+" "+date] = append(s.marks[job+" "+date], at)
	s.newest[job] = max(s.newest[job], date)
}

func (s *fakeStore) ForgetJobs(_ context.Context, job, from string) (found bool, err error) {
	if err := s.fail("forget " + job); err != nil {
		return false, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.newest[job] < from {
		return false, nil
	}
	s.newest[job] = from
	for mark := range s.marks {
		if strings.HasPrefix(mark, job+" ") && mark >= job+" "+from {
			delete(s.marks, mark)
			found = true
		}
	}
	return found, nil
}

// Retain has three pieces of work each time.
func (s *fakeStore) Retain(_ context.Context, unit coordinator.Unit, byPerson, readings time.Time) (bool, error) {
	if err := s.fail("retain " + string(unit)); err != nil {
		return false, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.retains = append(s.retains, retainCall{unit, byPerson, readings})
	return len(s.retains)%3 != 0, nil
}

func (s *fakeStore) Backup(_ context.Context, path string) error {
	if err := s.fail("backup"); err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.backups = append(s.backups, path)
	return os.WriteFile(path, []byte("backup"), 0o600)
}

// done is when a job was marked for a date, which must be once.
func (s *fakeStore) done(t *testing.T, job, date string) time.Time {
	t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	at := s.marks[job+" "+date]
	if len(at) != 1 {
		t.Errorf("%s was done %d times for %s", job, len(at), date)
		return time.Time{}
	}
	return at[0]
}

func keeper(t *testing.T, s Store, o Options) *Keeper {
	t.Helper()
	if o.Zone == nil {
		o.Zone = berlin
	}
	k, err := NewKeeper(s, func() []Room {
		return []Room{{ID: "cellar", KeepDays: 30, Hours: queue.AlwaysOpen()}, {ID: "attic", Hours: queue.AlwaysOpen()}}
	}, o)
	must(t, err)
	return k
}

// cellar is a room that is always open.
func cellar(machines ...coordinator.MachineID) *Room {
	return &Room{ID: "cellar", Machines: machines, Hours: queue.AlwaysOpen()}
}

func markAt(text string) coordinator.JobMark {
	return coordinator.JobMark{Job: "rollup/cellar", Date: "some", At: local(text)}
}

// dayOf is a day of a room that is always open.
func dayOf(day string, facts []coordinator.Fact, until time.Time) Day {
	d := date(day)
	return Day{Room: "cellar", Date: d, Zone: berlin, Opens: d.Begin(berlin), Closes: d.End(berlin), Facts: facts, Until: until}
}

// about reports whether a time is within 1 % of another.
func about(got, want time.Duration) bool { return (got - want).Abs() <= want/100 }

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

// summarised are the sums of a day without readings.
func summarised(d Day) []Summary {
	sums, err := Summarise(d)
	if err != nil {
		panic(err)
	}
	return sums.All
}

// putSums stores a day's sums as the night does; those of its month only where wanted.
func putSums(t interface {
	Helper()
	Fatal(...any)
}, s interface {
	Rollups
	RollupWriter
}, room *Room, d Date, sums *Sums, month bool) {
	t.Helper()
	rows, err := rowsOf(ctx, s, room, d, sums, room.PerHome)
	must(t, err)
	if !month {
		rows = slices.DeleteFunc(rows, func(r coordinator.Rollup) bool {
			return strings.HasPrefix(r.Key, monthsOf) || strings.HasPrefix(r.Key, homeMonths)
		})
	}
	must(t, s.PutRollups(ctx, coordinator.JobMark{}, rows...))
}
