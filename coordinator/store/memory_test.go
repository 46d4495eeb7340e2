package store

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"drumturn/coordinator"
)

// memory is the plainest Store there can be: the conformance suite is run
// against it too, and random histories are compared with it.
type memory struct {
	mu     sync.Mutex
	units  map[coordinator.Unit]*memoryUnit
	outbox map[string]coordinator.Delivery
	jobs   map[string]bool
	sums   map[string][]byte
	closed bool
}

type memoryUnit struct {
	seq         uint64
	at          time.Time
	rows        map[[2]string][]byte
	checkpoints map[coordinator.MachineID]coordinator.MachineCheckpoint
	facts       []coordinator.Fact
	readings    []coordinator.MachineReading
}

func newMemory() *memory {
	return &memory{
		units: map[coordinator.Unit]*memoryUnit{}, outbox: map[string]coordinator.Delivery{},
		jobs: map[string]bool{}, sums: map[string][]byte{},
	}
}

var _ Store = (*memory)(nil)

func (m *memory) unit(u coordinator.Unit) *memoryUnit {
	if m.units[u] == nil {
		m.units[u] = &memoryUnit{
			rows: map[[2]string][]byte{}, checkpoints: map[coordinator.MachineID]coordinator.MachineCheckpoint{},
		}
	}
	return m.units[u]
}

// begin locks and answers what every method answers in a bad moment.
func (m *memory) begin(ctx context.Context) (func(), error) {
	m.mu.Lock()
	err := ctx.Err()
	if m.closed {
		err = ErrClosed
	}
	return m.mu.Unlock, err
}

func (m *memory) Commit(ctx context.Context, sets ...coordinator.ChangeSet) error {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return err
	}
	next := map[coordinator.Unit]uint64{}
	for i := range sets {
		s := &sets[i]
		if bytes.IndexByte([]byte(s.Unit), 0) >= 0 {
			return errors.New("a zero byte")
		}
		if _, seen := next[s.Unit]; !seen {
			next[s.Unit] = m.unit(s.Unit).seq
		}
		if s.Moves() {
			if s.Expect != next[s.Unit] {
				return coordinator.ErrSequence
			}
			next[s.Unit]++
		}
	}
	for i := range sets {
		m.apply(&sets[i])
	}
	return nil
}

func (m *memory) apply(s *coordinator.ChangeSet) {
	u := m.unit(s.Unit)
	if s.Moves() {
		u.seq++
	}
	if (s.Moves() || len(s.Readings) > 0) && s.At.After(u.at) {
		u.at = s.At
	}
	for _, r := range s.Rows {
		if r.Value == nil {
			delete(u.rows, [2]string{r.Table, r.Key})
		} else {
			u.rows[[2]string{r.Table, r.Key}] = bytes.Clone(r.Value)
		}
	}
	for _, c := range s.Checkpoints {
		u.checkpoints[c.Machine] = c
	}
	for _, about := range s.Withdraw {
		for key, d := range m.outbox {
			if d.State == coordinator.Pending && d.Notice.Subject == about {
				d.State, d.Changed, d.Why = coordinator.Withdrawn, s.At, coordinator.WhySettled
				m.outbox[key] = d
			}
		}
	}
	for _, n := range s.Notices {
		if _, there := m.outbox[n.Key()]; !there {
			m.noteNewer(&n)
			m.outbox[n.Key()] = coordinator.Delivery{Key: n.Key(), Notice: n, State: coordinator.Pending, NextAt: n.Made, Changed: s.At}
		}
	}
	u.facts = append(u.facts, s.Facts...)
	u.readings = append(u.readings, s.Readings...)
	slices.SortStableFunc(u.facts, func(a, b coordinator.Fact) int { return a.At.Compare(b.At) })
	slices.SortStableFunc(u.readings, func(a, b coordinator.MachineReading) int { return a.At.Compare(b.At) })
}

func (m *memory) Load(ctx context.Context, unit coordinator.Unit) (out coordinator.Stored, err error) {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return out, err
	}
	u := m.unit(unit)
	out.Seq, out.At = u.seq, u.at
	for key, value := range u.rows {
		out.Rows = append(out.Rows, coordinator.Row{Table: key[0], Key: key[1], Value: value})
	}
	slices.SortFunc(out.Rows, func(a, b coordinator.Row) int {
		return cmp.Or(cmp.Compare(a.Table, b.Table), cmp.Compare(a.Key, b.Key))
	})
	for _, id := range slices.Sorted(maps.Keys(u.checkpoints)) {
		out.Checkpoints = append(out.Checkpoints, u.checkpoints[id])
	}
	for _, r := range u.readings {
		if c, ok := u.checkpoints[r.Machine]; !ok || r.At.After(c.At) {
			out.Tail = append(out.Tail, r)
		}
	}
	slices.SortStableFunc(out.Tail, func(a, b coordinator.MachineReading) int { return cmp.Compare(a.Machine, b.Machine) })
	return out, nil
}

// noteNewer tells what is pending of n's thread and to its addressee of n.
func (m *memory) noteNewer(n *coordinator.Notice) {
	for key, d := range m.outbox {
		o := &d.Notice
		if d.State == coordinator.Pending && o.Thread() == n.Thread() && o.To == n.To && o.Role == n.Role && !n.Made.Before(o.Made) {
			d.Newer = &coordinator.Newer{Kind: n.Kind, Made: n.Made}
			m.outbox[key] = d
		}
	}
}

func (m *memory) DeliveriesTo(ctx context.Context, person coordinator.PersonID, limit int) (out []coordinator.Delivery, err error) {
	end, err := m.begin(ctx)
	defer end()
	for _, d := range m.rows(byNewest) {
		about := d.Notice.To == person || slices.ContainsFunc(d.Told, func(t coordinator.Told) bool { return t.Person == person })
		if err == nil && about && len(out) < limit {
			out = append(out, d)
		}
	}
	return out, err
}

// rows lists the outbox in the order of less.
func (m *memory) rows(order func(a, b coordinator.Delivery) int) []coordinator.Delivery {
	return slices.SortedFunc(maps.Values(m.outbox), order)
}

func byDue(a, b coordinator.Delivery) int {
	return cmp.Or(a.NextAt.Compare(b.NextAt), cmp.Compare(a.Key, b.Key))
}

func byNewest(a, b coordinator.Delivery) int {
	return cmp.Or(b.Notice.Made.Compare(a.Notice.Made), cmp.Compare(b.Key, a.Key))
}

func (m *memory) DueDeliveries(ctx context.Context, now time.Time, limit int, inHand func(key []byte) bool) (out []coordinator.Delivery, err error) {
	end, err := m.begin(ctx)
	defer end()
	for _, d := range m.rows(byDue) {
		if err == nil && d.State == coordinator.Pending && !d.NextAt.After(now) && len(out) < limit && (inHand == nil || !inHand([]byte(d.Key))) {
			out = append(out, d)
		}
	}
	return out, err
}

func (m *memory) NextDelivery(ctx context.Context) (time.Time, error) {
	end, err := m.begin(ctx)
	defer end()
	for _, d := range m.rows(byDue) {
		if err == nil && d.State == coordinator.Pending {
			return d.NextAt, nil
		}
	}
	return time.Time{}, err
}

func (m *memory) RecordDeliveries(ctx context.Context, rows ...coordinator.Delivery) error {
	end, err := m.begin(ctx)
	defer end()
	for _, d := range rows {
		if err != nil {
			return err
		}
		if old, there := m.outbox[d.Key]; there {
			d.Notice, d.Newer = old.Notice, old.Newer
			if old.State == coordinator.Withdrawn {
				old.Devices, old.Told, old.Changed = d.Devices, d.Told, d.Changed
				d = old
			}
		}
		m.outbox[d.Key] = d
	}
	return err
}

func (m *memory) Deliveries(ctx context.Context, limit int) ([]coordinator.Delivery, error) {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return nil, err
	}
	all := m.rows(byNewest)
	return all[:min(limit, len(all))], nil
}

func (m *memory) Facts(ctx context.Context, unit coordinator.Unit, from, to time.Time, fn func(coordinator.Fact) bool) error {
	end, err := m.begin(ctx)
	all := slices.Clone(m.unit(unit).facts)
	end()
	for _, f := range all {
		if err == nil && !f.At.Before(from) && f.At.Before(to) && !fn(f) {
			break
		}
	}
	return err
}

func (m *memory) FactsAfter(ctx context.Context, unit coordinator.Unit, after coordinator.FactID, limit int) (out []coordinator.StoredFact, err error) {
	end, err := m.begin(ctx)
	defer end()
	for i, f := range m.unit(unit).facts {
		id := coordinator.FactID{At: f.At.UTC(), N: uint64(i + 1)}
		if err == nil && len(out) < limit && (id.At.After(after.At) || id.At.Equal(after.At) && id.N > after.N) {
			out = append(out, coordinator.StoredFact{ID: id, Fact: f})
		}
	}
	return out, err
}

func (m *memory) Readings(ctx context.Context, unit coordinator.Unit, machine coordinator.MachineID, from, to time.Time, fn func(coordinator.MachineReading) bool) error {
	end, err := m.begin(ctx)
	all := slices.Clone(m.unit(unit).readings)
	end()
	for _, r := range all {
		if err == nil && r.Machine == machine && !r.At.Before(from) && r.At.Before(to) && !fn(r) {
			break
		}
	}
	return err
}

func (m *memory) JobDone(ctx context.Context, job, date string) (bool, error) {
	end, err := m.begin(ctx)
	defer end()
	return m.jobs[job+" "+date], err
}

func (m *memory) MarkJob(ctx context.Context, job, date string, _ time.Time) error {
	end, err := m.begin(ctx)
	defer end()
	m.jobs[job+" "+date] = err == nil
	return err
}

func (m *memory) ForgetJobs(ctx context.Context, job, from string) (found bool, err error) {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return false, err
	}
	for key := range m.jobs {
		if strings.HasPrefix(key, job+" ") && key >= job+" "+from && m.jobs[key] {
			delete(m.jobs, key)
			found = true
		}
	}
	return found, nil
}

func (m *memory) PutRollups(ctx context.Context, mark coordinator.JobMark, sums ...coordinator.Rollup) error {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return err
	}
	for _, s := range sums {
		if m.sums[s.Key] = bytes.Clone(s.Value); s.Value == nil {
			delete(m.sums, s.Key)
		}
	}
	if mark.Job != "" {
		m.jobs[mark.Job+" "+mark.Date] = true
	}
	return nil
}

func (m *memory) Rollups(ctx context.Context, from, to string, fn func(string, []byte) bool) error {
	end, err := m.begin(ctx)
	all := maps.Clone(m.sums)
	end()
	for _, key := range slices.Sorted(maps.Keys(all)) {
		if err == nil && key >= from && (to == "" || key < to) && !fn(key, all[key]) {
			break
		}
	}
	return err
}

func (m *memory) Retain(ctx context.Context, unit coordinator.Unit, byPerson, readings time.Time) (bool, error) {
	end, err := m.begin(ctx)
	defer end()
	if err != nil {
		return false, err
	}
	u := m.unit(unit)
	for i := range u.facts {
		if u.facts[i].At.Before(byPerson) {
			u.facts[i].Person, u.facts[i].Home = "", ""
		}
	}
	u.readings = slices.DeleteFunc(u.readings, func(r coordinator.MachineReading) bool { return r.At.Before(readings) })
	maps.DeleteFunc(m.outbox, func(_ string, d coordinator.Delivery) bool {
		return d.Notice.Subject.Room == unit && d.State != coordinator.Pending && d.Notice.Made.Before(byPerson)
	})
	return false, nil
}

func (m *memory) Backup(_ context.Context, path string) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%s is there", path)
	}
	return os.WriteFile(path, nil, 0o600)
}

func (m *memory) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.closed = true
	return nil
}
