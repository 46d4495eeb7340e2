package chart

import (
	"encoding/xml"
	"io"
	"math"
	"strconv"
	"strings"
)

// failer is what a *testing.T and a *rapid.T have in common.
type failer interface {
	Helper()
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// element is one element of a drawing, with its text.
type element struct {
	tag, text string
	attr      map[string]string
}

func (e element) num(t failer, name string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		t.Fatalf("%s %v: %s=%q is no number", e.tag, e.attr, name, e.attr[name])
	}
	return v
}

func (e element) is(class string) bool {
	for _, c := range strings.Fields(e.attr["class"]) {
		if c == class {
			return true
		}
	}
	return false
}

// parse reads a drawing, which must be well-formed XML.
func parse(t failer, svg string) []element {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	var all []element
	var open []int
	for {
		token, err := d.Token()
		if err == io.EOF {
			return all
		}
		if err != nil {
			t.Fatalf("not well-formed: %v\n%s", err, svg)
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := element{tag: token.Name.Local, attr: map[string]string{}}
			for _, a := range token.Attr {
				if _, twice := e.attr[a.Name.Local]; twice {
					t.Fatalf("%s has %s twice", e.tag, a.Name.Local)
				}
				e.attr[a.Name.Local] = a.Value
			}
			open, all = append(open, len(all)), append(all, e)
		case xml.EndElement:
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) > 0 {
				all[open[len(open)-1]].text += string(token)
			}
		}
	}
}

// area is a box that a drawing's parts must lie in.
type area struct{ left, top, right, bottom float64 }

func (a area) holds(x, y float64) bool {
	const slack = 0.11 // coordinates are rounded to a tenth
	return x >= a.left-slack && x <= a.right+slack && y >= a.top-slack && y <= a.bottom+slack
}

// whole is the drawing's own box.
func whole(t failer, all []element) area {
	t.Helper()
	var v [4]float64
	parts := strings.Fields(all[0].attr["viewBox"])
	if all[0].tag != "svg" || len(parts) != 4 {
		t.Fatalf("no svg with a viewBox: %v", all[0])
	}
	for i, p := range parts {
		v[i], _ = strconv.ParseFloat(p, 64)
	}
	if v[2] <= 0 || v[3] <= 0 || v[3] > 5000 {
		t.Fatalf("viewBox %v", v)
	}
	return area{v[0], v[1], v[0] + v[2], v[1] + v[3]}
}

// plotOf is the box between the first and the last line of the grid.
func plotOf(t failer, all []element) area {
	t.Helper()
	a := area{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, e := range all {
		if e.is("chart-grid") || e.is("chart-base") {
			a.left, a.right = min(a.left, e.num(t, "x1")), max(a.right, e.num(t, "x2"))
			a.top, a.bottom = min(a.top, e.num(t, "y1")), max(a.bottom, e.num(t, "y1"))
		}
	}
	if !(a.right > a.left && a.bottom > a.top) {
		t.Fatalf("no plot: %v", a)
	}
	return a
}

// points are the corners of a path; relative and curved ones are not used but
// for the mark of an alarm.
func points(t failer, d string) [][2]float64 {
	t.Helper()
	var out [][2]float64
	var x, y float64
	for i := 0; i < len(d); {
		command := d[i]
		i++
		var v []float64
		for i < len(d) && (d[i] == ' ' || d[i] == '-' || d[i] == '.' || d[i] >= '0' && d[i] <= '9') {
			from := i
			for i++; i < len(d) && (d[i] == '.' || d[i] >= '0' && d[i] <= '9'); i++ {
			}
			if part := strings.TrimSpace(d[from:i]); part != "" && part != "-" {
				n, err := strconv.ParseFloat(part, 64)
				if err != nil {
					t.Fatalf("path %q: %v", d, err)
				}
				v = append(v, n)
			}
		}
		switch command {
		case 'M', 'L':
			x, y = v[0], v[1]
		case 'H':
			x = v[0]
		case 'V':
			y = v[0]
		case 'h':
			x += v[0]
		case 'Z':
			continue
		default:
			t.Fatalf("path command %q in %q", command, d)
		}
		out = append(out, [2]float64{x, y})
	}
	return out
}

// textBox is where a text stands, with the width that it has at the most.
func textBox(t failer, e element) area {
	x, y, w := e.num(t, "x"), e.num(t, "y"), textWidth(e.text)
	switch e.attr["text-anchor"] {
	case "middle":
		x -= w / 2
	case "end":
		x -= w
	}
	return area{x, y - 10, x + w, y + 3}
}

// checkDrawing holds any chart to what every chart promises: it parses, says
// what it is, has no style of its own, keeps every mark within its plot, and no
// label is cut off or runs into another.
func checkDrawing(t failer, svg string, gridded bool) []element {
	t.Helper()
	all := parse(t, svg)
	box := whole(t, all)
	plot := box
	if gridded {
		plot = plotOf(t, all)
	}
	ids := map[string]bool{}
	var texts []element
	for _, e := range all {
		if e.attr["style"] != "" || e.tag == "style" || e.tag == "script" {
			t.Fatalf("%s brings a style of its own: a strict policy stops it", e.tag)
		}
		if id := e.attr["id"]; id != "" {
			if ids[id] {
				t.Fatalf("two elements are called %s", id)
			}
			ids[id] = true
		}
		if e.tag == "text" {
			texts = append(texts, e)
		}
		checkMark(t, e, plot, box)
	}
	for _, id := range strings.Fields(all[0].attr["aria-labelledby"]) {
		if !ids[id] {
			t.Fatalf("it is labelled by %s, which is not there", id)
		}
	}
	if all[0].attr["role"] != "img" || all[0].attr["aria-labelledby"] == "" {
		t.Fatal("nobody who cannot see it is told what it is")
	}
	checkHatches(t, all)
	checkTexts(t, texts, box)
	return all
}

// checkMark keeps what stands for data within the plot, and the rest within the drawing.
func checkMark(t failer, e element, plot, box area) {
	t.Helper()
	within, data := box, false
	for _, class := range []string{"chart-curve", "chart-under", "chart-ribbon", "chart-bar", "chart-gap", "chart-limit"} {
		if e.is(class) && !e.is("chart-key") && (e.tag == "path" || e.tag == "rect") {
			within, data = plot, true
		}
	}
	if e.is("chart-ribbon") && e.tag == "rect" { // its legend
		within = box
	}
	in := func(x, y float64) {
		if !within.holds(x, y) {
			t.Fatalf("%s %v has a point at %v, %v outside %v", e.tag, e.attr, x, y, within)
		}
	}
	switch {
	case e.tag == "rect" && e.attr["x"] != "":
		x, y, w, h := e.num(t, "x"), e.num(t, "y"), e.num(t, "width"), e.num(t, "height")
		if w < 0 || h < 0 {
			t.Fatalf("%v has a negative size", e.attr)
		}
		in(x, y)
		in(x+w, y+h)
	case e.tag == "line":
		in(e.num(t, "x1"), e.num(t, "y1"))
		in(e.num(t, "x2"), e.num(t, "y2"))
	case e.tag == "circle" && e.is("chart-dot-value"):
		in(e.num(t, "cx"), e.num(t, "cy"))
	case e.tag == "path" && data:
		for _, p := range points(t, e.attr["d"]) {
			in(p[0], p[1])
		}
	}
}

// checkTexts: none is cut off, none runs into another.
func checkTexts(t failer, texts []element, box area) {
	t.Helper()
	for i, e := range texts {
		b := textBox(t, e)
		if !box.holds(b.left, b.top) || !box.holds(b.right, b.bottom) {
			t.Fatalf("%q at %v is cut off by %v", e.text, b, box)
		}
		for _, o := range texts[:i] {
			c := textBox(t, o)
			if b.left < c.right && c.left < b.right && b.top < c.bottom && c.top < b.bottom {
				t.Fatalf("%q at %v runs into %q at %v", e.text, b, o.text, c)
			}
		}
	}
}

// checkHatches: the lines of a pattern lie in the area before them, and no area is
// filled with tiles, of which a print makes pictures.
func checkHatches(t failer, all []element) {
	t.Helper()
	for i, e := range all {
		if e.attr["fill"] != "" || e.tag == "pattern" {
			t.Fatalf("%s is filled with %q", e.tag, e.attr["fill"])
		}
		if !e.is("chart-hatch") {
			continue
		}
		k := i - 1
		for all[k].tag == "title" {
			k--
		}
		of := all[k]
		if of.tag != "rect" || !of.is("chart-ground") {
			t.Fatalf("lines %v after %s %v", e.attr, of.tag, of.attr)
		}
		b := area{of.num(t, "x"), of.num(t, "y"), of.num(t, "x") + of.num(t, "width"), of.num(t, "y") + of.num(t, "height")}
		for _, p := range points(t, e.attr["d"]) {
			if !b.holds(p[0], p[1]) {
				t.Fatalf("a line of %s at %v outside of %v", e.attr["class"], p, b)
			}
		}
	}
}
