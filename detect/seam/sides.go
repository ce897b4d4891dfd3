package seam

import (
	"image"
	"math"
)

// SideBySide cuts a box where starboard lies left of port over its height: two panels stand side by side. port is the evidence of a cell in
// the box for port, -1 to 1, below 0 for starboard.
func SideBySide(b image.Rectangle, port func(x, y int) float64) []image.Rectangle {
	const least = 0.1 // part of the width that a side must cover to count
	// and its least mean evidence: of panels side by side 0.39 and more, of one bottom that looks like either side 0.02 to 0.11
	const sure = 0.25
	side := make([]float64, b.Dx()) // above 0 port
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := range side {
			side[x] += port(b.Min.X+x, y) / float64(b.Dy())
		}
	}
	type run struct {
		port bool
		x    int // where it begins
	}
	var runs []run
	for x := 0; x < len(side); {
		end, sum := x, 0.0
		for ; end < len(side) && (side[end] > 0) == (side[x] > 0); end++ {
			sum += side[end]
		}
		if float64(end-x) >= least*float64(len(side)) && (len(runs) == 0 || runs[len(runs)-1].port != (side[x] > 0)) {
			if math.Abs(sum) < sure*float64(end-x) {
				return []image.Rectangle{b}
			}
			runs = append(runs, run{side[x] > 0, x})
		}
		x = end
	}
	// port, starboard, port, starboard: each panel must have both, else one side wavers
	if len(runs) < 4 || len(runs)%2 != 0 || !runs[0].port {
		return []image.Rectangle{b}
	}
	var out []image.Rectangle
	from := b.Min.X
	for i := 2; i < len(runs); i += 2 {
		at := b.Min.X + runs[i].x
		out = append(out, image.Rect(from, b.Min.Y, at, b.Max.Y))
		from = at
	}
	return append(out, image.Rect(from, b.Min.Y, b.Max.X, b.Max.Y))
}
