package screenworld

import (
	"image"
	"math/rand/v2"
)

// paneKind is what a part of the screen shows.
type paneKind int

const (
	paneBar     paneKind = iota // status figures in a row
	paneFigures                 // a column of figures
	paneGauges
	paneKeys // soft keys
	paneChart
	paneDown // a down-looking strip
	paneTwin // another side-scan record
	paneCorner
	paneLevels // the palette as a bar with figures
)

// cut takes a share of what is left of the screen, from one edge of it: 't', 'b', 'l' or 'r'.
type cut struct {
	edge   byte
	lo, hi float64 // the share
	kind   paneKind
}

// layout is a screen as cuts; what they leave is the main record's.
type layout struct {
	name  string
	cuts  []cut
	inset bool
}

var layouts = []layout{
	{name: "alone"},
	{name: "alone-inset", inset: true},
	{name: "bar-above", cuts: []cut{{'t', 0.04, 0.1, paneBar}}},
	{name: "bar-below", cuts: []cut{{'b', 0.04, 0.1, paneBar}}},
	{name: "bars", cuts: []cut{{'t', 0.04, 0.09, paneBar}, {'b', 0.05, 0.1, paneBar}}},
	{name: "figures-left", cuts: []cut{{'l', 0.1, 0.22, paneFigures}}},
	{name: "figures-right", cuts: []cut{{'t', 0.04, 0.08, paneBar}, {'r', 0.1, 0.22, paneFigures}}},
	{name: "columns", cuts: []cut{{'l', 0.08, 0.16, paneFigures}, {'r', 0.08, 0.16, paneGauges}}},
	{name: "gauges-below", cuts: []cut{{'b', 0.15, 0.28, paneGauges}}},
	{name: "keys-below", cuts: []cut{{'b', 0.06, 0.12, paneKeys}, {'t', 0.04, 0.08, paneBar}}},
	{name: "keys-right", cuts: []cut{{'r', 0.07, 0.15, paneKeys}}},
	{name: "levels-right", cuts: []cut{{'r', 0.05, 0.09, paneLevels}, {'b', 0.05, 0.09, paneBar}}},
	{name: "chart-left", cuts: []cut{{'l', 0.25, 0.5, paneChart}}},
	{name: "chart-right", cuts: []cut{{'t', 0.04, 0.08, paneBar}, {'r', 0.25, 0.5, paneChart}}},
	{name: "chart-above", cuts: []cut{{'t', 0.25, 0.5, paneChart}}},
	{name: "chart-below", cuts: []cut{{'b', 0.25, 0.5, paneChart}}},
	{name: "down-left", cuts: []cut{{'l', 0.15, 0.42, paneDown}}},
	{name: "down-right", cuts: []cut{{'r', 0.15, 0.48, paneDown}, {'t', 0.04, 0.08, paneBar}}},
	{name: "down-above", cuts: []cut{{'t', 0.18, 0.48, paneDown}}},
	{name: "down-below", cuts: []cut{{'b', 0.18, 0.48, paneDown}}},
	{name: "quarters", cuts: []cut{{'b', 0.38, 0.48, paneCorner}, {'r', 0.38, 0.48, paneDown}}},
	{name: "chart-and-down", cuts: []cut{{'r', 0.25, 0.42, paneChart}, {'b', 0.2, 0.42, paneDown}}},
	{name: "down-and-figures", cuts: []cut{{'l', 0.08, 0.16, paneFigures}, {'b', 0.25, 0.45, paneDown}}},
	{name: "twins-stacked", cuts: []cut{{'b', 0.3, 0.5, paneTwin}}},
	{name: "twins-stacked-above", cuts: []cut{{'t', 0.3, 0.5, paneTwin}}},
	{name: "twins-beside", cuts: []cut{{'r', 0.3, 0.5, paneTwin}}},
	{name: "twins-beside-left", cuts: []cut{{'l', 0.3, 0.5, paneTwin}}},
	{name: "twins-and-bar", cuts: []cut{{'t', 0.04, 0.08, paneBar}, {'b', 0.3, 0.5, paneTwin}}},
	{name: "twins-and-chart", cuts: []cut{{'r', 0.25, 0.4, paneChart}, {'b', 0.35, 0.5, paneTwin}}},
	{name: "busy", cuts: []cut{{'t', 0.04, 0.08, paneBar}, {'b', 0.06, 0.1, paneKeys}, {'r', 0.12, 0.2, paneFigures},
		{'l', 0.2, 0.35, paneChart}}},
}

// leastRecord is the smallest width and height that a main record is left, in pixels.
const leastRecord = 150

// pane is a part of the screen.
type pane struct {
	kind paneKind
	rect image.Rectangle
}

// arranged cuts a screen up; rim pixels stay free between panes. Cuts that would leave too little are left out.
func arranged(r *rand.Rand, l layout, screen image.Rectangle, rim int) (main image.Rectangle, panes []pane) {
	rest := screen
	if rim > 3 && chance(r, 0.5) {
		rest = rest.Inset(rim / 2)
	}
	for _, c := range l.cuts {
		share := between(r, c.lo, c.hi)
		wide, high := int(float64(rest.Dx())*share), int(float64(rest.Dy())*share)
		taken, left := rest, rest
		switch c.edge {
		case 't':
			taken.Max.Y, left.Min.Y = rest.Min.Y+high, rest.Min.Y+high+rim
		case 'b':
			taken.Min.Y, left.Max.Y = rest.Max.Y-high, rest.Max.Y-high-rim
		case 'l':
			taken.Max.X, left.Min.X = rest.Min.X+wide, rest.Min.X+wide+rim
		default:
			taken.Min.X, left.Max.X = rest.Max.X-wide, rest.Max.X-wide-rim
		}
		if left.Dx() < leastRecord || left.Dy() < leastRecord || c.kind == paneTwin && min(taken.Dx(), taken.Dy()) < leastRecord*2/3 {
			continue
		}
		rest = left
		if c.kind == paneCorner {
			half := taken.Min.X + int(float64(taken.Dx())*between(r, 0.4, 0.6))
			a, b := taken, taken
			a.Max.X, b.Min.X = half, half+rim
			panes = append(panes, pane{paneChart, a}, pane{pick(r, []paneKind{paneFigures, paneGauges}), b})
			continue
		}
		panes = append(panes, pane{c.kind, taken})
	}
	return rest, panes
}
