package setin

import (
	"image"
	"math"
)

// layer is what a thing does to the picture inside a window: echo is what it returns, as amplitude over that of flat bottom there,
// dark how much of a pixel's bottom is hidden, by the thing's shadow or under it, and shade the shadow's part of that alone.
type layer struct {
	at                image.Rectangle
	echo, dark, shade []float32
	// highlight's far edge and shadow's near edge in slant range, pixels, for what hangs free; NaN without.
	farEdge, shadowEdge float64
}

// ping is the geometry of one row: x = nadir + out*slant range.
type ping struct{ nadir, h, out float64 }

// spot is where a thing goes: its row, slant range and side.
type spot struct {
	side, y int
	s       float64
}

const groundStep = 0.4 // pixels between the nodes of a height field

// cast casts the rays of every row over a thing. ok is false where rows of it have no geometry or lie outside.
func (v *view) cast(t *thing, p spot) (l *layer, ok bool) {
	h0 := v.altitude(p.side, p.y)
	out := outward(p.side)
	y0, y1 := t.rows(v.aspect)
	// Where the water is less deep, shadows reach farther.
	low := h0
	for y := max(0, p.y+int(y0)); y < min(v.h, p.y+int(y1)+2); y++ {
		low = min(low, v.altitude(p.side, y)) // NaN where unknown; such rows are turned down below
	}
	near, far := math.Inf(1), 0.0 // slant range
	flat := func(s float64) float64 { return math.Sqrt(max(0.01*h0*h0, s*s-h0*h0)) }
	if t.solid != nil {
		g := flat(p.s)
		top := t.top()
		near = math.Hypot(max(0, g+t.solid.g0), h0-top)
		far = math.Hypot(g+t.solid.g1, h0) * low / max(0.05*h0, low-top)
	}
	for i := range t.floats {
		f := &t.floats[i]
		r := max(f.half, f.wide)
		near = min(near, p.s+f.dg-r-f.up)
		far = max(far, p.s+f.dg+r+f.up)
		if t.depth > 0 {
			far = max(far, min(2000, (p.s+f.dg+r)*low/max(0.05*h0, low-f.z-f.up)))
		}
	}
	const margin = 6
	a, b := v.nadir[p.y]+out*(near-margin), v.nadir[p.y]+out*(far+margin)
	all := image.Rect(int(min(a, b)), p.y+int(math.Floor(y0))-margin, int(max(a, b))+1, p.y+int(math.Ceil(y1))+margin+1)
	l = &layer{at: all.Intersect(image.Rect(0, 0, v.w, v.h)), farEdge: math.NaN(), shadowEdge: math.NaN()}
	if l.at.Dx() < 3 || l.at.Dy() < 3 {
		return nil, false
	}
	n := l.at.Dx() * l.at.Dy()
	l.echo, l.dark, l.shade = make([]float32, n), make([]float32, n), make([]float32, n)
	for y := l.at.Min.Y; y < l.at.Max.Y; y++ {
		q := ping{v.nadir[y], v.altitude(p.side, y), out}
		if math.IsNaN(q.h) || math.Abs(q.h-h0) > 0.1*h0+3 || math.Abs(q.nadir-v.nadir[p.y]) > 6 {
			return nil, false // a joint in the record, or no record
		}
		dy := float64(y - p.y)
		if t.solid != nil && dy >= t.solid.y0 && dy <= t.solid.y1 {
			l.march(t.solid, q, y, flat(p.s), dy)
		}
		for i := range t.floats {
			l.hang(&t.floats[i], q, y, p.s, dy, v.aspect)
			if t.depth > 0 {
				l.shadowOf(&t.floats[i], q, y, p.s, dy, v.aspect)
			}
		}
	}
	for i, e := range l.echo {
		l.echo[i] = float32(math.Sqrt(float64(e)))
		l.dark[i] = min(1, l.dark[i])
		l.shade[i] = min(1, l.shade[i])
	}
	return l, true
}

// rows is how far a thing reaches along the track from its middle.
func (t *thing) rows(aspect float64) (from, to float64) {
	if t.solid != nil {
		return t.solid.y0, t.solid.y1
	}
	from, to = math.Inf(1), math.Inf(-1)
	for i := range t.floats {
		f := &t.floats[i]
		r := max(f.half, f.wide) * aspect
		from, to = min(from, f.dy-r), max(to, f.dy+r)
	}
	return from, to
}

// top is a solid's greatest height.
func (t *thing) top() float64 {
	top := 0.0
	s := t.solid
	for y := s.y0; y <= s.y1; y++ {
		for g := s.g0; g <= s.g1; g++ {
			top = max(top, s.height(g, y))
		}
	}
	return top
}

// spread adds v for every pixel between two slant ranges, in part where a pixel is covered in part.
func (l *layer) spread(plane []float32, q ping, y int, from, to, v float64) {
	a, b := q.nadir+q.out*from+0.5, q.nadir+q.out*to+0.5
	if a > b {
		a, b = b, a
	}
	a, b = max(a, float64(l.at.Min.X)), min(b, float64(l.at.Max.X))
	if b <= a {
		return
	}
	row := plane[(y-l.at.Min.Y)*l.at.Dx():]
	for x := int(a); x < l.at.Max.X && float64(x) < b; x++ {
		row[x-l.at.Min.X] += float32(v * (min(b, float64(x+1)) - max(a, float64(x))))
	}
}

// flatEcho is the energy that flat bottom returns from one pixel of slant range.
func flatEcho(s, h float64) float64 {
	s = max(s, 1.03*h)
	sin := h / s
	return sin * sin * s / math.Sqrt(s*s-h*h)
}

// march goes outward over a solid. A node is in view while its ray is the shallowest so far; behind the solid the shadow reaches to
// where that ray meets the bottom.
func (l *layer) march(o *solid, q ping, y int, g0, dy float64) {
	shallowest := math.Inf(-1)
	prev, prevZ, prevS, prevT := 0.0, 0.0, 0.0, math.Inf(-1)
	started := false
	for g := max(1, g0+o.g0); g <= g0+o.g1+groundStep; g += groundStep {
		z := o.height(g-g0, dy)
		if z > 0 && z < 0.15 {
			z = 0
		}
		d := q.h - z
		s, t := math.Hypot(g, d), -d/g
		if !started {
			started = true
			shallowest = t
			prev, prevZ, prevS, prevT = g, z, s, t
			continue
		}
		seen := 1.0
		switch {
		case t < shallowest:
			seen = 0
		case prevT < shallowest:
			seen = (t - shallowest) / (t - prevT)
		}
		lies := math.Hypot(prev, q.h)
		end := math.Hypot(g, q.h)
		switch {
		case z > 0 || prevZ > 0:
			l.spread(l.dark, q, y, lies, end, 1)
			if seen > 0 {
				slope := (z - prevZ) / groundStep
				gm, dm := g-groundStep/2, q.h-(z+prevZ)/2
				if num := gm*slope + dm; num > 0 {
					stretch := math.Sqrt(1 + slope*slope)
					sin2 := num * num / ((gm*gm + dm*dm) * stretch * stretch)
					e := (0.35 + 0.65*sin2) * min(stretch, 4) * groundStep * seen / flatEcho(s, q.h)
					a, b := min(prevS, s), max(prevS, s)
					if b-a < 0.3 {
						m := (a + b) / 2
						a, b = m-0.15, m+0.15
					}
					l.spread(l.echo, q, y, a, b, e/(b-a))
				}
			}
		case seen < 1:
			hid := lies + (end-lies)*(1-seen)
			l.spread(l.dark, q, y, lies, hid, 1)
			l.spread(l.shade, q, y, lies, hid, 1)
		}
		shallowest = max(shallowest, t)
		prev, prevZ, prevS, prevT = g, z, s, t
	}
	if started && prevT < shallowest {
		from := math.Hypot(prev, q.h)
		to := math.Hypot(q.h/-shallowest, q.h)
		if to > from {
			l.spread(l.dark, q, y, from, to, 1)
			l.spread(l.shade, q, y, from, to, 1)
		}
	}
}

// slice is the cut of one row through something suspended: its middle in slant range, its depth under the transducer, and its half
// axes in ground range and height.
type slice struct {
	s, depth, ground, half, up float64
	share                      float64 // of its full thickness
}

func (f *drifter) slice(q ping, s0, dy, aspect float64) (c slice, ok bool) {
	dy = (dy - f.dy) / aspect
	ia, ib := 1/(f.half*f.half), 1/(f.wide*f.wide)
	qa := f.cos*f.cos*ia + f.sin*f.sin*ib
	qb := dy * f.cos * f.sin * (ia - ib)
	qc := dy*dy*(f.sin*f.sin*ia+f.cos*f.cos*ib) - 1
	root := qb*qb - qa*qc
	if root <= 0 {
		return c, false
	}
	c.half = math.Sqrt(root) / qa
	c.share = min(1, math.Sqrt(qa)*c.half)
	c.up = f.up * c.share
	c.depth = q.h - f.z
	c.s = s0 + f.dg - qb/qa
	if c.s <= c.depth || c.depth <= 0 {
		return c, false
	}
	c.ground = math.Sqrt(c.s*c.s - c.depth*c.depth)
	return c, true
}

// hang adds the echo of one row of something suspended, brightest in the middle.
func (l *layer) hang(f *drifter, q ping, y int, s0, dy, aspect float64) {
	c, ok := f.slice(q, s0, dy, aspect)
	if !ok {
		return
	}
	reach := math.Hypot(c.half*c.ground/c.s, c.up*c.depth/c.s)
	steps := max(1, int(4*reach))
	ds := 2 * reach / float64(steps)
	for i := range steps {
		at := c.s - reach + (float64(i)+0.5)*ds
		u := 2*(float64(i)+0.5)/float64(steps) - 1
		e := f.level * (1 - 0.7*u*u) * c.share
		l.spread(l.echo, q, y, at-ds/2, at+ds/2, e*e)
	}
	if math.IsNaN(l.farEdge) || c.s+reach > l.farEdge {
		l.farEdge = c.s + reach
	}
}

// shadowOf hides the bottom between the two rays that graze one row of something suspended.
func (l *layer) shadowOf(f *drifter, q ping, y int, s0, dy, aspect float64) {
	c, ok := f.slice(q, s0, dy, aspect)
	if !ok {
		return
	}
	// The tangents to the ellipse in the plane of the ping, as angles below the horizon.
	a, b := c.ground/c.half, c.depth/c.up
	r := math.Hypot(a, b)
	if r <= 1 {
		return
	}
	mid, open := math.Atan2(b, a), math.Asin(1/r)
	steep := math.Tan(min(mid+open, math.Pi/2-1e-6)) * c.up / c.half
	shallow := math.Tan(max(mid-open, 1e-3)) * c.up / c.half
	from, to := max(math.Hypot(q.h/steep, q.h), q.h*1.01), math.Hypot(q.h/shallow, q.h)
	if to <= from {
		return
	}
	l.spread(l.dark, q, y, from, to, 1)
	l.spread(l.shade, q, y, from, to, 1)
	if math.IsNaN(l.shadowEdge) || from < l.shadowEdge {
		l.shadowEdge = from
	}
}

// blur smooths a plane by a Gaussian across and along the track.
func (l *layer) blur(plane []float32, across, along float64) {
	w, h := l.at.Dx(), l.at.Dy()
	line := make([]float32, max(w, h))
	smooth := func(n, from, step int, kernel []float32) {
		r := len(kernel) - 1
		blank := true
		for i := range n {
			line[i] = plane[from+i*step]
			blank = blank && line[i] == 0
		}
		if blank {
			return
		}
		for i := range n {
			sum := line[i] * kernel[0]
			for k := 1; k <= r; k++ {
				sum += kernel[k] * (line[max(0, i-k)] + line[min(n-1, i+k)])
			}
			plane[from+i*step] = sum
		}
	}
	k := gaussian(across)
	for y := range h {
		smooth(w, y*w, 1, k)
	}
	k = gaussian(along)
	for x := range w {
		smooth(h, x, w, k)
	}
}

// gaussian is half of a kernel, from its middle outward.
func gaussian(sigma float64) []float32 {
	k := make([]float32, 1+int(math.Ceil(2.5*sigma)))
	sum := 0.0
	for i := range k {
		e := math.Exp(-float64(i*i) / (2 * sigma * sigma))
		k[i] = float32(e)
		sum += e
		if i > 0 {
			sum += e
		}
	}
	for i := range k {
		k[i] /= float32(sum)
	}
	return k
}
