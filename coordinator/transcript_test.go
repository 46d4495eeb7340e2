package coordinator

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumturn/queue"
)

var update = flag.Bool("update", false, "write what the rooms of testdata/*.txt did into these files; read the difference before you commit it")

// TestTranscripts plays the stories of testdata. A story is a text: lines that
// begin in the first column are remarks (#), the room ("machine ID KIND ...",
// "rule NAME VALUE") and what happens ("18:05 join anna wash"); indented lines
// are what the room must then say: the notices made since the line before, each
// with its time, and what changed on the board and in the queue. A clock time
// that is not later than the one before is on the next day.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(files) < 8 {
		t.Fatalf("%d stories, %v; want at least 8", len(files), err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".txt")
		t.Run(name, func(t *testing.T) { playFile(t, file) })
	}
}

func playFile(t *testing.T, file string) {
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	got := play(t, string(want))
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
	for i := range max(len(g), len(w)) {
		if i >= len(g) || i >= len(w) || g[i] != w[i] {
			t.Fatalf("%s:%d: the story goes otherwise. It goes:\n%s\nit should go:\n%s", file, i+1, around3(g, i), around3(w, i))
		}
	}
}

// around3 is line i with a few on both sides.
func around3(lines []string, i int) string {
	return strings.Join(lines[min(max(i-3, 0), len(lines)):min(i+4, len(lines))], "\n")
}

// play plays a story's commands and returns the story as it went.
func play(t *testing.T, text string) string {
	var out strings.Builder
	p := &player{muted: map[MachineID]bool{}, shown: map[string]string{}, plan: testPlan()}
	p.plan.Machines = nil
	for n, line := range strings.Split(strings.TrimRight(text, "\n"), "\n") {
		if strings.HasPrefix(line, " ") {
			continue
		}
		out.WriteString(line + "\n")
		fields := strings.Fields(line)
		switch {
		case len(fields) == 0 || fields[0] == "#":
		case fields[0] == "machine":
			p.machine(t, n+1, fields[1:])
		case fields[0] == "rule":
			p.rule(t, n+1, fields[1:])
		default:
			p.open(t)
			p.at(t, n+1, fields)
			for _, said := range p.said() {
				out.WriteString("    " + said + "\n")
			}
		}
	}
	return out.String()
}

// player is a scene whose commands are text.
type player struct {
	*scene
	plan  Plan
	muted map[MachineID]bool // meters that are not heard
	shown map[string]string  // what was last said of the machines and the queue
	told  int                // notices shown
	no    string             // the last refusal
}

func (p *player) machine(t *testing.T, line int, f []string) {
	kinds := map[string]queue.Kind{"washer": queue.Washer, "dryer": queue.Dryer, "washer-dryer": queue.WasherDryer}
	if len(f) < 2 || kinds[f[1]] == 0 {
		t.Fatalf("line %d: want machine ID KIND", line)
	}
	m := testPlan().Machines[0]
	m.ID, m.Number, m.Kind = MachineID(f[0]), len(p.plan.Machines)+1, kinds[f[1]]
	for _, extra := range f[2:] {
		switch extra {
		case "accessible":
			m.Accessible = true
		case "unmetered":
			m.Meter = ""
		default:
			t.Fatalf("line %d: %q is nothing a machine can be", line, extra)
		}
	}
	p.plan.Machines = append(p.plan.Machines, m)
}

func (p *player) rule(t *testing.T, line int, f []string) {
	r := &p.plan.Seed
	spans := map[string]*time.Duration{
		"hold": &r.Hold, "grace": &r.Grace, "call_uncollected_after": &r.CallUncollectedAfter,
		"assume_empty_after": &r.AssumeEmptyAfter, "recall_after": &r.RecallAfter,
		"not_me_within": &r.NotMeWithin, "more_time": &r.MoreTime, "more_time_waiting": &r.MoreTimeWaiting,
	}
	switch {
	case len(f) == 2 && spans[f[0]] != nil:
		*spans[f[0]] = p.span(t, line, f[1])
	case len(f) == 2 && f[0] == "walk_ups":
		if err := r.WalkUps.UnmarshalText([]byte(f[1])); err != nil {
			t.Fatalf("line %d: %v", line, err)
		}
	case len(f) == 4 && f[0] == "hours":
		for i := range r.Hours {
			r.Hours[i] = queue.Day{Opens: p.clock(t, line, f[1]), LastStart: p.clock(t, line, f[2]), EndedBy: p.clock(t, line, f[3])}
		}
	case len(f) == 3 && f[0] == "night":
		r.NightFrom, r.NightTo = p.clock(t, line, f[1]), p.clock(t, line, f[2])
	default:
		t.Fatalf("line %d: %q is no rule of a story", line, f)
	}
}

func (p *player) span(t *testing.T, line int, s string) time.Duration {
	d, err := time.ParseDuration(s)
	if err != nil {
		t.Fatalf("line %d: %v", line, err)
	}
	return d
}

func (p *player) clock(t *testing.T, line int, s string) queue.Clock {
	at, err := time.Parse("15:04", s)
	if err != nil {
		t.Fatalf("line %d: %v", line, err)
	}
	return queue.Clock(at.Hour()*60 + at.Minute())
}

// open opens the room when the first thing happens in it.
func (p *player) open(t *testing.T) {
	if p.scene != nil {
		return
	}
	plan := p.plan
	p.scene = &scene{T: t, room: NewRoom(plan, newPlain), now: noon, unsent: map[string]Notice{}}
	if problems := plan.Seed.Validate(); len(problems) > 0 {
		t.Fatalf("the story's rules: %+v", problems)
	}
}

// at lets time pass until a command's time, and carries the command out.
func (p *player) at(t *testing.T, line int, f []string) {
	c := p.clock(t, line, f[0])
	to := c.On(p.now, time.UTC)
	for to.Before(p.now.Truncate(time.Minute)) {
		to = to.Add(24 * time.Hour)
	}
	if p.told == 0 && len(p.shown) == 0 {
		p.now = to // the story begins
	}
	p.until(to)
	p.no = ""
	if len(f) < 2 {
		return
	}
	if !p.physical(t, line, f[1], f[2:]) {
		p.tap(t, line, f[1], f[2:])
	}
}

// until lets time pass: every deadline at its instant, every meter at half past
// each minute, so that a command finds its minute untouched.
func (p *player) until(to time.Time) {
	for p.now.Before(to) {
		next := p.now.Truncate(time.Minute).Add(30 * time.Second)
		if !next.After(p.now) {
			next = next.Add(time.Minute)
		}
		if next.After(to) {
			p.due(to)
			p.now = to
			return
		}
		p.due(next)
		p.now = later(p.now, next)
		for i, m := range p.room.plan.Machines {
			if last := p.room.engines[i].Status().Last; !p.muted[m.ID] && !last.At.IsZero() && p.now.After(last.At) {
				p.watts(m.ID, last.Watts)
			}
		}
	}
}

// due meets every deadline up to an instant.
func (p *player) due(to time.Time) {
	for due := p.room.Deadline(); !due.IsZero() && !due.After(to); due = p.room.Deadline() {
		p.now = later(p.now, due)
		p.do(Tick{})
	}
}
