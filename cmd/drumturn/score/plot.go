package score

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// What makes a matched cycle worth a look.
const (
	lateDeclared = 5 * time.Minute
	wrongEnd     = 5 * time.Minute
)

// wrong is one thing that went wrong: what, and the span to draw.
type wrong struct {
	name, what string
	from, to   time.Time
	label      *Label
	cycle      *Cycle
}

// wrongs lists what went wrong with a machine's cycles.
func (m *measured) wrongs() []wrong {
	var out []wrong
	of := match(m.cycles, m.labels)
	taken := map[int]bool{}
	for i := range m.labels {
		l := &m.labels[i]
		if l.Quality == Doubtful {
			continue
		}
		w := wrong{name: l.ID, from: l.Start, to: l.End, label: l}
		if of[i] < 0 {
			w.what = "not found"
			out = append(out, w)
			continue
		}
		c := &m.cycles[of[i]]
		taken[of[i]] = true
		w.cycle = c
		switch late := c.Declared.Sub(l.End); {
		case falseFinish(*c, m.labels):
			w.what = "declared while it ran"
		case l.Quality == Clean && !c.AtEndOfFile && late > lateDeclared:
			w.what = fmt.Sprintf("declared %s after its end", late.Round(time.Second))
		case l.Quality == Clean && c.End.Sub(l.End).Abs() > wrongEnd:
			w.what = fmt.Sprintf("end off by %s", c.End.Sub(l.End).Round(time.Second))
		default:
			continue
		}
		out = append(out, w)
	}
	for i := range m.cycles {
		if c := &m.cycles[i]; !taken[i] && counts(*c, m.labels) {
			out = append(out, wrong{
				name: m.machine + c.Start.UTC().Format("-20060102T150405"), what: "no cycle of the labels",
				from: c.Start, to: c.End, cycle: c,
			})
		}
	}
	return out
}

// plot writes an SVG of each cycle that went wrong into dir.
func (m *measured) plot(dir string) error {
	ws := m.wrongs()
	if len(ws) == 0 {
		return nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("plot: %w", err)
	}
	for _, w := range ws {
		path := filepath.Join(dir, m.set+"-"+w.name+".svg")
		if err := os.WriteFile(path, []byte(m.draw(w)), 0o644); err != nil {
			return fmt.Errorf("plot: %w", err)
		}
	}
	return nil
}

// canvas is the area of a plot: time to the right, watts upwards on a
// logarithmic scale from 1 W to 4 kW, estimates on a linear one.
type canvas struct {
	strings.Builder
	from time.Time
	span time.Duration
	most float64 // min, of the estimates
}

const (
	plotWide, plotHigh = 1000, 300
	plotEdge           = 30
	plotTopW           = 4000
)

func (c *canvas) x(t time.Time) float64 {
	return plotEdge + float64(t.Sub(c.from))/float64(c.span)*plotWide
}

func (c *canvas) watts(w float64) float64 {
	return plotEdge + plotHigh*(1-math.Log(min(plotTopW, max(1, w)))/math.Log(plotTopW))
}

func (c *canvas) minutes(v float64) float64 { return plotEdge + plotHigh*(1-v/c.most) }

func (c *canvas) band(a, b time.Time, y float64, class string) {
	fmt.Fprintf(c, "<rect class=%q x=\"%.1f\" y=\"%.1f\" width=\"%.1f\" height=\"8\"/>\n", class, c.x(a), y, max(1, c.x(b)-c.x(a)))
}

func (c *canvas) line(t time.Time, class string) {
	fmt.Fprintf(c, "<path class=%q d=\"M%.1f %d v%d\"/>\n", class, c.x(t), plotEdge, plotHigh)
}

const plotStyle = `<style>text{font:12px sans-serif}.power{fill:none;stroke:#333}.label{fill:#2a7}.found{fill:#46c}
.said{stroke:#c33;stroke-dasharray:4 3}.ahead{fill:none;stroke:#a60;stroke-width:2}.range{fill:#a60;opacity:.2}</style>`

// draw is the SVG of one thing that went wrong: power in grey, the label as a
// green and the found cycles as blue bars, when they were declared in dashed red,
// and in brown what was said of the remaining time, min.
func (m *measured) draw(w wrong) string {
	c := &canvas{from: w.from.Add(-15 * time.Minute), span: w.to.Sub(w.from) + 45*time.Minute, most: 1}
	to := c.from.Add(c.span)
	fmt.Fprintf(c, "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"%d\" height=\"%d\">%s\n", plotWide+2*plotEdge, plotHigh+3*plotEdge, plotStyle)
	fmt.Fprintf(c, "<text x=\"%d\" y=\"20\">%s: %s, from %s</text>\n", plotEdge, w.name, w.what, c.from.UTC().Format(time.RFC3339))
	for _, g := range []float64{1, 10, 100, 1000} {
		fmt.Fprintf(c, "<text x=\"2\" y=\"%.0f\">%.0f</text>\n", c.watts(g)+4, g)
	}
	c.WriteString("<path class=\"power\" d=\"")
	verb := "M"
	for _, r := range m.readings {
		if r.At.Before(c.from) || r.At.After(to) {
			continue
		}
		fmt.Fprintf(c, "%s%.1f %.1f", verb, c.x(r.At), c.watts(r.Watts))
		verb = "L"
	}
	c.WriteString("\"/>\n")
	for _, l := range m.labels {
		if l.End.After(c.from) && l.Start.Before(to) {
			c.band(l.Start, l.End, plotHigh+plotEdge+4, "label")
		}
	}
	for _, f := range m.cycles {
		if f.End.After(c.from) && f.Start.Before(to) {
			c.band(f.Start, f.End, plotHigh+plotEdge+16, "found")
			if !f.AtEndOfFile {
				c.line(f.Declared, "said")
			}
		}
	}
	m.drawAnswers(c, to)
	c.WriteString("</svg>\n")
	return c.String()
}

func (m *measured) drawAnswers(c *canvas, to time.Time) {
	var own []Answer
	for _, a := range m.answers {
		if !a.At.Before(c.from) && !a.At.After(to) {
			own = append(own, a)
			c.most = max(c.most, a.High)
		}
	}
	if len(own) == 0 {
		return
	}
	fmt.Fprintf(c, "<text x=\"%d\" y=\"%d\">%.0f min</text>\n", plotWide, plotEdge-4, c.most)
	c.WriteString("<path class=\"ahead\" d=\"")
	for i, a := range own {
		verb := "L"
		if i == 0 {
			verb = "M"
		}
		fmt.Fprintf(c, "%s%.1f %.1f", verb, c.x(a.At), c.minutes(a.Median))
	}
	c.WriteString("\"/>\n<path class=\"range\" d=\"M")
	for _, a := range own {
		fmt.Fprintf(c, "%.1f %.1f L", c.x(a.At), c.minutes(a.High))
	}
	for i := len(own) - 1; i >= 0; i-- {
		sep := " L"
		if i == 0 {
			sep = "Z"
		}
		fmt.Fprintf(c, "%.1f %.1f%s", c.x(own[i].At), c.minutes(own[i].Low), sep)
	}
	c.WriteString("\"/>\n")
}
