package frame

import (
	"image"
	"math"

	"shadowgap/models/reader"
)

// Point is a place in a picture, in pixels; whole numbers are the corners of pixels.
type Point struct{ X, Y float64 }

// Upright is a panel that was photographed askew, made a rectangle again.
type Upright struct {
	Corners [4]Point   // of the panel in the capture, clockwise from the upper left
	from    [9]float64 // homography from pixels of the rectangle to pixels of the capture, row by row
}

// ToCapture maps a place in the rectangle to the capture.
func (u *Upright) ToCapture(p Point) Point { return project(u.from, p) }

// FromCapture maps a place in the capture to the rectangle.
func (u *Upright) FromCapture(p Point) Point { return project(inverse(u.from), p) }

const (
	tiltEdge    = 0.8  // middle part of a side of a panel whose cells its edge is drawn through: corners belong to the other edges
	tiltNear    = 1.2  // cells off an edge within which a cell's border belongs to it
	tiltBelongs = 0.55 // least part of a side's cells that must lie along its edge: leaning by 15°, a low wide panel shows a third of its width on the sides
	tiltLeast   = 0.8  // degrees an edge must lean for a panel to count as photographed askew: drawn ones lean up to 0.3 in the map
	tiltMost    = 25.0 // degrees beyond which it is no panel's edge
	tiltMargin  = 0.02 // part of the panel's sides shown around it once upright, for its edges to be found again
	tiltFills   = 0.93 // least part of the four edges' inside that the map calls panel
	tiltLeans   = 2    // edges that must lean: a single one is a ragged border
)

// tilt finds the corners, in pixels, of an area that is a panel photographed askew. ok is false for panels that stand upright and for
// areas that four straight edges don't bound.
func tilt(m *reader.Map, px *pixels, c area) (corners [4]Point, ok bool) {
	cw, ch := float64(px.w)/reader.Cols, float64(px.h)/reader.Rows
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
	var top, right, bottom, left []Point
	x0, x1 := middlePart(c.whole.Min.X, c.whole.Max.X)
	for x := x0; x < x1; x++ {
		at := (float64(x) + 0.5) * cw
		down := begin(c.whole.Dy(), func(i int) int { return (c.whole.Min.Y+i)*reader.Cols + x })
		up := begin(c.whole.Dy(), func(i int) int { return (c.whole.Max.Y-1-i)*reader.Cols + x })
		top = append(top, Point{at, (float64(c.whole.Min.Y) + down) * ch})
		bottom = append(bottom, Point{at, (float64(c.whole.Max.Y) - up) * ch})
	}
	y0, y1 := middlePart(c.whole.Min.Y, c.whole.Max.Y)
	for y := y0; y < y1; y++ {
		at := (float64(y) + 0.5) * ch
		in := begin(c.whole.Dx(), func(i int) int { return y*reader.Cols + c.whole.Min.X + i })
		back := begin(c.whole.Dx(), func(i int) int { return y*reader.Cols + c.whole.Max.X - 1 - i })
		left = append(left, Point{(float64(c.whole.Min.X) + in) * cw, at})
		right = append(right, Point{(float64(c.whole.Max.X) - back) * cw, at})
	}
	leaning := 0
	var edges [4]line
	for i, points := range [...][]Point{top, right, bottom, left} {
		upright := i%2 == 1
		near := tiltNear * ch
		if upright {
			near = tiltNear * cw
		}
		e, part := fitLine(points, upright, near)
		lean := math.Abs(math.Atan(e.slope)) * 180 / math.Pi
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
		corners[i] = cross(across, up)
	}
	return corners, fills(m, corners, cw, ch)
}

// middlePart leaves out the ends of a side, whose cells mostly belong to the edges beside it.
func middlePart(a, b int) (int, int) {
	cut := int(float64(b-a) * (1 - tiltEdge) / 2)
	return a + cut, b - cut
}

// fills tells whether the map calls nearly all of a quadrilateral, in pixels, panel.
func fills(m *reader.Map, c [4]Point, cw, ch float64) bool {
	in, all := 0, 0
	for y := range reader.Rows {
		for x := range reader.Cols {
			q := Point{(float64(x) + 0.5) * cw, (float64(y) + 0.5) * ch}
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

// line is y = at + slope·x, or, where it runs up and down, x = at + slope·y.
type line struct {
	at, slope float64
	up        bool
}

// off is how far a point lies off the line, along the axis that the line does not run.
func (l line) off(p Point) float64 {
	if l.up {
		return p.X - l.at - l.slope*p.Y
	}
	return p.Y - l.at - l.slope*p.X
}

// fitLine draws the line that most points lie within near of, then fits it to those by least squares. part is how many of all they are.
func fitLine(points []Point, up bool, near float64) (l line, part float64) {
	var known []Point
	for _, p := range points {
		if !math.IsNaN(p.X) && !math.IsNaN(p.Y) {
			known = append(known, p)
		}
	}
	const tries = 24 // places along the side that lines are drawn between
	if len(known) < tries {
		return line{}, 0
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
			o := line{slope: (v1 - v0) / (t1 - t0), up: up}
			o.at = v0 - o.slope*t0
			n := 0
			for _, p := range known {
				if math.Abs(o.off(p)) <= near {
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
			if math.Abs(l.off(p)) > near {
				continue
			}
			t, v := along(p)
			n, st, sv, stt, stv = n+1, st+t, sv+v, stt+t*t, stv+t*v
		}
		if d := n*stt - st*st; n >= 4 && d > 0 {
			l.slope = (n*stv - st*sv) / d
			l.at = (sv - l.slope*st) / n
		}
	}
	return l, n / float64(len(points))
}

// cross is where a line across and one that runs up and down meet.
func cross(across, up line) Point {
	// y = a + b·x and x = c + d·y
	y := (across.at + across.slope*up.at) / (1 - across.slope*up.slope)
	return Point{up.at + up.slope*y, y}
}

// stand makes the panel between four corners a rectangle of its own, with some of what is around it; box is where it lies in there.
func (p *pixels) stand(corners [4]Point) (u *Upright, img image.Image, box image.Rectangle) {
	dist := func(a, b Point) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
	wide := (dist(corners[0], corners[1]) + dist(corners[3], corners[2])) / 2
	high := (dist(corners[0], corners[3]) + dist(corners[1], corners[2])) / 2
	mx, my := math.Ceil(tiltMargin*wide), math.Ceil(tiltMargin*high)
	w, h := int(math.Round(wide+2*mx)), int(math.Round(high+2*my))
	u = &Upright{Corners: corners, from: homography([4]Point{{mx, my}, {mx + wide, my}, {mx + wide, my + high}, {mx, my + high}}, corners)}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	from := readColours(p)
	for y := range h {
		for x := range w {
			q := u.ToCapture(Point{float64(x) + 0.5, float64(y) + 0.5})
			from.at(q.X-0.5, q.Y-0.5, out.Pix[out.PixOffset(x, y):])
		}
	}
	box = image.Rect(int(mx), int(my), int(math.Round(mx+wide)), int(math.Round(my+high))).Intersect(out.Bounds())
	return u, out, box
}

// colours are all pixels of a picture, for reading between them.
type colours struct {
	w, h int
	v    []uint32
}

func readColours(p *pixels) *colours {
	c := &colours{w: p.w, h: p.h, v: make([]uint32, p.w*p.h)}
	for y := range p.h {
		p.read(c.v[y*p.w:(y+1)*p.w], 0, y)
	}
	return c
}

// at writes the colour at a place between pixels; what lies outside the picture is its border's.
func (c *colours) at(x, y float64, rgba []uint8) {
	x, y = min(max(x, 0), float64(c.w-1)), min(max(y, 0), float64(c.h-1))
	xi, yi := min(int(x), c.w-2), min(int(y), c.h-2)
	fx, fy := x-float64(xi), y-float64(yi)
	i := yi*c.w + xi
	q := [4]uint32{c.v[i], c.v[i+1], c.v[i+c.w], c.v[i+c.w+1]}
	part := [4]float64{(1 - fx) * (1 - fy), fx * (1 - fy), (1 - fx) * fy, fx * fy}
	for k, shift := range [3]int{16, 8, 0} {
		sum := 0.5
		for j, v := range q {
			sum += part[j] * float64(v>>shift&255)
		}
		rgba[k] = uint8(sum)
	}
	rgba[3] = 255
}

// homography is the projection that takes four points to four others (Hartley and Zisserman, Multiple View Geometry, 2nd edition, 4.1,
// with the last element 1), solved by elimination.
func homography(from, to [4]Point) [9]float64 {
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
	h := [9]float64{8: 1}
	for i := range 8 {
		h[i] = a[i][8] / a[i][i]
	}
	return h
}

func project(h [9]float64, p Point) Point {
	w := h[6]*p.X + h[7]*p.Y + h[8]
	return Point{(h[0]*p.X + h[1]*p.Y + h[2]) / w, (h[3]*p.X + h[4]*p.Y + h[5]) / w}
}

// inverse is the projection back, up to a scale that project divides out.
func inverse(h [9]float64) [9]float64 {
	return [9]float64{
		h[4]*h[8] - h[5]*h[7], h[2]*h[7] - h[1]*h[8], h[1]*h[5] - h[2]*h[4],
		h[5]*h[6] - h[3]*h[8], h[0]*h[8] - h[2]*h[6], h[2]*h[3] - h[0]*h[5],
		h[3]*h[7] - h[4]*h[6], h[1]*h[6] - h[0]*h[7], h[0]*h[4] - h[1]*h[3],
	}
}
