package store

import (
	"compress/gzip"
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"go.etcd.io/bbolt"

	"drumturn/coordinator"
	"drumturn/coordinator/cycle"
)

// traces is the folder of measured traces. Where it is missing the test is
// skipped, but not when somebody said where it is.
func traces(t testing.TB) string {
	t.Helper()
	dir := os.Getenv("DRUMTURN_TRACES")
	told := dir != ""
	if !told {
		dir = filepath.Join("..", "..", "..", "shared", "traces")
	}
	if _, err := os.Stat(dir); err != nil {
		if told {
			t.Fatalf("DRUMTURN_TRACES names a folder that is not there: %v", err)
		}
		t.Skipf("no measured traces here (set DRUMTURN_TRACES): %v", err)
	}
	return dir
}

// trace reads at most limit readings of a trace with the columns time and watts.
func trace(t testing.TB, name string, limit int) []cycle.Reading {
	t.Helper()
	file, err := os.Open(filepath.Join(traces(t), name))
	must(t, err)
	defer func() { must(t, file.Close()) }()
	z, err := gzip.NewReader(file)
	must(t, err)
	lines := csv.NewReader(z)
	_, err = lines.Read() // the names of the columns
	must(t, err)
	var all []cycle.Reading
	for len(all) < limit {
		line, err := lines.Read()
		if err != nil {
			break
		}
		watts, err := strconv.ParseFloat(line[1], 64)
		must(t, err)
		all = append(all, cycle.Power(instant(t, line[0]), watts))
	}
	return all
}

func instant(t testing.TB, text string) time.Time {
	t.Helper()
	if sec, err := strconv.ParseInt(text, 10, 64); err == nil {
		return time.Unix(sec, 0).UTC()
	}
	for _, layout := range []string{time.RFC3339Nano, "2006-01-02 15:04:05"} {
		if when, err := time.Parse(layout, text); err == nil {
			return when.UTC()
		}
	}
	t.Fatalf("no time: %q", text)
	return time.Time{}
}

// store commits readings of machine w1, flush of them at a time.
func store(t testing.TB, s Store, all []cycle.Reading, flush int) {
	t.Helper()
	for len(all) > 0 {
		n := min(flush, len(all))
		set := coordinator.ChangeSet{Unit: "cellar", At: all[n-1].At}
		for _, r := range all[:n] {
			set.Readings = append(set.Readings, coordinator.MachineReading{Machine: "w1", Reading: r})
		}
		must(t, s.Commit(ctx, set))
		all = all[n:]
	}
}

// chunkBytes counts the chunks and their bytes, keys included.
func chunkBytes(t testing.TB, f *File) (chunks, size int) {
	t.Helper()
	must(t, f.view(ctx, func(tx *bbolt.Tx) error {
		eachKey(tx.Bucket(bucketReadings), nil, nil, func(k, v []byte) bool {
			chunks++
			size += len(k) + len(v)
			return true
		})
		return nil
	}))
	return chunks, size
}
