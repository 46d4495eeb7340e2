package store

import (
	"bytes"
	"errors"
	"fmt"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// manyFacts commits facts with persons, one a second, all in one set.
func manyFacts(t *testing.T, s Store, unit coordinator.Unit, n int) {
	t.Helper()
	set := coordinator.ChangeSet{Unit: unit, At: at(float64(n))}
	for i := range n {
		set.Facts = append(set.Facts, coordinator.Fact{At: at(float64(i)), Kind: coordinator.FactJoined, Person: "ada", Turn: coordinator.TurnID(i)})
	}
	must(t, s.Commit(ctx, set))
}

// TestFactsOverPages: no fact is lost or repeated where one read ends and the next begins.
func TestFactsOverPages(t *testing.T) {
	for _, n := range []int{pageOfFacts - 1, pageOfFacts, pageOfFacts + 1, 3*pageOfFacts + 7} {
		f, _ := openFile(t)
		manyFacts(t, f, "cellar", n)
		manyFacts(t, f, "cellar2", 3) // must not be run into
		all := facts(t, f, "cellar", at(0), at(1e6))
		if len(all) != n {
			t.Fatalf("%d facts of %d", len(all), n)
		}
		for i := range all {
			if all[i].Turn != coordinator.TurnID(i) {
				t.Fatalf("fact %d is that of %d", i, all[i].Turn)
			}
		}
	}
}

func TestRollupsOverPages(t *testing.T) {
	f, _ := openFile(t)
	n := 2*pageOfRollups + 5
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			must(t, f.PutRollups(ctx, coordinator.JobMark{}, coordinator.Rollup{Key: fmt.Sprintf("cellar/%05d", i), Value: []byte{byte(i)}}))
		})
	}
	wg.Wait()
	i := 0
	must(t, f.Rollups(ctx, "cellar/", "cellar0", func(k string, v []byte) bool {
		if want := fmt.Sprintf("cellar/%05d", i); k != want || !bytes.Equal(v, []byte{byte(i)}) {
			t.Fatalf("%q holds %v, want %q", k, v, want)
		}
		i++
		return true
	}))
	if i != n {
		t.Errorf("%d daily sums of %d", i, n)
	}
}

// TestRetainInPieces: a call does a bounded piece, says that more is left, and
// the next goes on from there.
func TestRetainInPieces(t *testing.T) {
	f, _ := openFile(t)
	n := 2*retainStep + 10
	manyFacts(t, f, "cellar", n)
	blanked := func() (count int) {
		for _, fact := range facts(t, f, "cellar", at(0), at(1e6)) {
			if fact.Person == "" {
				count++
			}
		}
		return count
	}
	for i, want := range []struct {
		more    bool
		blanked int
	}{{true, retainStep}, {true, 2 * retainStep}, {false, n}, {false, n}} {
		if more := get[bool](t)(f.Retain(ctx, "cellar", at(1e6), at(0))); more != want.more || blanked() != want.blanked {
			t.Errorf("call %d: more %v and %d blanked, want %+v", i, more, blanked(), want)
		}
	}
}

// TestEverybodyAtOnce is for the race detector: rooms commit, others read, take
// a backup and shorten history at the same time.
func TestEverybodyAtOnce(t *testing.T) {
	f, _ := openFile(t)
	dir := t.TempDir()
	var wg sync.WaitGroup
	const rooms, commits = 6, 25
	for i := range rooms {
		u := coordinator.Unit(fmt.Sprint("room", i))
		wg.Go(func() {
			for n := range uint64(commits) {
				must(t, f.Commit(ctx, crashSet(u, n+1)))
			}
		})
		wg.Go(func() {
			for range 5 {
				s := get[coordinator.Stored](t)(f.Load(ctx, u))
				if s.Seq > 0 && string(s.Rows[0].Value) != string(s.Rows[1].Value) {
					t.Errorf("%s was seen half changed: %s", u, plain(s.Rows))
				}
				get[bool](t)(f.Retain(ctx, u, at(-1), at(-1)))
				get[[]coordinator.Delivery](t)(f.DueDeliveries(ctx, at(1e6), 10, nil))
			}
		})
	}
	wg.Go(func() { must(t, f.Backup(ctx, dir+"/copy.db")) })
	wg.Wait()
	for i := range rooms {
		checkWhole(t, f, coordinator.Unit(fmt.Sprint("room", i)), commits)
	}
}

func TestTimeKeysAreInOrder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) time.Time {
			return time.Unix(rapid.Int64Range(-7e10, 7e10).Draw(t, name), rapid.Int64Range(0, 999999999).Draw(t, name+" ns"))
		}
		a, b := draw("a"), draw("b")
		if got := bytes.Compare(appendTime(nil, a), appendTime(nil, b)); got != a.Compare(b) {
			t.Fatalf("%v and %v: keys compare %d", a, b, got)
		}
		if back := get[time.Time](t)(timeAt(appendTime(nil, a))); !back.Equal(a) {
			t.Fatalf("%v came back as %v", a, back)
		}
	})
	if back := get[time.Time](t)(timeAt(appendTime(nil, time.Time{}))); !back.IsZero() {
		t.Errorf("the zero time came back as %v", back)
	}
}

func TestCheckpointsRoundTrip(t *testing.T) {
	c := coordinator.MachineCheckpoint{Checkpoint: cycle.Checkpoint{Engine: "learned", Version: -2, At: noon, Data: []byte{0, 1, 2}}}
	data := encodeCheckpoint(&c)
	wantSame(t, "checkpoint", get[coordinator.MachineCheckpoint](t)(decodeCheckpoint(data)), c)
	for n := range timeLen + 2 + len(c.Engine) - 1 {
		if _, err := decodeCheckpoint(data[:n]); err == nil {
			t.Errorf("cut to %d bytes it decoded", n)
		}
	}
	if _, err := decodeCheckpoint(data[:timeLen+1]); !errors.Is(err, errCheckpoint) {
		t.Errorf("without its name: %v", err)
	}
}
