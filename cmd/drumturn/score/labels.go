package score

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"time"
)

// Quality says how far a label can be trusted.
type Quality string

// The qualities of a label.
const (
	Clean    Quality = "clean"
	Gap      Quality = "gap"      // a hole in the data inside
	Doubtful Quality = "doubtful" // nobody can tell: counts neither way
)

// Label is one cycle as a careful reader saw it with hindsight.
type Label struct {
	Machine, ID, Kind string
	Start, End        time.Time
	Quality           Quality
}

func (l Label) middle() time.Time     { return l.Start.Add(l.End.Sub(l.Start) / 2) }
func (l Label) length() time.Duration { return l.End.Sub(l.Start) }

// readLabels reads a labels.csv; the labels of a machine come in time order.
func readLabels(path string) (map[string][]Label, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("labels: %w", err)
	}
	defer f.Close()
	ls, err := parseLabels(f)
	if err != nil {
		return nil, fmt.Errorf("labels %s: %w", path, err)
	}
	return ls, nil
}

func parseLabels(in io.Reader) (map[string][]Label, error) {
	rows := csv.NewReader(in)
	header, err := rows.Read()
	if err != nil {
		return nil, fmt.Errorf("no header line: %w", err)
	}
	col := map[string]int{}
	for i, name := range header {
		col[name] = i
	}
	for _, need := range []string{"machine", "cycle_id", "kind", "start", "end", "quality"} {
		if _, ok := col[need]; !ok {
			return nil, fmt.Errorf("the header has no column %q", need)
		}
	}
	out := map[string][]Label{}
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, err
		}
		l, err := labelOf(func(name string) string { return row[col[name]] })
		if err != nil {
			line, _ := rows.FieldPos(0)
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		out[l.Machine] = append(out[l.Machine], l)
	}
	for _, ls := range out {
		slices.SortFunc(ls, func(a, b Label) int { return a.Start.Compare(b.Start) })
	}
	return out, nil
}

func labelOf(field func(string) string) (Label, error) {
	l := Label{
		Machine: field("machine"), ID: field("cycle_id"), Kind: field("kind"),
		Quality: Quality(field("quality")),
	}
	var err error
	if l.Start, err = time.Parse(time.RFC3339, field("start")); err != nil {
		return l, fmt.Errorf("start: %w", err)
	}
	if l.End, err = time.Parse(time.RFC3339, field("end")); err != nil {
		return l, fmt.Errorf("end: %w", err)
	}
	if !l.End.After(l.Start) {
		return l, fmt.Errorf("end %s is not after start %s", field("end"), field("start"))
	}
	switch l.Quality {
	case Clean, Gap, Doubtful:
	default:
		return l, fmt.Errorf("quality %q: want clean, gap or doubtful", l.Quality)
	}
	switch l.Kind {
	case "washer", "dryer", "combo":
	default:
		return l, fmt.Errorf("kind %q: want washer, dryer or combo", l.Kind)
	}
	return l, nil
}
