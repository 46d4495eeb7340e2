package tracestory

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// drawn replays a recording into a drawing, and counts its elements by class.
func drawn(t *testing.T, r *recording, name string) (text string, classes map[string]int) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x.svg")
	told(t, Options{Trace: r.file(t, name), Kind: "dryer", SVG: path})
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	classes = map[string]int{}
	for d := xml.NewDecoder(bytes.NewReader(data)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				if a.Name.Local == "class" {
					classes[a.Value]++
				}
			}
		}
	}
	return string(data), classes
}

func TestDrawingOfOneEvening(t *testing.T) {
	r := newRecording().power(1, 5*time.Minute).wash().power(500, 20*time.Minute).hole(time.Hour).power(1, 10*time.Minute)
	text, n := drawn(t, r, "5 < 6 & so.csv")
	// Beside the two cycles, each mark stands once in the key.
	if n["run"] != 3 || n["told"] != 3 || n["silent"] != 2 || n["day"] != 1 {
		t.Errorf("marks: %v", n)
	}
	if n["power"] != 2 || n["area"] != 2 {
		t.Errorf("the power is drawn in %d stretches, a silence divides two", n["power"])
	}
	for _, want := range []string{
		"5 &lt; 6 &amp; so.csv, dryer: 2 cycles", "1: 30 min, 0.38 kWh<", "presumed over", ">2,000 W<", ">19:00<",
		"prefers-color-scheme: dark", `role="img"`, "Sat 31 Jan 2026",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in the drawing", want)
		}
	}
	for _, never := range []string{"href", "url(http", "<script", "@import"} {
		if strings.Contains(text, never) {
			t.Errorf("%q in the drawing", never)
		}
	}
}

func TestDrawingOfManyDays(t *testing.T) {
	r := newRecording().power(1, 5*time.Minute).wash().hole(72*time.Hour).power(1, 5*time.Minute).wash().wash()
	text, n := drawn(t, r, "x.csv")
	if n["day"] != 2 || n["run"] != 4 || !strings.Contains(text, "Days without a cycle are left out.") {
		t.Errorf("marks: %v", n)
	}
	if strings.Contains(text, ">06:00<") || !strings.Contains(text, ">18:00<") {
		t.Error("hours without any cycle are drawn")
	}
}

func TestDrawingPastMidnight(t *testing.T) {
	r := newRecording().power(1, 5*time.Minute).hole(5*time.Hour+30*time.Minute).power(1, time.Minute)
	r.power(2000, 50*time.Minute).power(1, 10*time.Minute).hole(48*time.Hour).power(1, time.Minute)
	text, n := drawn(t, r, "x.csv")
	if n["day"] != 2 || n["run"] != 3 || !strings.Contains(text, ">24:00<") {
		t.Errorf("a cycle on two days: %v", n)
	}
}

func TestDrawingOfNothing(t *testing.T) {
	for what, r := range map[string]*recording{
		"no readings": newRecording(),
		"no cycle":    newRecording().power(1, time.Hour),
		"one reading": newRecording().power(1, 10*time.Second),
		"idle weeks":  newRecording().power(1, time.Minute).hole(400*time.Hour).power(0, time.Minute),
	} {
		if _, n := drawn(t, r, "x.csv"); n["run"] != 1 {
			t.Errorf("%s: %v", what, n)
		}
	}
}

func TestDrawingOfARegisterAlone(t *testing.T) {
	r := newRecording()
	r.rows.Reset()
	r.rows.WriteString("time,wh\n")
	for i := range 600 {
		fmt.Fprintf(&r.rows, "%s,%d\n", epoch.Add(time.Duration(i)*10*time.Second).Format(time.RFC3339), 5*min(i, 300))
	}
	if text, n := drawn(t, r, "x.csv"); n["run"] != 2 || n["power"] == 0 || !strings.Contains(text, ">1,500 W<") {
		t.Errorf("5 Wh in 10 s are 1800 W: %v", n)
	}
}

func TestNiceScale(t *testing.T) {
	for _, c := range []struct {
		highest   float64
		steps     int
		top, step float64
	}{
		{2228, 3, 3000, 1000}, {1982, 6, 2000, 500}, {10, 3, 10, 5}, {767, 3, 1000, 500},
		{5000, 3, 6000, 2000}, {2300, 6, 2500, 500}, {1, 0, 1, 1},
	} {
		if s := niceScale(c.highest, c.steps); s.top != c.top || s.step != c.step {
			t.Errorf("up to %v in %d: %+v, want %v in steps of %v", c.highest, c.steps, s, c.top, c.step)
		}
	}
}

func TestTimeStep(t *testing.T) {
	for d, want := range map[time.Duration]time.Duration{
		0: time.Minute, 12 * time.Minute: time.Minute, 97 * time.Minute: 10 * time.Minute,
		6 * time.Hour: 30 * time.Minute, 24 * time.Hour: 2 * time.Hour, 99 * time.Hour: 3 * time.Hour,
	} {
		if got := timeStep(d); got != want {
			t.Errorf("%v is divided by %v, want %v", d, got, want)
		}
	}
}

// Bringing readings down to one range a px loses neither peak nor dip, holds what
// was said, and leaves holes open.
func TestColumns(t *testing.T) {
	p := strip{from: epoch, to: epoch.Add(plotWidth * 10 * time.Second)}
	at := func(s int) time.Time { return epoch.Add(time.Duration(s) * time.Second) }
	cols := columns(p, []point{
		{at(-60), 7}, {at(25), 100}, {at(26), 3000}, {at(27), 2}, {at(28), 100}, {at(100), 50}, {at(900), 5}, {at(99999999), 1},
	}, 10*time.Minute)
	for _, c := range []struct {
		px   int
		want column
	}{
		{0, column{7, 7, true}}, {1, column{7, 7, true}}, {2, column{2, 3000, true}}, {3, column{100, 100, true}},
		{9, column{100, 100, true}}, {10, column{50, 100, true}}, {11, column{}}, {50, column{}}, {90, column{5, 5, true}},
		{91, column{}}, {plotWidth, column{}},
	} {
		if cols[c.px] != c.want {
			t.Errorf("px %d: %+v, want %+v", c.px, cols[c.px], c.want)
		}
	}
}

func TestOutline(t *testing.T) {
	cols := []column{{1, 1, true}, {1, 1, true}, {1, 1, true}, {1, 9, true}, {1, 1, true}}
	area, line := outline(cols, 60, 100, func(w float64) float64 { return 100 - w })
	if want := "M60 99.0V99.0L62 99.0V99.0L63 99.0V91.0L64 99.0V99.0"; line != want {
		t.Errorf("line %s, want %s", line, want)
	}
	if want := "M60 100.0L60 99.0L62 99.0L63 91.0L64 99.0L64 100.0Z"; area != want {
		t.Errorf("area %s, want %s", area, want)
	}
}
