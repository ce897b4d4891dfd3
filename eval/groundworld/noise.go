package groundworld

import "math"

// normals is a store of standard normal numbers, cheaper to draw from than to make.
type normals [4096]float32

func newNormals(d dice) *normals {
	n := new(normals)
	for i := range n {
		n[i] = float32(d.NormFloat64())
	}
	return n
}

// fractal is a field of wide by high cells with zero mean and unit standard deviation, whose octaves fall as 2^(-(b-1)/2). It is grown
// from a coarse lattice by quadrupling its cells and adding noise, so that its coarse parts are smooth.
func fractal(d dice, wide, high int, b float64) []float32 {
	store := newNormals(d)
	levels := 0
	for max(wide, high)>>levels > 6 {
		levels++
	}
	w, h := wide>>levels+4, high>>levels+4
	field := make([]float32, w*h)
	amp := 1.0
	addNoise(d, store, field, amp)
	for range levels {
		field, w, h = quadruple(field, w, h)
		amp *= math.Pow(2, -(b-1)/2)
		addNoise(d, store, field, amp)
	}
	out := make([]float32, wide*high)
	ox, oy := min(2, w-wide), min(2, h-high)
	for y := range high {
		copy(out[y*wide:(y+1)*wide], field[(y+oy)*w+ox:])
	}
	standardise(out)
	return out
}

func addNoise(d dice, store *normals, field []float32, amp float64) {
	a := float32(amp)
	for i := 0; i < len(field); {
		bits := d.Uint64()
		for k := 0; k < 5 && i < len(field); k++ {
			field[i] += a * store[bits&4095]
			bits >>= 12
			i++
		}
	}
}

// quadruple doubles a lattice along both axes by the subdivision rule of the quadratic spline.
func quadruple(in []float32, w, h int) ([]float32, int, int) {
	w2, h2 := 2*w-2, 2*h-2
	mid := make([]float32, w2*h)
	for y := range h {
		row, to := in[y*w:(y+1)*w], mid[y*w2:(y+1)*w2]
		for x := 0; x+1 < w; x++ {
			to[2*x] = 0.75*row[x] + 0.25*row[x+1]
			to[2*x+1] = 0.25*row[x] + 0.75*row[x+1]
		}
	}
	out := make([]float32, w2*h2)
	for y := 0; y+1 < h; y++ {
		a, b := mid[y*w2:(y+1)*w2], mid[(y+1)*w2:(y+2)*w2]
		up, low := out[2*y*w2:(2*y+1)*w2], out[(2*y+1)*w2:(2*y+2)*w2]
		for x := range a {
			up[x] = 0.75*a[x] + 0.25*b[x]
			low[x] = 0.25*a[x] + 0.75*b[x]
		}
	}
	return out, w2, h2
}

func standardise(f []float32) {
	var sum, square float64
	for _, v := range f {
		sum += float64(v)
		square += float64(v) * float64(v)
	}
	n := float64(len(f))
	mean := sum / n
	scale := 1 / math.Sqrt(max(1e-12, square/n-mean*mean))
	for i, v := range f {
		f[i] = float32((float64(v) - mean) * scale)
	}
}

// gammas is a store of gamma-distributed numbers of mean 1.
type gammas [16384]float32

func newGammas(d dice, shape float64) *gammas {
	g := new(gammas)
	for i := range g {
		g[i] = float32(gamma(d, shape) / shape)
	}
	return g
}

// gamma draws from the gamma distribution by squeezing a cubed normal (Marsaglia and Tsang, 2000).
func gamma(d dice, shape float64) float64 {
	boost := 1.0
	if shape < 1 {
		boost = math.Pow(1-d.Float64(), 1/shape)
		shape++
	}
	a := shape - 1.0/3
	c := 1 / math.Sqrt(9*a)
	for {
		x := d.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v *= v * v
		if math.Log(1-d.Float64()) < 0.5*x*x+a-a*v+a*math.Log(v) {
			return a * v * boost
		}
	}
}

// blob is a ragged round outline.
type blob struct {
	x, y, r, squash, turn float64
	wave                  [6]float64
	phase                 [6]float64
}

func newBlob(d dice, x, y, r, ragged float64) blob {
	b := blob{x: x, y: y, r: r, squash: d.in(0.4, 1), turn: d.in(0, math.Pi)}
	for k := range b.wave {
		b.wave[k] = ragged * d.NormFloat64() / float64(k+2)
		b.phase[k] = d.in(0, 2*math.Pi)
	}
	return b
}

// depth is how far inside the outline a point lies, 1 in the middle, 0 on it and negative outside.
func (b *blob) depth(x, y float64) float64 {
	c, s := math.Cos(b.turn), math.Sin(b.turn)
	u, v := (x-b.x)*c+(y-b.y)*s, ((y-b.y)*c-(x-b.x)*s)/b.squash
	far := math.Hypot(u, v) / b.r
	if far < 0.03 || far > 3 {
		return 1 - far
	}
	phi := math.Atan2(v, u)
	edge := 1.0
	for k, a := range b.wave {
		edge += a * math.Cos(float64(k+2)*phi+b.phase[k])
	}
	return 1 - far/max(0.2, edge)
}

// smooth rises from 0 to 1 between lo and hi.
func smooth(lo, hi, x float64) float64 {
	t := min(1, max(0, (x-lo)/(hi-lo)))
	return t * t * (3 - 2*t)
}
