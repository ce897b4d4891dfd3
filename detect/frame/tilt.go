package frame

import (
	"image"
	"math"

	"shadowgap/detect/pixels"
	"shadowgap/features"
	"shadowgap/models/reader"
)

// Upright is a panel that was photographed askew, made a rectangle again.
type Upright struct {
	Corners  [4]features.Point   // of the panel in the capture, clockwise from the upper left
	from, to features.Projection // from pixels of the rectangle to pixels of the capture, and back
}

// newUpright is the panel in a box of the rectangle that a projection takes to the capture.
func newUpright(from features.Projection, box image.Rectangle) *Upright {
	u := &Upright{from: from, to: from.Inverse()}
	x0, y0, x1, y1 := float64(box.Min.X), float64(box.Min.Y), float64(box.Max.X), float64(box.Max.Y)
	for i, q := range [...]features.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}} {
		u.Corners[i] = u.ToCapture(q)
	}
	return u
}

// ToCapture maps a place in the rectangle to the capture.
func (u *Upright) ToCapture(p features.Point) features.Point { return u.from.Apply(p) }

// FromCapture maps a place in the capture to the rectangle.
func (u *Upright) FromCapture(p features.Point) features.Point { return u.to.Apply(p) }

const (
	// least part of a side's cells that must lie along its edge: leaning by 15°, a low wide panel shows a third of its width on the sides
	tiltBelongs = 0.55
	tiltEdge    = 0.8  // middle part of a side of a panel whose cells its edge is drawn through: corners belong to the other edges
	tiltNear    = 1.2  // cells off an edge within which a cell's border belongs to it
	tiltLeast   = 0.8  // degrees an edge must lean for a panel to count as photographed askew: drawn ones lean up to 0.3 in the map
	tiltMost    = 25.0 // degrees beyond which it is no panel's edge
	tiltMargin  = 0.02 // part of the panel's sides shown around it once upright, for its edges to be found again
	tiltFills   = 0.93 // least part of the four edges' inside that the map calls panel
	tiltLeans   = 2    // edges that must lean: a single one is a ragged border
)

// tilt finds the corners, in pixels, of an area that is a panel photographed askew. ok is false for panels that stand upright and for
// areas that four straight edges don't bound.
func tilt(m *reader.Map, px *pixels.Picture, c area) (corners [4]features.Point, ok bool) {
	cw, ch := float64(px.W)/reader.Cols, float64(px.H)/reader.Rows
	// how far from the edge of the area's box the panel begins on a line of n cells, in cells
	begin := func(n int, cell func(i int) int) float64 {
		for i := range n {
			if at := cell(i); c.label[at] == c.id {
				if i == 0 {
					return 0
				}
				v, before := float64(m.Panel(at)), float64(m.Panel(cell(i-1)))
				return float64(i) + 0.5 - min(1, (v-sureCell)/max(v-before, 1e-6))
			}
		}
		return math.NaN()
	}
	var top, right, bottom, left []features.Point
	x0, x1 := middlePart(c.whole.Min.X, c.whole.Max.X)
	for x := x0; x < x1; x++ {
		at := (float64(x) + 0.5) * cw
		down := begin(c.whole.Dy(), func(i int) int { return (c.whole.Min.Y+i)*reader.Cols + x })
		up := begin(c.whole.Dy(), func(i int) int { return (c.whole.Max.Y-1-i)*reader.Cols + x })
		top = append(top, features.Point{X: at, Y: (float64(c.whole.Min.Y) + down) * ch})
		bottom = append(bottom, features.Point{X: at, Y: (float64(c.whole.Max.Y) - up) * ch})
	}
	y0, y1 := middlePart(c.whole.Min.Y, c.whole.Max.Y)
	for y := y0; y < y1; y++ {
		at := (float64(y) + 0.5) * ch
		in := begin(c.whole.Dx(), func(i int) int { return y*reader.Cols + c.whole.Min.X + i })
		back := begin(c.whole.Dx(), func(i int) int { return y*reader.Cols + c.whole.Max.X - 1 - i })
		left = append(left, features.Point{X: (float64(c.whole.Min.X) + in) * cw, Y: at})
		right = append(right, features.Point{X: (float64(c.whole.Max.X) - back) * cw, Y: at})
	}
	leaning := 0
	var edges [4]features.Line
	for i, points := range [...][]features.Point{top, right, bottom, left} {
		upright := i%2 == 1
		near := tiltNear * ch
		if upright {
			near = tiltNear * cw
		}
		e, part := features.FitLine(points, upright, near)
		lean := math.Abs(math.Atan(e.Slope)) * 180 / math.Pi
		if part < tiltBelongs || lean > tiltMost {
			return corners, false
		}
		if lean > tiltLeast {
			leaning++
		}
		edges[i] = e
	}
	if leaning < tiltLeans {
		return corners, false
	}
	for i := range corners {
		// upper left, upper right, lower right, lower left
		across, up := edges[[...]int{0, 0, 2, 2}[i]], edges[[...]int{3, 1, 1, 3}[i]]
		corners[i] = features.Cross(across, up)
	}
	return corners, fills(m, corners, cw, ch)
}

// middlePart leaves out the ends of a side, whose cells mostly belong to the edges beside it.
func middlePart(a, b int) (int, int) {
	cut := int(float64(b-a) * (1 - tiltEdge) / 2)
	return a + cut, b - cut
}

// fills tells whether the map calls nearly all of a quadrilateral, in pixels, panel.
func fills(m *reader.Map, c [4]features.Point, cw, ch float64) bool {
	in, all := 0, 0
	for y := range reader.Rows {
		for x := range reader.Cols {
			q := features.Point{X: (float64(x) + 0.5) * cw, Y: (float64(y) + 0.5) * ch}
			inside := true
			for i := range c {
				a, b := c[i], c[(i+1)%4]
				inside = inside && (b.X-a.X)*(q.Y-a.Y)-(b.Y-a.Y)*(q.X-a.X) > 0
			}
			if inside {
				all++
				if m.Panel(y*reader.Cols+x) > sureCell {
					in++
				}
			}
		}
	}
	return all > 0 && float64(in) >= tiltFills*float64(all)
}

// stand makes the panel between four corners a rectangle of its own, with some of what is around it; from takes that to the picture, box
// is where the panel lies in it.
func stand(px *pixels.Picture, corners [4]features.Point) (from features.Projection, img image.Image, box image.Rectangle) {
	dist := func(a, b features.Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
	wide := (dist(corners[0], corners[1]) + dist(corners[3], corners[2])) / 2
	high := (dist(corners[0], corners[3]) + dist(corners[1], corners[2])) / 2
	mx, my := math.Ceil(tiltMargin*wide), math.Ceil(tiltMargin*high)
	w, h := int(math.Round(wide+2*mx)), int(math.Round(high+2*my))
	stood := [4]features.Point{{X: mx, Y: my}, {X: mx + wide, Y: my}, {X: mx + wide, Y: my + high}, {X: mx, Y: my + high}}
	from = features.ProjectionOf(stood, corners)
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	all := pixels.ReadBetween(px)
	for y := range h {
		row := out.Pix[out.PixOffset(0, y):][:4*w]
		for x := range w {
			q := from.Apply(features.Point{X: float64(x) + 0.5, Y: float64(y) + 0.5})
			all.At(q.X-0.5, q.Y-0.5, row[4*x:])
		}
	}
	box = image.Rect(int(mx), int(my), int(math.Round(mx+wide)), int(math.Round(my+high))).Intersect(out.Bounds())
	return from, out, box
}
