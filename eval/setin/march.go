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
	y0, y1 := math.Inf(1), math.Inf(-1)
	near, far := math.Inf(1), 0.0 // slant range
	flat := func(s float64) float64 { return math.Sqrt(max(0.01*h0*h0, s*s-h0*h0)) }
	if t.solid != nil {
		g := flat(p.s)
		y0, y1 = t.solid.y0, t.solid.y1
		top := t.top()
		near = math.Hypot(max(0, g+t.solid.g0), h0-top)
		far = math.Hypot(g+t.solid.g1, h0) * h0 / (h0 - top)
	}
	for i := range t.floats {
		f := &t.floats[i]
		r := max(f.half, f.wide)
		y0, y1 = min(y0, f.dy-r*v.aspect), max(y1, f.dy+r*v.aspect)
		near = min(near, p.s+f.dg-r-f.up)
		far = max(far, p.s+f.dg+r+f.up)
		if t.depth > 0 {
			far = max(far, min(2000, (p.s+f.dg+r)*h0/max(0.05*h0, h0-f.z-f.up)))
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
		}
	}
	for i, e := range l.echo {
		l.echo[i] = float32(math.Sqrt(float64(e)))
		l.dark[i] = min(1, l.dark[i])
		l.shade[i] = min(1, l.shade[i])
	}
	return l, true
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

// hang casts one row over something suspended: its own echo, and the shadow between the rays that graze it.
func (l *layer) hang(f *drifter, q ping, y int, s0, dy, aspect float64) {
	dy = (dy - f.dy*1) / aspect
	// The cut of the row through the ellipse that is seen from above.
	ia, ib := 1/(f.half*f.half), 1/(f.wide*f.wide)
	qa := f.cos*f.cos*ia + f.sin*f.sin*ib
	qb := dy * f.cos * f.sin * (ia - ib)
	qc := dy*dy*(f.sin*f.sin*ia+f.cos*f.cos*ib) - 1
	root := qb*qb - qa*qc
	if root <= 0 {
		return
	}
	half := math.Sqrt(root) / qa
	widest := math.Sqrt(qa) * half // 1 through the middle
	up := f.up * min(1, widest)
	d := q.h - f.z
	s := s0 + f.dg - qb/qa
	if s <= d || d <= 0 {
		return
	}
	g := math.Sqrt(s*s - d*d)
	reach := math.Hypot(half*g/s, up*d/s)
	steps := max(1, int(2*reach*2))
	ds := 2 * reach / float64(steps)
	for i := range steps {
		at := s - reach + (float64(i)+0.5)*ds
		u := 2*(float64(i)+0.5)/float64(steps) - 1
		e := f.level * (1 - 0.7*u*u) * min(1, widest)
		l.spread(l.echo, q, y, at-ds/2, at+ds/2, e*e)
	}
	if math.IsNaN(l.farEdge) || s+reach > l.farEdge {
		l.farEdge = s + reach
	}
	// The two tangents to the ellipse in the plane of the ping, as angles below the horizon.
	a, b := g/half, d/up
	r := math.Hypot(a, b)
	if r <= 1 || f.depth == 0 {
		return
	}
	mid, open := math.Atan2(b, a), math.Asin(1/r)
	steep, shallow := math.Tan(min(mid+open, math.Pi/2-1e-6))*up/half, math.Tan(max(mid-open, 1e-3))*up/half
	from := math.Hypot(q.h/steep, q.h)
	to := math.Hypot(q.h/shallow, q.h)
	from = max(from, q.h*1.01)
	if to <= from {
		return
	}
	l.spread(l.dark, q, y, from, to, f.depth)
	l.spread(l.shade, q, y, from, to, f.depth)
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
		any := false
		for i := range n {
			line[i] = plane[from+i*step]
			any = any || line[i] != 0
		}
		if !any {
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
