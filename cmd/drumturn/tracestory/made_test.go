package tracestory

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

func newFixed(s cycle.Settings) cycle.Engine { return cycle.NewFixed(s) }

// recording writes a made-up trace.
type recording struct {
	rows strings.Builder
	now  time.Time
}

var epoch = time.Date(2026, 1, 31, 18, 0, 0, 0, time.UTC)

func newRecording() *recording {
	r := &recording{now: epoch}
	r.rows.WriteString("time,watts\n")
	return r
}

// power adds readings of so many watts every 10 seconds for d.
func (r *recording) power(watts float64, d time.Duration) *recording {
	for range int(d / (10 * time.Second)) {
		r.now = r.now.Add(10 * time.Second)
		fmt.Fprintf(&r.rows, "%s,%g\n", r.now.Format(time.RFC3339), watts)
	}
	return r
}

// hole lets time pass unrecorded.
func (r *recording) hole(d time.Duration) *recording {
	r.now = r.now.Add(d)
	return r
}

// wash adds half an hour of a wash and ten minutes of standby.
func (r *recording) wash() *recording {
	return r.power(2000, 10*time.Minute).power(150, 20*time.Minute).power(1, 10*time.Minute)
}

// file writes the trace, gzipped where the name says so.
func (r *recording) file(t *testing.T, name string) string {
	t.Helper()
	return write(t, name, r.rows.String())
}

func write(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	data := []byte(text)
	if strings.HasSuffix(name, ".gz") {
		var packed bytes.Buffer
		w := gzip.NewWriter(&packed)
		w.Write(data)
		w.Close()
		data = packed.Bytes()
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

// told replays a file and returns what was written.
func told(t *testing.T, o Options) string {
	t.Helper()
	var out bytes.Buffer
	if o.New == nil {
		o.New = newFixed
	}
	if err := Run(o, &out); err != nil {
		t.Fatal(err)
	}
	return out.String()
}
