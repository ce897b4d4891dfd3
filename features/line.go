package features

import "math"

// Line is y = At + Slope·x or, where Up is set as it runs up and down rather than across, x = At + Slope·y.
type Line struct {
	At, Slope float64
	Up        bool
}

// Off is how far a point lies off the line, along the axis that the line does not run.
func (l Line) Off(p Point) float64 {
	if l.Up {
		return p.X - l.At - l.Slope*p.Y
	}
	return p.Y - l.At - l.Slope*p.X
}

// FitLine draws the line that most points lie within near of, then fits it to those by least squares; places that aren't known are NaN.
// part is how many of all points they are, 0 where fewer than 24 are known. The points must be in their order along the line, which
// runs across or, with up, up and down.
func FitLine(points []Point, up bool, near float64) (l Line, part float64) {
	var known []Point
	for _, p := range points {
		if !math.IsNaN(p.X) && !math.IsNaN(p.Y) {
			known = append(known, p)
		}
	}
	const tries = 24 // places along the side that lines are drawn between
	if len(known) < tries {
		return Line{}, 0
	}
	along := func(p Point) (t, v float64) {
		if up {
			return p.Y, p.X
		}
		return p.X, p.Y
	}
	best := 0
	for i := range tries {
		for j := i + tries/4; j < tries; j++ {
			t0, v0 := along(known[i*(len(known)-1)/(tries-1)])
			t1, v1 := along(known[j*(len(known)-1)/(tries-1)])
			o := Line{Slope: (v1 - v0) / (t1 - t0), Up: up}
			o.At = v0 - o.Slope*t0
			n := 0
			for _, p := range known {
				if math.Abs(o.Off(p)) <= near {
					n++
				}
			}
			if n > best {
				best, l = n, o
			}
		}
	}
	n := 0.0
	for range 3 {
		var st, sv, stt, stv float64
		n = 0
		for _, p := range known {
			if math.Abs(l.Off(p)) > near {
				continue
			}
			t, v := along(p)
			n, st, sv, stt, stv = n+1, st+t, sv+v, stt+t*t, stv+t*v
		}
		if d := n*stt - st*st; n >= 4 && d > 0 {
			l.Slope = (n*stv - st*sv) / d
			l.At = (sv - l.Slope*st) / n
		}
	}
	return l, n / float64(len(points))
}

// Cross is where a line across and one that runs up and down meet.
func Cross(across, up Line) Point {
	// y = a + b·x and x = c + d·y
	y := (across.At + across.Slope*up.At) / (1 - across.Slope*up.Slope)
	return Point{up.At + up.Slope*y, y}
}
