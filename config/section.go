package config

import (
	"encoding"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumturn/queue"
)

// section reads the settings of one table and remembers which names it knows,
// so that close can report the others. A section that the file does not have
// (node nil) reads nothing.
type section struct {
	in    *input
	node  *node
	known map[string]bool
}

// input is one file being decoded.
type input struct {
	name   string // as reported
	dir    string // what relative paths in it start from
	report *report
	disk   Disk
}

func (in *input) tell(n *node, severity Severity, wrong, right string) {
	in.report.add(Problem{File: in.name, Line: n.line, Key: n.path(), Wrong: wrong, Right: right, Severity: severity})
}

func (s *section) has(key string) bool { return s.node.child(key) != nil }

// take marks a key as known and returns its node when it is there and can be read.
func (s *section) take(key string) *node {
	if s.known == nil {
		s.known = map[string]bool{}
	}
	s.known[key] = true
	n := s.node.child(key)
	if n == nil || n.shape == brokenShape {
		return nil
	}
	return n
}

// scalar is take for one shape of value; another shape is reported with the example.
func (s *section) scalar(key, example string, shapes ...shape) *node {
	n := s.take(key)
	if n == nil || slices.Contains(shapes, n.shape) {
		return n
	}
	s.in.tell(n, Mistake, "this is "+n.shape.String()+", but "+shapes[0].String()+" is wanted", "write "+key+" = "+example)
	return nil
}

// wrong reports a mistake at a key, or at the section's head when the key is not there.
func (s *section) wrong(key, wrong, right string) { s.tell(key, Mistake, wrong, right) }

// refused reports whether a mistake was found in a setting, so that what is wrong with
// it beside others need not be said: who mends the one may have mended the other.
func (s *section) refused(key string) bool {
	n := s.node.child(key)
	return n != nil && s.in.report.refuses(s.in.name, n)
}

// warn reports what is not refused.
func (s *section) warn(key, wrong, right string) { s.tell(key, Warning, wrong, right) }

func (s *section) tell(key string, severity Severity, wrong, right string) {
	if n := s.node.child(key); n != nil {
		s.in.tell(n, severity, wrong, right)
		return
	}
	p := Problem{File: s.in.name, Key: key, Wrong: wrong, Right: right, Severity: severity}
	if s.node != nil {
		p.Line, p.Key = s.node.line, strings.TrimPrefix(s.node.path()+"."+key, ".")
	}
	s.in.report.add(p)
}

// missing reports a setting that must be there and is not.
func (s *section) missing(key, right string) {
	if s.node != nil && !s.has(key) {
		s.wrong(key, "this setting is missing", right)
	}
}

// text reads a text without control characters.
func (s *section) text(key string, into *string) bool {
	n := s.scalar(key, exampleFor(key, `"text"`), textShape)
	if n == nil {
		return false
	}
	if strings.ContainsFunc(n.text, func(r rune) bool { return r < ' ' || r == 0x7f || r == 0xfffd }) {
		s.wrong(key, "the text has characters that cannot be shown, or a line break", "write it on one line, in plain letters")
		return false
	}
	*into = n.text
	return true
}

// name reads a text for people: not empty, not too long.
func (s *section) name(key string, into *string) {
	const longest = 80
	var v string
	switch ok := s.text(key, &v); {
	case !ok:
	case strings.TrimSpace(v) == "":
		s.wrong(key, "the name is empty", "write the name that residents use")
	case len([]rune(v)) > longest:
		s.wrong(key, "the name is too long to be shown", fmt.Sprintf("use %d characters at most", longest))
	default:
		*into = strings.TrimSpace(v)
	}
}

// texts reads a list of texts.
func (s *section) texts(key string, into *[]string) {
	n := s.scalar(key, exampleFor(key, `["one", "two"]`), listShape)
	if n == nil {
		return
	}
	out := make([]string, 0, len(n.list))
	for _, item := range n.list {
		if item.shape != textShape {
			s.in.tell(item, Mistake, "this is "+item.shape.String()+", but a text is wanted", "put it in quotes")
			continue
		}
		out = append(out, item.text)
	}
	*into = out
}

// truth reads true or false.
func (s *section) truth(key string, into *bool) {
	if n := s.scalar(key, "true or "+key+" = false", truthShape); n != nil {
		*into = n.text == "true"
	}
}

// whole reads an integer from lo to hi.
func (s *section) whole(key string, into *int, lo, hi int) bool {
	n := s.scalar(key, strconv.Itoa(max(lo, 1)), wholeShape)
	if n == nil {
		return false
	}
	v, err := strconv.ParseInt(n.text, 0, 64)
	if err != nil || v < int64(lo) || v > int64(hi) {
		s.wrong(key, n.text+" is out of range", fmt.Sprintf("use a whole number from %d to %d", lo, hi))
		return false
	}
	*into = int(v)
	return true
}

// count reads an integer whose bounds are checked elsewhere.
func (s *section) count(key string, into *int) {
	n := s.scalar(key, exampleFor(key, "2"), wholeShape)
	if n == nil {
		return
	}
	v, err := strconv.ParseInt(n.text, 0, 32)
	if err != nil {
		s.wrong(key, n.text+" is out of range", "use a much smaller number")
		return
	}
	*into = int(v)
}

// number reads a number from lo to hi.
func (s *section) number(key string, into *float64, lo, hi float64, unit string) bool {
	n := s.scalar(key, exampleFor(key, fmt.Sprintf("%g, without quotes and unit", hi)), numberShape, wholeShape)
	if n == nil {
		return false
	}
	v, err := strconv.ParseFloat(strings.ReplaceAll(n.text, "_", ""), 64)
	if err != nil || !(v >= lo && v <= hi) {
		s.wrong(key, n.text+" is out of range", fmt.Sprintf("use a number from %g to %g%s", lo, hi, unit))
		return false
	}
	*into = v
	return true
}

// duration reads a length of time.
func (s *section) duration(key string, into *time.Duration) bool {
	n := s.scalar(key, exampleFor(key, `"10m"`), textShape)
	if n == nil {
		return false
	}
	var d Duration
	if err := d.UnmarshalText([]byte(n.text)); err != nil {
		s.wrong(key, err.Error(), `use whole numbers with the units s, m, h or d, such as "90s", "10m" or "1h30m"`)
		return false
	}
	*into = time.Duration(d)
	return true
}

// between reads a length of time from lo to hi.
func (s *section) between(key string, into *time.Duration, lo, hi time.Duration) {
	var d time.Duration
	if !s.duration(key, &d) {
		return
	}
	if d < lo || d > hi {
		s.wrong(key, fmt.Sprintf("%s is out of range", Duration(d)), fmt.Sprintf("use a time from %s to %s", Duration(lo), Duration(hi)))
		return
	}
	*into = d
}

// clock reads a time of day; an empty text is none.
func (s *section) clock(key string, into *queue.Clock) {
	n := s.scalar(key, `"21:30"`, textShape)
	if n == nil {
		return
	}
	c, err := queue.ParseClock(n.text)
	if err != nil {
		s.wrong(key, err.Error(), `use hours and minutes from "00:00" to "23:59", such as "21:30"`)
		return
	}
	*into = c
}

// word reads one of a set of words.
func (s *section) word(key string, into encoding.TextUnmarshaler, words ...string) bool {
	n := s.scalar(key, strconv.Quote(words[0]), textShape)
	if n == nil {
		return false
	}
	if slices.Contains(words, n.text) && into.UnmarshalText([]byte(n.text)) == nil {
		return true
	}
	near := ""
	if w := nearest(n.text, words); w != "" {
		near = "did you mean " + w + "? It "
	}
	advice := "use one of " + strings.Join(words, ", ")
	if near != "" {
		advice = near + "can be " + strings.Join(words, ", ")
	}
	s.wrong(key, strconv.Quote(n.text)+" is not known here", advice)
	return false
}

// close reports the settings that no reader has asked for.
func (s *section) close() {
	if s.node == nil {
		return
	}
	for _, key := range s.node.order {
		if !s.known[key] {
			known := slices.Sorted(maps.Keys(s.known))
			s.in.tell(s.node.keys[key], Mistake, "there is no such setting here", didYouMean(key, known))
		}
	}
}
