package bedworld

import (
	"math"

	"shadowgap/detect"
)

// rect is a half-open rectangle in samples and pings of a side.
type rect struct{ i0, r0, i1, r1 int }

func (a rect) empty() bool { return a.i1 <= a.i0 || a.r1 <= a.r0 }

func (a rect) meets(b rect) bool { return a.i0 < b.i1 && b.i0 < a.i1 && a.r0 < b.r1 && b.r0 < a.r1 }

// with is the smallest rectangle that also holds a sample.
func (a rect) with(i, r int) rect {
	if a.empty() {
		return rect{i, r, i + 1, r + 1}
	}
	return rect{min(a.i0, i), min(a.r0, r), max(a.i1, i+1), max(a.r1, r+1)}
}

// What a thing adds at least, and leaves at most, of the bottom's strength at a sample that its boxes hold.
const (
	leastLit = 0.45
	mostLeft = 0.7
)

// thing is something on or over the bottom and where it changed the picture.
type thing struct {
	class  detect.Class
	kind   string
	side   *side
	bright rect // what it added
	dark   rect // what it shades
	hangs  bool
}

// free says whether a place is within the picture's reach and nothing holds it, and takes it if so.
func (s *side) free(a rect) bool {
	if a.i1 <= 0 || a.r1 <= 0 || a.i0 >= s.n || a.r0 >= s.rows {
		return false
	}
	for _, b := range s.taken {
		if a.meets(b) {
			return false
		}
	}
	s.taken = append(s.taken, a)
	return true
}

// glow adds strength at a sample; what is too weak to be told from the bottom there does not widen the thing's box.
func (t *thing) glow(i, r int, v float32) {
	s := t.side
	if i < 0 || r < 0 || i >= s.n || r >= s.rows || v <= 0 {
		return
	}
	at := r*s.n + i
	s.lit[at] += v
	if s.lit[at] > leastLit*s.base[at] {
		t.bright = t.bright.with(i, r)
	}
}

// dim leaves only a share of the bottom's strength at a sample.
func (t *thing) dim(i, r int, left float32) {
	s := t.side
	if i < 0 || r < 0 || i >= s.n || r >= s.rows || float64(i) < s.first[r]-1 {
		return
	}
	at := r*s.n + i
	s.shade[at] = min(s.shade[at], left)
	if left < mostLeft {
		t.dark = t.dark.with(i, r)
	}
}

// relief is a patch of heights over the bottom, in samples.
type relief struct {
	i0, r0, w, h int
	z            []float32
}

func newRelief(i0, r0, i1, r1 int) *relief {
	w, h := max(i1-i0, 1), max(r1-r0, 1)
	return &relief{i0, r0, w, h, make([]float32, w*h)}
}

// outline is how the edge of a body bulges around, as a factor on its half axes.
type outline struct {
	size, turn [3]float64
}

func newOutline(d dice, rough float64) outline {
	var o outline
	for k := range o.size {
		o.size[k] = rough * d.between(0.2, 1) / float64(k+1)
		o.turn[k] = d.between(0, 2*math.Pi)
	}
	return o
}

func (o outline) at(u, v float64) float64 {
	angle := math.Atan2(v, u)
	f := 1.0
	for k, size := range o.size {
		f += size * math.Cos(float64(k+2)*angle+o.turn[k])
	}
	return max(f, 0.3)
}

// heap raises a body with half axes a samples × b pings and a summit of the given height; steep makes its edge a cliff.
func (p *relief) heap(ci, cr, a, b, height, steep float64, o outline) {
	for r := max(int(cr-1.5*b), p.r0); r < min(int(cr+1.5*b)+2, p.r0+p.h); r++ {
		for i := max(int(ci-1.5*a), p.i0); i < min(int(ci+1.5*a)+2, p.i0+p.w); i++ {
			u, v := (float64(i)-ci)/a, (float64(r)-cr)/b
			f := o.at(u, v)
			if in := 1 - (u*u+v*v)/(f*f); in > 0 {
				at := (r-p.r0)*p.w + i - p.i0
				p.z[at] = max(p.z[at], float32(height*math.Pow(in, steep)))
			}
		}
	}
}

// bar raises a straight beam from one place to another, wide samples thick.
func (p *relief) bar(i0, r0, i1, r1, wide, height float64) {
	steps := int(2*math.Hypot(i1-i0, r1-r0)) + 1
	for k := range steps + 1 {
		f := float64(k) / float64(steps)
		ci, cr := i0+f*(i1-i0), r0+f*(r1-r0)
		for r := int(math.Round(cr - wide/2)); r <= int(math.Round(cr+wide/2)); r++ {
			for i := int(math.Round(ci - wide/2)); i <= int(math.Round(ci+wide/2)); i++ {
				if i >= p.i0 && i < p.i0+p.w && r >= p.r0 && r < p.r0+p.h {
					at := (r-p.r0)*p.w + i - p.i0
					p.z[at] = max(p.z[at], float32(height))
				}
			}
		}
	}
}

// look is how a body answers the sound, in shares of the bottom's strength around it.
type look struct {
	face  float64 // of a wall as steep as steep that faces the boat
	body  float64 // of a top that lies level
	steep float64 // rise a sample of a wall that answers fully
	left  float64 // left of the bottom in its shadow
	fill  float64 // what a shadow gains to its end
}

// raise sets a patch of heights on the bottom: rays of each ping go outward from the boat, light walls that face it and leave in shadow
// what lies under the lowest ray so far.
func (t *thing) raise(p *relief, l look, d dice) {
	s := t.side
	level := float64(s.level(p.i0+p.w/2, p.r0+p.h/2))
	for r := max(p.r0, 0); r < min(p.r0+p.h, s.rows); r++ {
		ray := math.Inf(1)
		before, run := 0.0, 0
		ragged := 1 + 0.004*d.NormFloat64()
		for i := p.i0; i < s.n; i++ {
			z := 0.0
			if i < p.i0+p.w {
				z = float64(p.z[(r-p.r0)*p.w+i-p.i0])
			}
			x := max(float64(i)+s.off, 1)
			slope := (s.high - z) / x
			if slope >= ray*ragged && slope >= ray {
				run++
				t.dim(i, r, float32(l.left+l.fill*(1-math.Exp(-float64(run)/40))))
			} else {
				ray, run = slope, 0
				if z > 0 {
					t.light(i, r, level, z-before, l, d)
				} else if i >= p.i0+p.w {
					break
				}
			}
			before = z
		}
	}
}

// light draws one sample of a body that the sound reaches: rise is how much it climbs in that sample.
func (t *thing) light(i, r int, level, rise float64, l look, d dice) {
	s := t.side
	if i < 0 || i >= s.n {
		return
	}
	at := r*s.n + i
	s.shade[at] = min(s.shade[at], float32(min(l.body, 1)))
	v := l.face * min(max(rise/l.steep, 0), 1.3) * d.between(0.6, 1.4)
	t.glow(i, r, float32(level*(v+max(l.body-1, 0))))
}

// spot lights a small round blob, half axes in samples and pings, at strength times the bottom around it.
func (t *thing) spot(ci, cr, a, b, strong float64) {
	for r := int(cr - 2.5*b); r <= int(cr+2.5*b)+1; r++ {
		for i := int(ci - 2.5*a); i <= int(ci+2.5*a)+1; i++ {
			u, v := (float64(i)-ci)/a, (float64(r)-cr)/b
			if w := strong * math.Exp(-0.7*(u*u+v*v)); w > 0.02*strong {
				t.glow(i, r, float32(w))
			}
		}
	}
}

// patch shades a patch with ragged ends along the range, half axes in samples and pings.
func (t *thing) patch(ci, cr, a, b, left float64, d dice) {
	for r := int(math.Round(cr - b)); r <= int(math.Round(cr+b)); r++ {
		v := (float64(r) - cr) / (b + 0.5)
		reach := a * math.Pow(max(1-v*v, 0), 0.4)
		for i := int(math.Round(ci - reach*d.between(0.9, 1))); i <= int(math.Round(ci+reach*d.between(0.85, 1.1))); i++ {
			t.dim(i, r, float32(left))
		}
	}
}
