package scene

import (
	"context"
	"fmt"
	"math"
)

// swath is one side of the capture in slant range, row-major: what returned and what was hidden.
type swath struct {
	rows, cols int
	echo       []float32 // echo density before propagation, per sample
	objEcho    []float32 // the part of echo that came from the numbered thing with the largest part
	objID      []uint16
	dark       []float32 // share of the sample's slant range that is hidden by blockID
	blockID    []uint16
	first      []float64 // slant range in metres at which bottom begins, a ping; only where the bottom has texture
}

func newSwath(rows, cols int) *swath {
	n := rows * cols
	return &swath{
		rows: rows, cols: cols, echo: make([]float32, n), objEcho: make([]float32, n), objID: make([]uint16, n),
		dark: make([]float32, n), blockID: make([]uint16, n),
	}
}

// floating is a suspended target with its place worked out.
type floating struct {
	Fish
	id       uint16
	z        float64 // of its centre
	sin, cos float64
	extY     float64
}

// slice is the cut of one ping through a suspended target.
type slice struct {
	*floating
	g, z      float64 // centre: ground range and height
	half, up  float64 // half axes in ground range and height
	lo, hi    float64 // slopes of the rays that graze its underside and its top
	blocked   bool    // the bottom in front hides it
	share     float64 // of the target's full thickness
	slantFrom float64
	slantTo   float64
}

// marcher casts the rays of every ping.
type marcher struct {
	spec    *Spec
	ground  *terrain
	bed     *bed // nil without texture and ledges
	ridgeID uint16
	// lastRelief is the last number that belongs to the bottom itself; what lies on the bottom comes after it.
	lastRelief uint16
	solids     []solid
	fish       []floating
	patch      fractal
	ds         float64
}

// nodesPerSample is how many height-field nodes fall in one slant-range sample at far range.
const nodesPerSample = 2

// cast fills the two sides' swaths (nil for a side of no width). It returns ctx's error when ctx ends.
func (m *marcher) cast(ctx context.Context, pings []ping) ([2]*swath, error) {
	var out [2]*swath
	s := m.spec
	for side := range out {
		n := s.sidePx(side)
		if n == 0 {
			continue
		}
		w := newSwath(len(pings), n)
		out[side] = w
		dg := m.ds / nodesPerSample
		nodes := n*nodesPerSample + 2
		p := &profile{sign: float64(2*side - 1), dg: dg, z: make([]float64, nodes), mu: make([]float64, nodes), id: make([]uint16, nodes)}
		for row := range pings {
			if err := ctx.Err(); err != nil {
				return out, fmt.Errorf("casting rays of row %d: %w", row, err)
			}
			p.y = pings[row].y
			m.lay(p)
			if s.Record.On {
				w.first = append(w.first, m.nearest(p, pings[row].h))
			}
			m.march(p, pings[row].h, w, row)
		}
	}
	return out, nil
}

// lay fills the profile under a ping.
func (m *marcher) lay(p *profile) {
	m.ground.fill(p, m.ridgeID)
	if m.bed != nil {
		m.bed.fill(p)
	}
	for i := range m.solids {
		if c := &m.solids[i]; p.y > c.y0 && p.y < c.y1 {
			c.raise(c, p)
		}
	}
	if m.spec.Bottom.PatchDB > 0 {
		end := p.x(len(p.z))
		m.patch.line(p.y, min(0, end), max(0, end))
		k := m.spec.Bottom.PatchDB * math.Ln10 / 10
		// Patches change over metres, so one value serves a few nodes.
		const step = 8
		for i := 0; i < len(p.mu); i += step {
			f := math.Exp(k * m.patch.at(p.x(i)))
			for j := i; j < min(i+step, len(p.mu)); j++ {
				p.mu[j] *= f
			}
		}
	}
	for k := range p.mu {
		p.mu[k] *= m.spec.Bottom.Reflectivity
	}
}

// nearest is the slant range of the nearest node of bottom, with its relief but without what lies on it.
func (m *marcher) nearest(p *profile, h float64) float64 {
	best := math.Inf(1)
	for k, z := range p.z {
		g := float64(k) * p.dg
		if g*g >= best {
			break
		}
		if p.id[k] <= m.lastRelief {
			best = min(best, g*g+(h-z)*(h-z))
		}
	}
	return math.Sqrt(best)
}

// slices cuts a ping through the suspended targets on its side.
func (m *marcher) slices(p *profile, h float64) []slice {
	var out []slice
	for i := range m.fish {
		f := &m.fish[i]
		dy := p.y - f.Y
		if math.Abs(dy) >= f.extY {
			continue
		}
		mid, half, ok := ellipseSlice(f.LengthM/2, f.WidthM/2, f.cos, f.sin, dy)
		g := p.sign * (f.X + mid)
		if !ok || g-half <= 0 {
			continue
		}
		share := math.Sqrt(1 - dy*dy/(f.extY*f.extY))
		c := slice{floating: f, g: g, z: f.z, half: half, up: f.ThickM / 2 * share, share: share}
		c.lo, c.hi = tangents(c.g, c.z-h, c.half, c.up)
		cs := math.Hypot(c.g, h-c.z)
		reach := math.Hypot(c.half*c.g/cs, c.up*(h-c.z)/cs)
		c.slantFrom, c.slantTo = cs-reach, cs+reach
		out = append(out, c)
	}
	return out
}

// tangents gives the slopes (height over ground range) of the two lines from the origin that touch an ellipse with centre (g, z) and half
// axes a, b.
func tangents(g, z, a, b float64) (lo, hi float64) {
	u, v := g/a, z/b
	d := math.Hypot(u, v)
	if d <= 1 {
		return math.Inf(-1), math.Inf(1)
	}
	mid, half := math.Atan2(v, u), math.Asin(1/d)
	return math.Tan(max(mid-half, -math.Pi/2+1e-9)) * b / a, math.Tan(mid+half) * b / a
}

// stride is the way of the rays from one node of a profile to the next.
type stride struct {
	g1         float64 // ground range of the next node
	z0, z1     float64 // heights of both
	d1, s0, s1 float64 // depth of the next node under the transducer, and slant ranges of both
	t0, t1     float64 // tangents of the rays to both
	id         uint16  // what lies there
}

// seen is the part of a stride, from its far end, whose rays are shallower than all before.
func (s *stride) seen(shallowest float64) float64 {
	switch {
	case s.t1 < shallowest:
		return 0
	case s.t0 < shallowest:
		return (s.t1 - shallowest) / (s.t1 - s.t0)
	}
	return 1
}

// march goes outward over the profile. A node is in view while its ray is the shallowest so far.
func (m *marcher) march(p *profile, h float64, w *swath, row int) {
	floats := m.slices(p, h)
	acc := rowSink{ds: m.ds, n: w.cols, at: row * w.cols, w: w}
	shallowest := math.Inf(-1)
	var blocker uint16
	at := stride{z1: p.z[0], s1: h - p.z[0], t1: math.Inf(-1)}
	reach := m.ds * float64(w.cols)
	for k := 1; k < len(p.z); k++ {
		at.z0, at.s0, at.t0 = at.z1, at.s1, at.t1
		at.g1 = float64(k) * p.dg
		at.z1 = p.z[k]
		at.d1 = h - at.z1
		at.s1 = math.Sqrt(at.g1*at.g1 + at.d1*at.d1)
		at.t1 = -at.d1 / at.g1
		if at.g1-p.dg > reach {
			break
		}
		if at.id = p.id[k]; at.id == 0 {
			at.id = p.id[k-1]
		}
		seen := at.seen(shallowest)
		from := at.s0 + (at.s1-at.s0)*(1-seen)
		if seen < 1 {
			acc.hide(at.s0, from, blocker)
		}
		if seen > 0 {
			if cover := coverOf(floats, &at); cover != 0 {
				acc.hide(from, at.s1, cover)
			} else {
				m.facet(p, k, h, &at, seen, from, &acc)
			}
		}
		for i := range floats {
			if f := &floats[i]; at.g1 >= f.g && at.g1-p.dg < f.g {
				f.blocked = f.hi < shallowest
			}
		}
		if at.t1 > shallowest {
			shallowest, blocker = at.t1, p.id[k]
		}
	}
	for i := range floats {
		if f := &floats[i]; !f.blocked {
			m.returnOf(f, &acc)
		}
	}
}

// coverOf is the suspended target that keeps the rays from a stride, 0 for none.
func coverOf(floats []slice, at *stride) uint16 {
	tm := at.t1
	if !math.IsInf(at.t0, -1) {
		tm = (at.t0 + at.t1) / 2
	}
	for i := range floats {
		if f := &floats[i]; at.g1 > f.g && tm > f.lo && tm < f.hi {
			return f.id
		}
	}
	return 0
}

// facet adds the echo of what is in view of the stride to node k, between slant ranges from and the node's own.
func (m *marcher) facet(p *profile, k int, h float64, at *stride, seen, from float64, acc *rowSink) {
	slope := (at.z1 - at.z0) / p.dg
	gm, dm := at.g1-p.dg/2, (at.d1+h-at.z0)/2
	num := gm*slope + dm
	if num <= 0 {
		return
	}
	stretch := math.Sqrt(1 + slope*slope)
	sin2 := num * num / ((gm*gm + dm*dm) * stretch * stretch)
	e := p.mu[k] * sin2
	if at.id > m.lastRelief {
		e = p.mu[k] * rough(sin2)
	}
	acc.add(from, at.s1, e*stretch*p.dg*seen, at.id)
}

// returnOf spreads a suspended target's echo over its slant extent, brightest in the middle.
func (m *marcher) returnOf(f *slice, acc *rowSink) {
	steps := max(1, int(math.Ceil((f.slantTo-f.slantFrom)/m.ds*2)))
	ds := (f.slantTo - f.slantFrom) / float64(steps)
	for i := range steps {
		s := f.slantFrom + (float64(i)+0.5)*ds
		u := 2*(float64(i)+0.5)/float64(steps) - 1
		level := f.Strength * m.spec.Bottom.Reflectivity * flatEcho(s, m.spec.AltitudeM)
		acc.add(s-ds/2, s+ds/2, level*(1-0.7*u*u)*f.share*ds, f.id)
	}
}

// rowSink collects echoes and shadow into the samples of one row, sharing what straddles two samples between them.
type rowSink struct {
	ds float64
	n  int
	at int
	w  *swath
}

// add puts energy e, returned evenly between two slant ranges, into the row.
func (r *rowSink) add(a, b, e float64, id uint16) {
	if a > b {
		a, b = b, a
	}
	i, j := int(a/r.ds), int(b/r.ds)
	e /= r.ds
	if i == j {
		r.addOne(i, e, id)
		return
	}
	for c := i; c <= j && c < r.n; c++ {
		part := (min(b, float64(c+1)*r.ds) - max(a, float64(c)*r.ds)) / (b - a)
		r.addOne(c, e*part, id)
	}
}

func (r *rowSink) addOne(c int, e float64, id uint16) {
	if c >= r.n {
		return
	}
	i := r.at + c
	f := float32(e)
	r.w.echo[i] += f
	if id == 0 {
		return
	}
	switch {
	case r.w.objID[i] == id:
		r.w.objEcho[i] += f
	case f > r.w.objEcho[i]:
		r.w.objID[i], r.w.objEcho[i] = id, f
	}
}

// hide marks what lies between two slant ranges as hidden by id.
func (r *rowSink) hide(a, b float64, id uint16) {
	if id == 0 {
		return
	}
	if a > b {
		a, b = b, a
	}
	i, j := int(a/r.ds), int(b/r.ds)
	for c := i; c <= j && c < r.n; c++ {
		part := float32((min(b, float64(c+1)*r.ds) - max(a, float64(c)*r.ds)) / r.ds)
		k := r.at + c
		switch {
		case r.w.blockID[k] == id:
			r.w.dark[k] += part
		case part > r.w.dark[k]:
			r.w.blockID[k], r.w.dark[k] = id, part
		}
	}
}
