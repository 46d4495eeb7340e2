package tracestory

import (
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"drumturn/coordinator/cycle"
)

// drawRecording makes a recording of washes, pauses and holes at random, some of
// its rows unreadable.
func drawRecording(random *rand.Rand) (r *recording, bad int) {
	r = newRecording().power(1, 10*time.Second)
	for range 2 + random.IntN(8) {
		switch random.IntN(5) {
		case 0:
			r.hole(time.Duration(random.IntN(300)) * time.Minute)
		case 1:
			fmt.Fprintf(&r.rows, "%s,%s\n", r.now.Format(time.RFC3339), []string{"much", "1e999"}[random.IntN(2)])
			bad++
		case 2:
			r.power(float64(random.IntN(3000)), time.Duration(random.IntN(40))*time.Minute)
		default:
			r.wash()
		}
	}
	return r, bad
}

// TestJSONOfAnything: whatever is replayed, every line is one object, the lines
// are in the order in which things were said, cycles begin before they end and
// are ended once, and the remaining time is told only while one runs, low to high.
func TestJSONOfAnything(t *testing.T) {
	for seed := range uint64(40) {
		r, _ := drawRecording(rand.New(rand.NewPCG(seed, 1)))
		engine := newFixed
		if seed%2 == 1 {
			engine = func(s cycle.Settings) cycle.Engine { return cycle.New(s) }
		}
		out := told(t, Options{Trace: r.file(t, "x.csv"), Kind: Kinds[seed%3], JSON: true, Complaints: io.Discard, New: engine})
		var last time.Time
		running := false
		for n, text := range strings.Split(strings.TrimSuffix(out, "\n"), "\n") {
			if text == "" && out == "" {
				continue
			}
			var l line
			d := json.NewDecoder(strings.NewReader(text))
			d.DisallowUnknownFields()
			if err := d.Decode(&l); err != nil || d.More() {
				t.Fatalf("seed %d, line %d %q: %v", seed, n+1, text, err)
			}
			if l.Time.Before(last) {
				t.Errorf("seed %d, line %d is told at %v, after %v", seed, n+1, l.Time, last)
			}
			last = l.Time
			running = checkLine(t, &l, running)
		}
	}
}

// checkLine holds one line against whether a cycle runs, and says whether one
// does after it.
func checkLine(t *testing.T, l *line, running bool) bool {
	t.Helper()
	if l.Start == nil || l.Start.After(l.Time) {
		t.Errorf("%s begins after it is told: %+v", l.Event, *l)
		return running
	}
	switch l.Event {
	case "started":
		if running {
			t.Errorf("started twice: %+v", *l)
		}
		return true
	case "finished", "stopped_early":
		if !running || l.End == nil || l.End.Before(*l.Start) || l.End.After(l.Time) || l.EnergyWh == nil || *l.EnergyWh < 0 || *l.PeakW < 0 {
			t.Errorf("an end that cannot be: %+v", *l)
		}
		return false
	case "remaining":
		if !running || *l.LowS < 0 || *l.LowS > *l.MedianS || *l.MedianS > *l.HighS {
			t.Errorf("a remaining time that cannot be: %+v", *l)
		}
		return !l.Withdrawn
	case "phase":
		if !running || l.Phase == "" {
			t.Errorf("a phase that cannot be: %+v", *l)
		}
	case "unknown":
	default:
		t.Errorf("there is no event %q", l.Event)
	}
	return running
}

// TestStoryAgreesWithJSON: text and lines tell of the same cycles.
func TestStoryAgreesWithJSON(t *testing.T) {
	for seed := range uint64(15) {
		r, bad := drawRecording(rand.New(rand.NewPCG(seed, 2)))
		path := r.file(t, "x.csv")
		var complaints strings.Builder
		text := told(t, Options{Trace: path, Kind: "washer", Complaints: &complaints})
		lines := objects(t, told(t, Options{Trace: path, Kind: "washer", JSON: true, Complaints: io.Discard}))
		ends := only(lines, "finished", "stopped_early")
		if resumed := strings.Count(text, "resumed"); resumed == 0 && text != "x.csv: no readings\n" && len(only(lines, "started")) == len(ends) {
			again := 0
			for _, l := range only(lines, "started") {
				if l["resumed"] == true {
					again++
				}
			}
			if want := count(len(ends)-again, "cycle", "cycles"); !strings.Contains(text, "\n"+want) {
				t.Errorf("seed %d: the lines have %s, the story is\n%s", seed, want, text)
			}
		}
		if n := strings.Count(complaints.String(), "left out"); n != bad {
			t.Errorf("seed %d: %d complaints about %d bad rows:\n%s", seed, n, bad, complaints.String())
		}
	}
}

// TestDrawingsOfAnything: whatever is replayed, and whatever the file is called,
// the drawing is well-formed XML with finite numbers, and loads nothing.
func TestDrawingsOfAnything(t *testing.T) {
	names := []string{"x.csv", `a "b" 'c'.csv`, "<script>.csv", "]]> &amp;.csv", "Wäsche 洗.csv"}
	for seed := range uint64(25) {
		random := rand.New(rand.NewPCG(seed, 3))
		r, _ := drawRecording(random)
		if seed%4 == 0 { // more than a day and a half: a strip a day
			r.hole(40 * time.Hour).wash()
		}
		s := newStory(names[seed%uint64(len(names))], "dryer", true)
		path := r.file(t, "x.csv")
		src, err := openTrace(path, io.Discard)
		if err != nil {
			t.Fatal(err)
		}
		set := cycle.DefaultSettings()
		if err := play(newFixed(set), src.next, s); err != nil {
			t.Fatal(err)
		}
		src.rows.Close()
		data := string(drawSVG(s, set.SilentAfter))
		checkXML(t, data)
		for _, never := range []string{"NaN", "Inf", "<script", "href", "=\"-1e", "%!"} {
			if strings.Contains(data, never) {
				t.Errorf("seed %d: %q in the drawing", seed, never)
			}
		}
	}
}

func checkXML(t *testing.T, text string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(text))
	d.Strict = true
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("not well-formed: %v", err)
		}
		e, ok := token.(xml.StartElement)
		if !ok || e.Name.Local != "rect" {
			continue
		}
		for _, a := range e.Attr {
			if (a.Name.Local == "width" || a.Name.Local == "height") && strings.HasPrefix(a.Value, "-") {
				t.Errorf("a rectangle with a %s of %s", a.Name.Local, a.Value)
			}
		}
	}
}

// TestManyDaysAreBounded: a drawing shows the last 120 days with a cycle and
// says so.
func TestManyDaysAreBounded(t *testing.T) {
	s := newStory("x", "washer", true)
	for i := range mostStrips + 5 {
		start := epoch.AddDate(0, 0, i)
		s.runs = append(s.runs, run{start: start, end: start.Add(time.Hour), told: start.Add(time.Hour), kind: cycle.Finished})
	}
	s.first, s.last, s.readings = epoch, epoch.AddDate(0, 0, mostStrips+5), 2
	strips, note := s.strips()
	if len(strips) != mostStrips || note != "The last 120 of 125 days with a cycle." {
		t.Errorf("%d strips: %s", len(strips), note)
	}
	if want := epoch.AddDate(0, 0, 5).Format(dayOnly); strips[0].day != want {
		t.Errorf("the first strip is %s, want %s", strips[0].day, want)
	}
}

// TestHours: strips show the hours with cycles and half an hour around them, at
// least six, and the whole day where a cycle goes over midnight.
func TestHours(t *testing.T) {
	day := epoch.Truncate(24 * time.Hour)
	at := func(h, m int) time.Time {
		return day.Add(time.Duration(h)*time.Hour + time.Duration(m)*time.Minute)
	}
	for _, c := range []struct {
		what        string
		runs        []run
		early, late int
	}{
		{"one short cycle", []run{{start: at(10, 0), end: at(11, 0)}}, 9, 15},
		{"late in the evening", []run{{start: at(22, 0), end: at(23, 50)}}, 18, 24},
		{"early", []run{{start: at(0, 10), end: at(1, 0)}}, 0, 6},
		{"the long day", []run{{start: at(6, 29), end: at(8, 0)}, {start: at(20, 0), end: at(21, 31)}}, 5, 23},
		{"over midnight", []run{{start: at(23, 0), end: at(24, 30)}}, 0, 24},
	} {
		s := &story{runs: c.runs}
		early, late := s.hours()
		if early != time.Duration(c.early)*time.Hour || late != time.Duration(c.late)*time.Hour {
			t.Errorf("%s: %v to %v, want %d h to %d h", c.what, early, late, c.early, c.late)
		}
	}
}

// TestRunNames: a cycle's name says as much as there is room for.
func TestRunNames(t *testing.T) {
	half := run{start: epoch, end: epoch.Add(30 * time.Minute), kind: cycle.Finished, energyWh: 380}
	early, presumed, cut := half, half, half
	early.kind, presumed.kind, cut.cutOff = cycle.StoppedEarly, cycle.Presumed, true
	for _, c := range []struct {
		r    run
		room float64
		want string
	}{
		{half, 1000, "3: 30 min, 0.38 kWh"},
		{half, 6.4 * 19, "3: 30 min"}, // exactly as long is not enough
		{half, 6.4*19 + 1, "3: 30 min, 0.38 kWh"},
		{half, 20, "3"},
		{half, -5, "3"},
		{early, 1000, "3: 30 min, 0.38 kWh, stopped early"},
		{presumed, 1000, "3: 30 min, 0.38 kWh, presumed over"},
		{cut, 1000, "3: 30 min, 0.38 kWh, cut off"},
	} {
		if got := runName(&c.r, 2, c.room); got != c.want {
			t.Errorf("with %v px: %q, want %q", c.room, got, c.want)
		}
	}
}
