package config

import (
	"bytes"
	"fmt"

	"github.com/pelletier/go-toml/v2/unstable"
)

// maxFile is the size that a building file may have, in bytes: a campus of
// 500 rooms needs less.
const maxFile = 4 << 20

// reader turns one file into a tree of nodes. It goes on after a line that it
// cannot read, so that all such lines are reported.
type reader struct {
	file   string
	data   []byte
	report *report
	parser unstable.Parser
	lines  lineIndex
	// base is the offset in data of what the parser was last given.
	base int
	root *node
	at   *node // the table that keys go into; nil after a header that cannot be used
	// lost: a header was unreadable, so that nothing is known about what follows it.
	lost bool
}

// read parses a file. The tree is nil when the file is too broken to look at
// its settings; what is wrong has then been reported.
func read(file string, data []byte, rep *report) *node {
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")) // the mark that some editors put first
	r := &reader{file: file, data: data, report: rep, lines: indexLines(data)}
	r.root = &node{line: 1, header: true}
	r.at = r.root
	if len(data) > maxFile {
		r.say(nil, 1, "the file is larger than any building needs", fmt.Sprintf("use a file below %d MiB", maxFile>>20))
		return nil
	}
	if line, wrong, right := notText(data); wrong != "" {
		r.say(nil, line, wrong, right)
		return nil
	}
	r.expressions()
	if r.lost {
		return nil
	}
	return r.root
}

func (r *reader) say(n *node, line int, wrong, right string) {
	key := ""
	if n != nil {
		key = n.path()
	}
	r.report.add(Problem{File: r.file, Line: line, Key: key, Wrong: wrong, Right: right, Severity: Mistake})
}

// expressions reads header by header and setting by setting to the end of the file.
func (r *reader) expressions() {
	const enough = 20 // unreadable lines, after which more would be noise
	done := 0         // offset behind the last thing read
	r.parser.Reset(r.data)
	for tries := 0; tries < enough; {
		for r.parser.NextExpression() {
			done = r.expression(r.parser.Expression())
		}
		err := r.parser.Error()
		if err == nil {
			return
		}
		tries++
		r.base = r.skip(err, done)
		done = r.base
		r.parser.Reset(r.data[r.base:])
	}
}

// expression takes one header or setting into the tree; it returns the offset of its end.
func (r *reader) expression(e *unstable.Node) int {
	keys, first, end := r.keyOf(e)
	line := r.lines.at(first)
	switch e.Kind {
	case unstable.Table:
		r.at = r.header(keys, line)
	case unstable.ArrayTable:
		r.at = r.listHeader(keys, line)
	case unstable.KeyValue:
		end = r.base + int(e.Raw.Offset+e.Raw.Length)
		if r.at != nil {
			r.setting(r.at, keys, line, e.Value())
		}
	}
	return end
}

// keyOf returns the parts of a dotted key, and the offsets of its begin and end.
func (r *reader) keyOf(e *unstable.Node) (keys []string, first, end int) {
	first = -1
	for it := e.Key(); it.Next(); {
		k := it.Node()
		keys = append(keys, string(k.Data))
		if first < 0 {
			first = r.base + int(k.Raw.Offset)
		}
		end = r.base + int(k.Raw.Offset+k.Raw.Length)
	}
	return keys, max(first, 0), end
}
