package chart

import (
	"html"
	"math"
	"strconv"
	"strings"
)

// pen writes SVG. Attributes are pairs of name and value.
type pen struct{ strings.Builder }

func (p *pen) start(tag string, attrs []string) {
	p.WriteByte('<')
	p.WriteString(tag)
	for i := 0; i+1 < len(attrs); i += 2 {
		if attrs[i+1] == "" {
			continue
		}
		p.WriteByte(' ')
		p.WriteString(attrs[i])
		p.WriteString(`="`)
		p.WriteString(html.EscapeString(clean(attrs[i+1])))
		p.WriteByte('"')
	}
}

// begin opens an element, end closes it, put writes an empty one.
func (p *pen) begin(tag string, attrs ...string) {
	p.start(tag, attrs)
	p.WriteByte('>')
}

func (p *pen) end(tag string) { p.WriteString("</" + tag + ">") }

func (p *pen) put(tag string, attrs ...string) {
	p.start(tag, attrs)
	p.WriteString("/>")
}

// words writes an element that holds text.
func (p *pen) words(tag, text string, attrs ...string) {
	p.begin(tag, attrs...)
	p.WriteString(html.EscapeString(clean(text)))
	p.end(tag)
}

// tipped writes an element with a tooltip.
func (p *pen) tipped(tip, tag string, attrs ...string) {
	if tip == "" {
		p.put(tag, attrs...)
		return
	}
	p.begin(tag, attrs...)
	p.words("title", tip)
	p.end(tag)
}

// clean leaves out what XML cannot hold.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' && r != '\t' && r != '\n' || r == 0xfffe || r == 0xffff {
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\uFFFD"))
}

// n writes a coordinate, with one digit behind the point.
func n(v float64) string {
	return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64)
}

// named makes an identifier of parts: what is no small letter, digit or dash is a dash.
func named(parts ...string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '-'
	}, strings.ToLower(strings.Join(parts, "-")))
}
