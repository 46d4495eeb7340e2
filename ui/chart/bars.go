package chart

import "math"

// Bars is a chart of one bar, or one stack of bars, for each of a row of
// categories.
type Bars struct {
	Frame
	Labels []string
	// Series are stacked on each other; each has a value for every label. A value
	// that is no number means that nothing is known.
	Series []Series
	// Tip says what stands at a label, for the tooltip; nil: the label and values.
	Tip func(i int) string
	// Unheard is the word for nothing being known.
	Unheard string
	Height  float64
}

// Series is a row of values.
type Series struct {
	Name    string
	Pattern Pattern
	Values  []float64
}

// sum is the height of a stack; ok is false where nothing is known.
func (b *Bars) sum(i int) (sum float64, ok bool) {
	for _, s := range b.Series {
		if i < len(s.Values) && !math.IsNaN(s.Values[i]) {
			sum, ok = sum+max(0, sane(s.Values[i])), true
		}
	}
	return sane(sum), ok
}

// SVG draws the chart.
func (b *Bars) SVG(s Size) string {
	high := 0.0
	for i := range b.Labels {
		v, _ := b.sum(i)
		high = max(high, v)
	}
	scale := NiceScale(0, high, 5)
	height := b.Height
	if height == 0 {
		height = s.height
	}
	d := &drawing{f: &b.Frame, size: s, width: s.width}
	plot := box{left: d.axisRoom(scale), top: unitRoom, right: s.width - 2}
	plot.bottom = plot.top + height
	keys := d.rows(b.keys())
	end := plot.bottom + lineRoom
	d = b.begin(s, end+float64(len(keys))*keyHeight+2)
	d.plot = plot
	d.valueAxis(scale)
	b.draw(d, scale)
	d.legend(end, keys)
	return d.done()
}

// draw draws the stacks and their labels.
func (b *Bars) draw(d *drawing, scale Scale) {
	slot := d.plot.width() / float64(max(1, len(b.Labels)))
	gap := min(slot*0.25, 10)
	var spots []spot
	for i, label := range b.Labels {
		at := box{d.plot.left + float64(i)*slot + gap/2, d.plot.top, d.plot.left + float64(i+1)*slot - gap/2, d.plot.bottom}
		spots = append(spots, spot{(at.left + at.right) / 2, label})
		if _, ok := b.sum(i); !ok {
			d.area(at, Unknown, "chart-gap", label+": "+b.Unheard)
			continue
		}
		from := 0.0
		for _, s := range b.Series {
			if i >= len(s.Values) || !(s.Values[i] > 0) {
				continue
			}
			to := from + sane(s.Values[i])
			part := at
			part.bottom, part.top = d.plot.y(scale.at(from)), d.plot.y(scale.at(to))
			d.area(part, s.Pattern, "chart-bar", b.tip(i))
			from = to
		}
	}
	d.below(d.plot.bottom+lineRoom-5, "chart-time", spots)
}

func (b *Bars) tip(i int) string {
	if b.Tip != nil {
		return b.Tip(i)
	}
	v, _ := b.sum(i)
	return b.Labels[i] + ": " + b.number(v, 2) + " " + b.Unit
}

func (b *Bars) keys() []key {
	var keys []key
	if len(b.Series) > 1 {
		for _, s := range b.Series {
			keys = append(keys, key{text: s.Name, pattern: s.Pattern})
		}
	}
	for i := range b.Labels {
		if _, ok := b.sum(i); !ok && b.Unheard != "" {
			return append(keys, key{text: b.Unheard, pattern: Unknown})
		}
	}
	return keys
}
