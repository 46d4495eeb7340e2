// Package chart draws charts as SVG on the server: power and energy over time
// with phases and holes, bars, a week of hours, and control charts. It is pure:
// the same values give the same drawing, and nothing in it knows a clock.
//
// A drawing follows the page it stands in: every colour is a class of the
// page's own style sheet (static/chart.css), there is no style in the drawing,
// so that a strict content policy lets it pass. Each chart is drawn at two
// sizes, of which the page shows the one that fits. Values never tell by colour
// alone: what differs has another pattern or line, and a word.
package chart
