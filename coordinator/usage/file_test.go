package usage

import (
	"path/filepath"
	"testing"
	"time"

	"drumturn/coordinator"
	"drumturn/coordinator/store"
)

// TestOnAFile keeps house on the store that the program uses: sums are read
// back, persons are blanked after their time, and the backup opens.
func TestOnAFile(t *testing.T) {
	dir := t.TempDir()
	f, err := store.Open(filepath.Join(dir, "building.db"), store.Options{NoSync: true})
	must(t, err)
	defer func() { must(t, f.Close()) }()
	old := fact(coordinator.FactCalled, "w1", "2026-09-01 08:00", 0, time.Minute)
	old.Person, old.Home = "ada", "12"
	must(t, f.Commit(ctx, coordinator.ChangeSet{Unit: "cellar", At: local("2026-11-24 12:00"), Facts: []coordinator.Fact{
		old, ran("w1", 1, "2026-11-24 07:00", "2026-11-24 08:00", 400, "finished"),
	}}))
	k := keeper(t, f, Options{BackupDir: filepath.Join(dir, "backups")})
	must(t, k.CatchUp(ctx, local("2026-11-25 04:15")))

	if all := between(t, f, "cellar", "2026-11-24", "2026-11-24"); len(all) != 2 || all[1].Cycles != 1 || all[1].CycleWh != 400 {
		t.Errorf("sums %+v", all)
	}
	if all := between(t, f, "cellar", "2026-09-01", "2026-09-01"); len(all) != 2 || !about(all[0].Waits.Median(), time.Minute) {
		t.Errorf("sums of the first day %+v", all)
	}
	facts, err := factsBetween(ctx, f, "cellar", time.Time{}, local("2026-09-02 00:00"))
	must(t, err)
	if len(facts) != 1 || facts[0].Person != "" || facts[0].Home != "" || facts[0].Wait != time.Minute {
		t.Errorf("after its time the history says %+v", facts)
	}
	must(t, store.Verify(ctx, filepath.Join(dir, "backups", "drumturn-2026-11-25.db")))
}
