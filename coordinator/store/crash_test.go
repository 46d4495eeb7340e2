package store

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator"
)

const (
	crashEnv   = "DRUMTURN_TEST_CRASH_FILE"
	crashUnits = 4
)

func TestMain(m *testing.M) {
	if path := os.Getenv(crashEnv); path != "" {
		commitUntilKilled(path)
		return
	}
	os.Exit(m.Run())
}

// crashSet is the n-th set of a unit: something of every kind, all telling n.
func crashSet(u coordinator.Unit, n uint64) coordinator.ChangeSet {
	value := []byte(fmt.Sprint(n))
	return coordinator.ChangeSet{
		Unit: u, Expect: n - 1, At: at(float64(n)),
		Rows:     []coordinator.Row{{Table: "first", Key: "n", Value: value}, {Table: "last", Key: "n", Value: value}},
		Facts:    []coordinator.Fact{{At: at(float64(n)), Kind: coordinator.FactJoined}},
		Readings: []coordinator.MachineReading{reading("w1", float64(n), float64(n))},
		Notices:  []coordinator.Notice{notice(u, coordinator.LoadID(n), 0, at(float64(n)))},
	}
}

// commitUntilKilled is the child: it goes on where the file is, and prints each
// commit once it is acknowledged.
func commitUntilKilled(path string) {
	f, err := Open(path, Options{Wait: 10 * time.Second})
	if err != nil {
		fmt.Println("error", err)
		return
	}
	for i := range crashUnits {
		go func() {
			u := coordinator.Unit(fmt.Sprint("room", i))
			s, err := f.Load(ctx, u)
			for n := s.Seq + 1; err == nil; n++ {
				if err = f.Commit(ctx, crashSet(u, n)); err == nil {
					fmt.Println("acknowledged", u, n)
				}
			}
			fmt.Println("error", err)
		}()
	}
	select {}
}

// TestKilledDuringCommits kills a process with SIGKILL again and again while it
// commits. What it said was stored is there, and nothing is half there.
func TestKilledDuringCommits(t *testing.T) {
	path := filepath.Join(t.TempDir(), "building.db")
	acknowledged := map[string]uint64{}
	seed := uint64(os.Getpid())
	t.Logf("seed %d", seed)
	random := rand.New(rand.NewPCG(seed, 0))
	for range 5 {
		runAndKill(t, path, 20+random.IntN(150), acknowledged)
		checkFile(t, path)
		f := get[*File](t)(Open(path, Options{}))
		for unit, n := range acknowledged {
			checkWhole(t, f, coordinator.Unit(unit), n)
		}
		must(t, f.Close())
	}
}

// runAndKill runs the child until it has acknowledged that many commits. Lines
// that come after the kill was sent count too.
func runAndKill(t *testing.T, path string, commits int, acknowledged map[string]uint64) {
	child := exec.Command(os.Args[0])
	child.Env = append(os.Environ(), crashEnv+"="+path)
	out, err := child.StdoutPipe()
	must(t, err)
	must(t, child.Start())
	lines := bufio.NewScanner(out)
	for seen := 0; lines.Scan(); seen++ {
		var unit string
		var n uint64
		if _, err := fmt.Sscanf(lines.Text(), "acknowledged %s %d", &unit, &n); err != nil {
			if strings.HasPrefix(lines.Text(), "error") {
				t.Fatal(lines.Text())
			}
			continue // a line cut off by the kill
		}
		acknowledged[unit] = max(n, acknowledged[unit])
		if seen == commits {
			must(t, child.Process.Kill())
		}
	}
	if err := child.Wait(); err == nil {
		t.Fatal("the child ended by itself")
	}
}

func checkWhole(t *testing.T, s Store, unit coordinator.Unit, least uint64) {
	t.Helper()
	got := get[coordinator.Stored](t)(s.Load(ctx, unit))
	if got.Seq < least {
		t.Errorf("%s was told %d and is at %d", unit, least, got.Seq)
	}
	if got.Seq == 0 {
		return
	}
	want := fmt.Sprint(got.Seq)
	if len(got.Rows) != 2 || string(got.Rows[0].Value) != want || string(got.Rows[1].Value) != want {
		t.Errorf("%s is at %s with the rows %s", unit, want, plain(got.Rows))
	}
	counts := []int{len(got.Tail), len(facts(t, s, unit, time.Time{}, at(1e9))), countNotices(t, s, unit)}
	for _, n := range counts {
		if uint64(n) != got.Seq {
			t.Errorf("%s is at %d with readings, facts and notices %v", unit, got.Seq, counts)
		}
	}
}

func countNotices(t *testing.T, s Store, unit coordinator.Unit) (n int) {
	t.Helper()
	rows := get[[]coordinator.Delivery](t)(s.Deliveries(ctx, 1<<20))
	for _, d := range rows {
		if d.Notice.Subject.Room == unit {
			n++
		}
	}
	return n
}
