package features

import (
	"image"
	"math"
)

// Point is a place in a picture, in pixels; whole numbers are the corners of pixels.
type Point struct{ X, Y float64 }

// Corners are those of a box, clockwise from the upper left.
func Corners(r image.Rectangle) [4]Point {
	x0, y0, x1, y1 := float64(r.Min.X), float64(r.Min.Y), float64(r.Max.X), float64(r.Max.Y)
	return [...]Point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
}

// Projection takes the points of one plane to those of another as a camera sees it: a homography, row by row.
type Projection [9]float64

// ProjectionOf is the projection that takes four points to four others, of which no three may lie on a line (Hartley and Zisserman,
// Multiple View Geometry, 2nd edition, 4.1, with the last element 1), solved by elimination.
func ProjectionOf(from, to [4]Point) Projection {
	var a [8][9]float64
	for i := range from {
		f, t := from[i], to[i]
		a[2*i] = [9]float64{f.X, f.Y, 1, 0, 0, 0, -t.X * f.X, -t.X * f.Y, t.X}
		a[2*i+1] = [9]float64{0, 0, 0, f.X, f.Y, 1, -t.Y * f.X, -t.Y * f.Y, t.Y}
	}
	for c := range 8 {
		best := c
		for r := c + 1; r < 8; r++ {
			if math.Abs(a[r][c]) > math.Abs(a[best][c]) {
				best = r
			}
		}
		a[c], a[best] = a[best], a[c]
		for r := range 8 {
			if r == c || a[c][c] == 0 {
				continue
			}
			f := a[r][c] / a[c][c]
			for k := c; k < 9; k++ {
				a[r][k] -= f * a[c][k]
			}
		}
	}
	h := Projection{8: 1}
	for i := range 8 {
		h[i] = a[i][8] / a[i][i]
	}
	return h
}

// Apply takes a point to where the projection shows it.
func (h Projection) Apply(p Point) Point {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return Point{(h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w}
}

// Inverse is the projection back, up to a scale that Apply divides out.
func (h Projection) Inverse() Projection {
	return Projection{
		h[4]*h[8] - h[5]*h[7], h[2]*h[7] - h[1]*h[8], h[1]*h[5] - h[2]*h[4],
		h[5]*h[6] - h[3]*h[8], h[0]*h[8] - h[2]*h[6], h[2]*h[3] - h[0]*h[5],
		h[3]*h[7] - h[4]*h[6], h[1]*h[6] - h[0]*h[7], h[0]*h[4] - h[1]*h[3],
	}
}
