package replay

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var nan = math.NaN()

func same(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }

// at is a time of the 2nd of January 2026, in seconds of the day.
func at(second int) time.Time {
	return time.Date(2026, 1, 2, 0, 0, second, 0, time.UTC)
}

// readAll reads a recording; bad rows are returned as texts.
func readAll(t *testing.T, in io.Reader) (rows []Row, bad []string, end error) {
	t.Helper()
	r, err := NewReader(in)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	for {
		row, err := r.Next()
		var wrong *RowError
		switch {
		case err == nil:
			rows = append(rows, row)
		case errors.As(err, &wrong):
			bad = append(bad, err.Error())
		case errors.Is(err, io.EOF):
			return rows, bad, nil
		default:
			return rows, bad, err
		}
	}
}

func zipped(s string) []byte {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, _ = w.Write([]byte(s))
	_ = w.Close()
	return b.Bytes()
}

func TestReader(t *testing.T) {
	two := []Row{{at(5), 12.5, nan}, {at(6), 0, nan}}
	for name, c := range map[string]struct {
		in   string
		want []Row
	}{
		"plain":             {"2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0\n", two},
		"with header":       {"time,watts\n2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0\n", two},
		"other header":      {"When,How much\n2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0\n", two},
		"other order":       {"watts,phase,Time\n12.5,1,2026-01-02T00:00:05Z\n0,1,2026-01-02T00:00:06Z\n", two},
		"no last newline":   {"2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0", two},
		"CR LF":             {"time,watts\r\n2026-01-02T00:00:05Z,12.5\r\n2026-01-02T00:00:06Z,0\r\n", two},
		"BOM":               {"\xef\xbb\xbftime,watts\n2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0\n", two},
		"BOM, no header":    {"\xef\xbb\xbf2026-01-02T00:00:05Z,12.5\n2026-01-02T00:00:06Z,0\n", two},
		"comments, gaps":    {"# a washer\n\n2026-01-02T00:00:05Z,12.5\n\n# later\n2026-01-02T00:00:06Z,0\n", two},
		"quotes":            {`"time","watts"` + "\n" + `"2026-01-02T00:00:05Z","12.5"` + "\n" + `"2026-01-02T00:00:06Z","0"`, two},
		"spaces":            {"time , watts\n 2026-01-02T00:00:05Z , 12.5 \n2026-01-02T00:00:06Z,\t0\n", two},
		"semicolons":        {"time;watts\n2026-01-02T00:00:05Z;12.5\n2026-01-02T00:00:06Z;0\n", two},
		"tabs":              {"2026-01-02T00:00:05Z\t12.5\n2026-01-02T00:00:06Z\t0\n", two},
		"another zone":      {"2026-01-02T01:00:05+01:00,12.5\n2026-01-01T19:00:06-05:00,0\n", two},
		"no zone is UTC":    {"2026-01-02 00:00:05,12.5\n2026-01-02T00:00:06,0\n", two},
		"space and zone":    {"2026-01-02 01:00:05+01:00,12.5\n2026-01-02 00:00:06Z,0\n", two},
		"Unix seconds":      {"1767312005,12.5\n1767312006,0\n", two},
		"Unix milliseconds": {"1767312005000,12.5\n1767312006000,0\n", two},
		"extra columns":     {"time,watts,wh,note\n2026-01-02T00:00:05Z,12.5,,x\n2026-01-02T00:00:06Z,0,,\n", two},
		"with register":     {"time,watts,wh\n2026-01-02T00:00:05Z,12.5,100\n2026-01-02T00:00:06Z,0,101.5\n", []Row{{at(5), 12.5, 100}, {at(6), 0, 101.5}}},
		"only a register":   {"time,wh\n2026-01-02T00:00:05Z,100\n", []Row{{at(5), nan, 100}}},
		"empty is no 0 W":   {"time,watts,wh\n2026-01-02T00:00:05Z,,100\n2026-01-02T00:00:06Z,,\n2026-01-02T00:00:07Z,nan\n", []Row{{at(5), nan, 100}}},
		"same time twice":   {"2026-01-02T00:00:05Z,1\n2026-01-02T00:00:05Z,2\n", []Row{{at(5), 1, nan}, {at(5), 2, nan}}},
		"part of a second":  {"2026-01-02T00:00:05.250Z,1\n", []Row{{at(5).Add(250 * time.Millisecond), 1, nan}}},
		"header alone":      {"time,watts\n", nil},
		"nothing":           {"", nil},
		"one byte":          {"\n", nil},
	} {
		for form, in := range map[string][]byte{"plain": []byte(c.in), "gzip": zipped(c.in)} {
			rows, bad, err := readAll(t, bytes.NewReader(in))
			if err != nil || len(bad) > 0 || len(rows) != len(c.want) {
				t.Errorf("%s, %s: %v, %v, %v", name, form, rows, bad, err)
				continue
			}
			for i, want := range c.want {
				if got := rows[i]; !got.Time.Equal(want.Time) || !same(got.Watts, want.Watts) || !same(got.Wh, want.Wh) {
					t.Errorf("%s, %s: row %d is %+v, want %+v", name, form, i, got, want)
				}
			}
		}
	}
}

// A bad row is told with its line, and those after it are still read.
func TestReaderBadRows(t *testing.T) {
	for name, c := range map[string]struct{ row, says string }{
		"no number":    {"2026-01-02T00:00:05Z,on", `"on" is not a number`},
		"infinite":     {"2026-01-02T00:00:05Z,inf", `"inf" is not a number`},
		"too large":    {"2026-01-02T00:00:05Z,1e999", `"1e999" is not a number`},
		"register":     {"2026-01-02T00:00:05Z,1,x", `"x" is not a number`},
		"no time":      {",5", "it has no time"},
		"bad time":     {"yesterday,5", `"yesterday" is not a time such as 2026-01-02T15:04:05Z`},
		"no such day":  {"2026-02-30T00:00:00Z,5", "is not a time"},
		"no such hour": {"2026-01-02T24:00:00Z,5", "is not a time"},
		"back":         {"2025-12-31T00:00:00Z,5", "before that of a row above"},
		"very long":    {"2026-01-02T00:00:05Z," + strings.Repeat("1", 10000), "longer than 4096 bytes"},
		"longer still": {"2026-01-02T00:00:05Z," + strings.Repeat("1", 200000), "longer than 4096 bytes"},
	} {
		in := "time,watts,wh\n2026-01-02T00:00:01Z,1,1\n" + c.row + "\n2026-01-02T00:00:09Z,9,9\n"
		rows, bad, err := readAll(t, strings.NewReader(in))
		if err != nil || len(rows) != 2 || rows[1].Watts != 9 {
			t.Errorf("%s: rows %v, %v", name, rows, err)
		}
		if len(bad) != 1 || !strings.HasPrefix(bad[0], "line 3: ") || !strings.Contains(bad[0], c.says) || len(bad[0]) > 200 {
			t.Errorf("%s: %q, want line 3 and %q", name, bad, c.says)
		}
	}
}

// A comma in a number must not be taken for the next column.
func TestReaderDecimalComma(t *testing.T) {
	rows, bad, _ := readAll(t, strings.NewReader("time;watts\n2026-01-02T00:00:05Z;12,5\n"))
	if len(rows) != 0 || len(bad) != 1 || !strings.Contains(bad[0], `"12,5" is not a number`) {
		t.Errorf("%v, %q", rows, bad)
	}
}

// A first row whose time is wrong is no header.
func TestReaderFirstRowIsNoHeader(t *testing.T) {
	_, bad, _ := readAll(t, strings.NewReader("02/01/26,5\n"))
	if len(bad) != 1 || !strings.HasPrefix(bad[0], "line 1: ") {
		t.Errorf("%q", bad)
	}
}

func TestReaderEnds(t *testing.T) {
	whole := zipped(strings.Repeat("2026-01-02T00:00:05Z,12.5\n", 1000))
	damaged := bytes.Clone(whole)
	damaged[len(damaged)-6] ^= 0xff // in the checksum
	for name, c := range map[string]struct {
		in   []byte
		says string
	}{
		"cut off":       {whole[:len(whole)-10], "the file breaks off"},
		"damaged":       {damaged, "the file cannot be read: gzip: invalid checksum"},
		"header lacks":  {[]byte("time,volts\n2026-01-02T00:00:05Z,230\n"), "the header must name the columns time and watts"},
		"header lacks2": {[]byte("watts,volts\n1,230\n"), "the header must name"},
	} {
		_, _, err := readAll(t, bytes.NewReader(c.in))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", name, err, c.says)
		}
	}
	if _, err := NewReader(bytes.NewReader([]byte{0x1f, 0x8b, 9, 9})); err == nil || !strings.Contains(err.Error(), "begins like a gzip file") {
		t.Errorf("no gzip: %v", err)
	}
	if _, err := Open(filepath.Join(t.TempDir(), "none.csv")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
}

func TestOpen(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv.gz")
	if err := os.WriteFile(path, zipped("time,watts\n2026-01-02T00:00:05Z,12.5\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	row, err := r.Next()
	if err != nil || row.Watts != 12.5 || r.Line() != 2 {
		t.Errorf("%+v, %v, line %d", row, err, r.Line())
	}
	for range 2 {
		if _, err := r.Next(); !errors.Is(err, io.EOF) {
			t.Errorf("the end: %v", err)
		}
	}
	if err := r.Close(); err != nil {
		t.Error(err)
	}
}

// The quick way through a time says the same as the standard library, for
// every text of its form.
func TestUTCSecondsAgreesWithTheLibrary(t *testing.T) {
	for _, text := range []string{
		"2026-01-02T15:04:05Z", "2024-02-29T23:59:59Z", "2023-02-29T00:00:00Z", "1999-12-31T00:00:00Z", "2026-00-10T00:00:00Z",
		"2026-13-10T00:00:00Z", "2026-04-31T00:00:00Z", "2026-01-00T00:00:00Z", "2026-01-01T24:00:00Z", "2026-01-01T23:60:00Z",
		"2026-01-01T23:00:60Z", "0000-01-01T00:00:00Z", "20x6-01-01T00:00:00Z", "2026-01-01t00:00:00Z", "2026-01-01T00:00:00z",
	} {
		want, err := time.Parse(time.RFC3339, text)
		got, ok := utcSeconds([]byte(text))
		if ok != (err == nil) || ok && !got.Equal(want) {
			t.Errorf("%s: %v %v, the library says %v, %v", text, got, ok, want, err)
		}
	}
}

func TestReaderNeedsNoMemoryPerRow(t *testing.T) {
	in := bytes.NewReader([]byte(strings.Repeat("2026-01-02T00:00:05Z,12.5,1000.25\n", 1000)))
	r, err := NewReader(in)
	if err != nil {
		t.Fatal(err)
	}
	if n := testing.AllocsPerRun(500, func() {
		if _, err := r.Next(); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%v allocations a row", n)
	}
}

// The beginning of every trace of the open datasets can be read (see SOURCE.md
// beside them for their origin); reading all of it would take long under the race detector.
func TestReaderReadsTheTraces(t *testing.T) {
	folder, set := os.LookupEnv("DRUMTURN_TRACES")
	if !set {
		folder = filepath.Join("..", "..", "..", "..", "shared", "traces")
	}
	if _, err := os.Stat(folder); err != nil {
		if set {
			t.Fatalf("DRUMTURN_TRACES: %v", err)
		}
		t.Skipf("no traces at %s; set DRUMTURN_TRACES", folder)
	}
	files, _ := filepath.Glob(filepath.Join(folder, "*", "*.csv.gz"))
	if len(files) == 0 {
		t.Fatalf("no traces in %s", folder)
	}
	for _, file := range files {
		r, err := Open(file)
		if err != nil {
			t.Error(err)
			continue
		}
		const most = 20_000
		rows, ended := 0, 0
		for rows < most {
			row, err := r.Next()
			if errors.Is(err, io.EOF) {
				ended = 1
				break
			}
			if err != nil || !(row.Watts >= 0 && row.Watts < 20000) {
				t.Fatalf("%s: %+v, %v", file, row, err)
			}
			rows++
		}
		if rows != r.Line()-1-ended { // without the header
			t.Errorf("%s: %d rows in %d lines", file, rows, r.Line())
		}
		_ = r.Close()
	}
}

// Whatever the file holds: the reader comes to an end, times never go back,
// and no value is infinite.
func FuzzReader(f *testing.F) {
	f.Add([]byte("time,watts,wh\n2026-01-02T00:00:05Z,12.5,1\n2026-01-02T00:00:06Z,x\n"))
	f.Add([]byte("1767312005;1\n"))
	f.Add([]byte("\xef\xbb\xbf\"\"\n,,,\n"))
	f.Add(zipped("2026-01-02T00:00:05Z,1\n"))
	f.Add([]byte{0x1f, 0x8b})
	f.Fuzz(func(t *testing.T, data []byte) {
		r, err := NewReader(bytes.NewReader(data))
		if err != nil {
			return
		}
		var last time.Time
		for n := 0; ; n++ {
			row, err := r.Next()
			var bad *RowError
			switch {
			case errors.As(err, &bad):
				if bad.Line != r.Line() {
					t.Fatalf("line %d told as %d", r.Line(), bad.Line)
				}
				continue
			case err != nil:
				return
			}
			if row.Time.Before(last) || math.IsInf(row.Watts, 0) || math.IsInf(row.Wh, 0) || math.IsNaN(row.Watts) && math.IsNaN(row.Wh) {
				t.Fatalf("%+v after %v", row, last)
			}
			last = row.Time
		}
	})
}

func BenchmarkReader(b *testing.B) {
	var text bytes.Buffer
	for i := range 100_000 {
		fmt.Fprintf(&text, "%s,%.1f\n", at(i*8).Format(time.RFC3339), float64(i%2500))
	}
	for name, data := range map[string][]byte{"plain": text.Bytes(), "gzip": zipped(text.String())} {
		b.Run(name, func(b *testing.B) {
			b.SetBytes(int64(text.Len()))
			b.ReportAllocs()
			for b.Loop() {
				r, err := NewReader(bytes.NewReader(data))
				if err != nil {
					b.Fatal(err)
				}
				for err == nil {
					_, err = r.Next()
				}
				if !errors.Is(err, io.EOF) {
					b.Fatal(err)
				}
			}
		})
	}
}
