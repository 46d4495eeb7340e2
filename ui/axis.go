package ui

import (
	"strconv"
	"time"
	"unicode/utf8"
)

// axisSpan is how far the board looks ahead.
const axisSpan = 2 * time.Hour

// axis is the board's one scale: now at the left edge, two hours to the right.
type axis struct {
	tell  teller // of its instant, place and language
	Ticks []tick
}

// tick is a half hour of the local clock.
type tick struct {
	X     pct
	Label string // empty where it would run into its neighbour
	Hour  bool
	Near  bool // label only where the page is wide
	End   bool // so far to the right that its label must end there
}

// pct is a position or width in percent of the axis, as SVG attributes take it.
type pct float64

// String writes it with at most two decimals: "12.5%".
func (p pct) String() string {
	return strconv.FormatFloat(float64(int(float64(p)*100+0.5))/100, 'f', -1, 64) + "%"
}

// Room is left for the word "now" and for labels at the right edge, in percent.
const (
	nowRoom = 13
	endRoom = 94
)

// nearRoom is how far from now a label must stand on a wide page, percent: behind
// the word "now", which has three letters in English and ten in French.
func nearRoom(now string) pct { return 3.2 + 1.3*pct(utf8.RuneCountInString(now)) }

func newAxis(tell teller) axis {
	a, now, zone := axis{tell: tell}, tell.now, tell.zone
	local, near := now.In(zone), nearRoom(tell.lang.Say("mark.now"))
	// Local half hours: a zone may be 30 or 45 minutes off, so step on the local clock.
	t := time.Date(local.Year(), local.Month(), local.Day(), local.Hour(), 0, 0, 0, zone)
	for t = t.Add(30 * time.Minute); !t.After(now.Add(axisSpan)); t = t.Add(30 * time.Minute) {
		if !t.After(now) {
			continue
		}
		mark := tick{X: a.at(t), Hour: t.Minute() == 0, End: a.at(t) > endRoom}
		if mark.X >= near {
			mark.Label, mark.Near = t.Format("15:04"), mark.X < nowRoom
		}
		a.Ticks = append(a.Ticks, mark)
	}
	return a
}

// at is where an instant lies; what is past is at the left edge, what is
// beyond the axis at the right one.
func (a axis) at(t time.Time) pct {
	x := float64(t.Sub(a.tell.now)) / float64(axisSpan) * 100
	return pct(min(max(x, 0), 100))
}

// beyond reports whether an instant lies past the right edge.
func (a axis) beyond(t time.Time) bool { return t.Sub(a.tell.now) > axisSpan }
