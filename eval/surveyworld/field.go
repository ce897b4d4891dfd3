package surveyworld

import (
	"math"
	"math/rand/v2"
	"sort"
)

// noise is a small fast generator for per-pixel draws (a 64-bit xorshift multiply; common practice, no source).
type noise struct{ s uint64 }

func newNoise(r *rand.Rand) *noise { return &noise{r.Uint64() | 1} }

func (n *noise) next() uint64 {
	n.s ^= n.s >> 12
	n.s ^= n.s << 25
	n.s ^= n.s >> 27
	return n.s * 0x2545F4914F6CDD1D
}

// unit draws from [0, 1).
func (n *noise) unit() float32 { return float32(n.next()>>40) * (1.0 / (1 << 24)) }

// normal draws roughly from the standard normal: four uniform sums are near enough for texture.
func (n *noise) normal() float32 {
	v := n.next()
	s := float32(v&0xffff) + float32(v>>16&0xffff) + float32(v>>32&0xffff) + float32(v>>48)
	return (s/65536 - 2) * 1.7320508
}

const quantiles = 4096

// gammaTable holds draws of a gamma variate of mean 1 and the given looks, sorted, so that one uniform index makes one draw. spiky above 0
// multiplies by a second gamma of 1/spiky looks, which gives the long tail of a rough bottom (K-distribution; common practice, no source).
func gammaTable(r *rand.Rand, looks, spiky float64) []float32 {
	t := make([]float64, 4*quantiles)
	for i := range t {
		t[i] = gamma(r, looks)
		if spiky > 0 {
			t[i] *= gamma(r, 1/spiky)
		}
	}
	sort.Float64s(t)
	out, sum := make([]float32, quantiles), 0.0
	for i := range out {
		out[i] = float32(t[4*i+2])
		sum += t[4*i+2]
	}
	for i := range out {
		out[i] *= float32(quantiles / sum)
	}
	return out
}

// gamma draws a gamma variate of mean 1 (Marsaglia and Tsang, A simple method for generating gamma variables, 2000).
func gamma(r *rand.Rand, k float64) float64 {
	boost := 1.0
	d := k
	if k < 1 {
		boost = math.Pow(r.Float64(), 1/k)
		d++
	}
	d -= 1.0 / 3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(r.Float64()+1e-300) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return d * v * boost / k
		}
	}
}

// plane is one value a pixel, row by row.
type plane struct {
	w, h int
	v    []float32
}

func newPlane(w, h int) plane { return plane{w, h, make([]float32, w*h)} }

// at reads with the border repeated.
func (p plane) at(x, y int) float32 {
	return p.v[min(max(y, 0), p.h-1)*p.w+min(max(x, 0), p.w-1)]
}

// fractal is a random field of mean 0 and spread 1, grown from a coarse lattice by doubling: each doubling smooths with the weights 1 3
// 3 1 and adds fresh noise whose share falls by fall. The finest grain is gx by gy pixels, the coarsest coarse times that.
func fractal(r *rand.Rand, w, h int, gx, gy, coarse, fall float64) plane {
	n := newNoise(r)
	fw, fh := max(int(float64(w)/gx)+4, 4), max(int(float64(h)/gy)+4, 4)
	steps := max(int(math.Log2(coarse)), 0)
	cw, ch := (fw>>steps)+3, (fh>>steps)+3
	f := newPlane(cw, ch)
	for i := range f.v {
		f.v[i] = n.normal()
	}
	amp := 1.0
	for range steps {
		f = double(f)
		amp *= fall
		for i := range f.v {
			f.v[i] += float32(amp) * n.normal()
		}
	}
	out := stretch(f, w, h, gx, gy, r.Float64(), r.Float64())
	var sum, sq float64
	for _, v := range out.v {
		sum += float64(v)
		sq += float64(v) * float64(v)
	}
	m := sum / float64(len(out.v))
	sd := math.Sqrt(max(sq/float64(len(out.v))-m*m, 1e-9))
	for i := range out.v {
		out.v[i] = (out.v[i] - float32(m)) / float32(sd)
	}
	return out
}

// double doubles a lattice with the quadratic spline's weights and drops the rim that has no neighbours.
func double(f plane) plane {
	w, h := 2*(f.w-1), 2*(f.h-1)
	t := newPlane(w, f.h)
	for y := range f.h {
		src, dst := f.v[y*f.w:(y+1)*f.w], t.v[y*w:(y+1)*w]
		for x := range f.w - 1 {
			a, b := src[x], src[x+1]
			dst[2*x] = 0.75*a + 0.25*b
			dst[2*x+1] = 0.25*a + 0.75*b
		}
	}
	out := newPlane(w, h)
	for y := range f.h - 1 {
		a, b := t.v[y*w:(y+1)*w], t.v[(y+1)*w:(y+2)*w]
		d, e := out.v[2*y*w:(2*y+1)*w], out.v[(2*y+1)*w:(2*y+2)*w]
		for x := range w {
			d[x] = 0.75*a[x] + 0.25*b[x]
			e[x] = 0.25*a[x] + 0.75*b[x]
		}
	}
	return out
}

// stretch reads a lattice linearly at gx by gy pixels a node.
func stretch(f plane, w, h int, gx, gy, ox, oy float64) plane {
	out := newPlane(w, h)
	xi, xf := make([]int, w), make([]float32, w)
	for x := range w {
		p := float64(x)/gx + ox
		i := min(int(p), f.w-2)
		xi[x], xf[x] = i, float32(min(p-float64(i), 1))
	}
	for y := range h {
		p := float64(y)/gy + oy
		i := min(int(p), f.h-2)
		fy := float32(min(p-float64(i), 1))
		a, b := f.v[i*f.w:(i+1)*f.w], f.v[(i+1)*f.w:(i+2)*f.w]
		row := out.v[y*w : (y+1)*w]
		for x := range row {
			j, fx := xi[x], xf[x]
			u := a[j] + (a[j+1]-a[j])*fx
			v := b[j] + (b[j+1]-b[j])*fx
			row[x] = u + (v-u)*fy
		}
	}
	return out
}

// wander is a smooth random line of n values, spread about 1, grain in steps.
func wander(r *rand.Rand, n int, grain, coarse float64) []float64 {
	f := fractal(r, n, 1, grain, 1, coarse, 0.5)
	out := make([]float64, n)
	for i := range out {
		out[i] = float64(f.v[i])
	}
	return out
}

// smooth convolves with three weights across and three along: side over (1 + 2 side).
func smooth(p plane, sx, sy float32) {
	if sx > 0 {
		c := 1 / (1 + 2*sx)
		for y := range p.h {
			row := p.v[y*p.w : (y+1)*p.w]
			prev := row[0]
			for x := range row {
				cur := row[x]
				next := cur
				if x+1 < len(row) {
					next = row[x+1]
				}
				row[x] = (cur + sx*(prev+next)) * c
				prev = cur
			}
		}
	}
	if sy > 0 {
		c := 1 / (1 + 2*sy)
		prev := make([]float32, p.w)
		copy(prev, p.v[:p.w])
		for y := range p.h {
			row := p.v[y*p.w : (y+1)*p.w]
			next := row
			if y+1 < p.h {
				next = p.v[(y+1)*p.w : (y+2)*p.w]
			}
			for x := range row {
				cur := row[x]
				row[x] = (cur + sy*(prev[x]+next[x])) * c
				prev[x] = cur
			}
		}
	}
}

// resize maps a plane to another size: areas are averaged where it shrinks, else read linearly or by the nearest.
func resize(p plane, w, h int, nearest bool) plane {
	if w == p.w && h == p.h {
		return p
	}
	t := newPlane(w, p.h)
	ix, wx := taps(p.w, w, nearest)
	for y := range p.h {
		src, dst := p.v[y*p.w:(y+1)*p.w], t.v[y*w:(y+1)*w]
		for x := range dst {
			var s float32
			for k, g := range wx[x] {
				s += g * src[ix[x]+k]
			}
			dst[x] = s
		}
	}
	out := newPlane(w, h)
	iy, wy := taps(p.h, h, nearest)
	for y := range h {
		dst := out.v[y*w : (y+1)*w]
		for k, g := range wy[y] {
			src := t.v[(iy[y]+k)*w : (iy[y]+k+1)*w]
			for x := range dst {
				dst[x] += g * src[x]
			}
		}
	}
	return out
}

// taps are the first source index and the weights of every output sample.
func taps(from, to int, nearest bool) ([]int, [][]float32) {
	idx, wts := make([]int, to), make([][]float32, to)
	s := float64(from) / float64(to)
	for i := range to {
		c := (float64(i)+0.5)*s - 0.5
		switch {
		case nearest:
			idx[i], wts[i] = min(max(int(math.Round(c)), 0), from-1), []float32{1}
		case s <= 1:
			j := min(max(int(math.Floor(c)), 0), max(from-2, 0))
			f := float32(min(max(c-float64(j), 0), 1))
			if from < 2 {
				idx[i], wts[i] = 0, []float32{1}
				continue
			}
			idx[i], wts[i] = j, []float32{1 - f, f}
		default:
			lo, hi := float64(i)*s, float64(i+1)*s
			j, e := int(lo), min(int(math.Ceil(hi)), from)
			g := make([]float32, e-j)
			for k := range g {
				a, b := max(lo, float64(j+k)), min(hi, float64(j+k+1))
				g[k] = float32(max(b-a, 0) / s)
			}
			idx[i], wts[i] = j, g
		}
	}
	return idx, wts
}
