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
	for i, q := range features.Corners(box) {
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
	tiltLeast   = 1.0  // degrees an edge must lean for a panel to count as photographed askew: drawn ones lean up to 0.97 in the map
	tiltMost    = 25.0 // degrees beyond which it is no panel's edge
	tiltMargin  = 0.02 // part of the panel's sides shown around it once upright, for its edges to be found again
	tiltFills   = 0.93 // least part of the four edges' inside that the map calls panel
	tiltLeans   = 2    // edges that must lean: a single one is a ragged border

	straightPieces = 48  // pieces of a side that its edge is drawn through: twice the places that lines are tried between
	straightLeast  = 8   // least length of a piece, pixels: its texture must show
	straightNear   = 2.0 // pixels off a line within which a change belongs to it: it is found to a pixel, where echo begins less well
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
		e, part := features.FitLine(points, i%2 == 1, tiltNear*[...]float64{ch, cw}[i%2])
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
	corners = cornersOf(edges)
	return corners, fills(m, corners, cw, ch)
}

// cornersOf are where edges meet, top, right, bottom and left: clockwise from the upper left.
func cornersOf(edges [4]features.Line) (corners [4]features.Point) {
	for i := range corners {
		corners[i] = features.Cross(edges[[...]int{0, 0, 2, 2}[i]], edges[[...]int{3, 1, 1, 3}[i]])
	}
	return corners
}

// straight finds, in a picture that shows a panel nearly upright with a margin around its box, the corners between its edges as the
// picture's own changes show them, piece by piece; a side that shows none stays that of the box.
func straight(px *pixels.Picture, box image.Rectangle) [4]features.Point {
	var edges [4]features.Line
	for i, at := range [...]int{box.Min.Y, box.Max.X, box.Max.Y, box.Min.X} {
		lo, hi, size, upright := box.Min.X, box.Max.X, px.H, i%2 == 1
		if upright {
			lo, hi, size = box.Min.Y, box.Max.Y, px.W
		}
		half := max(straightLeast, (hi-lo)/straightPieces) / 2
		points := make([]features.Point, straightPieces)
		for k := range points {
			mid := lo + (hi-lo)*(2*k+1)/(2*straightPieces)
			margin := float64(min(at, size-at))
			where, step := edge{float64(at), margin / refineCells, size, i == 1 || i == 2, func(a, b int) []pixels.Strip {
				return px.Strips(a, b, max(lo, mid-half), min(hi, mid+half), !upright)
			}}.sharpest()
			if points[k] = (features.Point{X: math.NaN()}); step >= clearStep && upright {
				points[k] = features.Point{X: float64(where), Y: float64(mid)}
			} else if step >= clearStep {
				points[k] = features.Point{X: float64(mid), Y: float64(where)}
			}
		}
		edges[i] = features.Line{At: float64(at), Up: upright}
		if e, part := features.FitLine(points, upright, straightNear); part >= tiltBelongs {
			edges[i] = e
		}
	}
	return cornersOf(edges)
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
// is where the panel lies in it. With rim, only what lies near the sides of the box is drawn.
func stand(px *pixels.Picture, corners [4]features.Point, rim bool) (from features.Projection, img image.Image, box image.Rectangle) {
	dist := func(a, b features.Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
	wide := (dist(corners[0], corners[1]) + dist(corners[3], corners[2])) / 2
	high := (dist(corners[0], corners[3]) + dist(corners[1], corners[2])) / 2
	mx, my := math.Ceil(tiltMargin*wide), math.Ceil(tiltMargin*high)
	w, h := int(math.Round(wide+2*mx)), int(math.Round(high+2*my))
	stood := [4]features.Point{{X: mx, Y: my}, {X: mx + wide, Y: my}, {X: mx + wide, Y: my + high}, {X: mx, Y: my + high}}
	from = features.ProjectionOf(stood, corners)
	left, top := int(2*mx)+1, int(2*my)+1
	skip := image.Rectangle{}
	if rim && w > 2*left && h > 2*top {
		skip = image.Rect(left, top, w-left, h-top)
	}
	box = image.Rect(int(mx), int(my), int(math.Round(mx+wide)), int(math.Round(my+high)))
	return from, draw(px, from, image.Rect(0, 0, w, h), skip), box.Intersect(image.Rect(0, 0, w, h))
}

// draw shows what lies in r, where from takes it to the picture, but for what lies in skip.
func draw(px *pixels.Picture, from features.Projection, r, skip image.Rectangle) image.Image {
	out := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	all := pixels.ReadBetween(px)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := out.Pix[out.PixOffset(0, y-r.Min.Y):]
		for x := r.Min.X; x < r.Max.X; x++ {
			if image.Pt(x, y).In(skip) {
				x = skip.Max.X
			}
			q := from.Apply(features.Point{X: float64(x) + 0.5, Y: float64(y) + 0.5})
			all.At(q.X-0.5, q.Y-0.5, row[4*(x-r.Min.X):])
		}
	}
	return out
}
