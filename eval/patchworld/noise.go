package patchworld

import (
	"math"
	"math/rand/v2"
)

// dice is the one source of chance of a capture.
type dice struct{ *rand.Rand }

func newDice(seed int64, stream uint64) dice {
	return dice{rand.New(rand.NewPCG(uint64(seed), stream))}
}

// fork gives an independent source, so that drawing more from one part leaves the other parts as they were.
func (d dice) fork() dice { return dice{rand.New(rand.NewPCG(d.Uint64(), d.Uint64()))} }

func (d dice) between(a, b float64) float64 { return a + (b-a)*d.Float64() }

// logBetween is uniform in the logarithm; a and b are positive.
func (d dice) logBetween(a, b float64) float64 { return a * math.Exp(d.Float64()*math.Log(b/a)) }

func (d dice) count(a, b int) int { return a + d.IntN(b-a+1) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

// sign is -1 or +1.
func (d dice) sign() float64 { return float64(2*d.IntN(2) - 1) }

// pick draws an index with the given weights.
func (d dice) pick(weights ...float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	at := d.Float64() * sum
	for i, w := range weights {
		if at -= w; at < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// plane is a field over rows and columns, row by row.
type plane struct {
	w, h int
	v    []float32
}

func newPlane(w, h int) plane { return plane{w, h, make([]float32, w*h)} }

func (p plane) row(r int) []float32 { return p.v[r*p.w : (r+1)*p.w] }

// at reads between the samples, held at the rims.
func (p plane) at(x, y float32) float32 {
	x, y = min(max(x, 0), float32(p.w)-1.001), min(max(y, 0), float32(p.h)-1.001)
	if p.w < 2 || p.h < 2 {
		return p.v[0]
	}
	i, j := int(x), int(y)
	fx, fy := x-float32(i), y-float32(j)
	o := j*p.w + i
	a := p.v[o] + fx*(p.v[o+1]-p.v[o])
	b := p.v[o+p.w] + fx*(p.v[o+p.w+1]-p.v[o+p.w])
	return a + fy*(b-a)
}

// knots are the lattice neighbours and smooth weights of every sample along one axis (value noise; common practice, no source).
func knots(n int, cell, phase float64) (left []int32, weight []float32, lattice int) {
	left, weight = make([]int32, n), make([]float32, n)
	for i := range n {
		at := float64(i)/cell + phase
		k := math.Floor(at)
		f := at - k
		left[i], weight[i] = int32(k), float32(f*f*f*(f*(6*f-15)+10))
	}
	return left, weight, int(float64(n)/cell+phase) + 3
}

// addNoise adds smooth noise of about unit spread times amp, its cells cx by cy samples wide.
func (d dice) addNoise(p plane, cx, cy float64, amp float32) {
	lx, wx, nx := knots(p.w, max(cx, 1), d.Float64())
	ly, wy, ny := knots(p.h, max(cy, 1), d.Float64())
	lat := make([]float32, nx*ny)
	for i := range lat {
		lat[i] = float32(d.NormFloat64()) * amp * 1.5
	}
	mid := make([]float32, nx)
	for r := range p.h {
		a, b, f := lat[int(ly[r])*nx:][:nx], lat[(int(ly[r])+1)*nx:][:nx], wy[r]
		for i := range mid {
			mid[i] = a[i] + f*(b[i]-a[i])
		}
		for i, out := 0, p.row(r); i < len(out); i++ {
			k := lx[i]
			out[i] += mid[k] + wx[i]*(mid[k+1]-mid[k])
		}
	}
}

// fractal is noise over several scales, from cells of cx by cy downward, each finer scale times fall.
func (d dice) fractal(w, h int, cx, cy, fall float64) plane {
	p := newPlane(w, h)
	amp, power := 1.0, 0.0
	for range 6 {
		d.addNoise(p, cx, cy, float32(amp))
		power += amp * amp
		cx, cy, amp = cx/2.03, cy/1.97, amp*fall
		if cx < 1.3 && cy < 1.3 || amp < 0.05 {
			break
		}
	}
	norm := float32(1 / math.Sqrt(power))
	for i := range p.v {
		p.v[i] *= norm
	}
	return p
}

// warped is p read at places pushed about by two noises of the given reach, which bends the lattice's straight lines away.
func (d dice) warped(p plane, cell, reach float64) plane {
	dx, dy := newPlane(p.w, p.h), newPlane(p.w, p.h)
	d.addNoise(dx, cell, cell, float32(reach))
	d.addNoise(dy, cell, cell, float32(reach))
	out := newPlane(p.w, p.h)
	for r := range p.h {
		for i := range p.w {
			o := r*p.w + i
			out.v[o] = p.at(float32(i)+dx.v[o], float32(r)+dy.v[o])
		}
	}
	return out
}

// line is one-dimensional noise of about unit spread.
func (d dice) line(n int, cell, fall float64) []float32 { return d.fractal(n, 1, cell, 1, fall).v }

// bits is a quick stream of random bits for per-pixel work (xorshift64*, Marsaglia 2003 and Vigna 2016).
type bits uint64

func (b *bits) next() uint64 {
	x := *b
	x ^= x >> 12
	x ^= x << 25
	x ^= x >> 27
	*b = x
	return uint64(x) * 0x2545F4914F6CDD1D
}

func (d dice) bits() bits { return bits(d.Uint64() | 1) }

// gamma draws from the gamma distribution of unit mean (Marsaglia and Tsang, 2000).
func (d dice) gamma(shape float64) float64 {
	boost := 1.0
	k := shape
	if k < 1 {
		boost = math.Pow(1-d.Float64(), 1/k)
		k++
	}
	a := k - 1.0/3
	c := 1 / math.Sqrt(9*a)
	for {
		x := d.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-d.Float64()) < 0.5*x*x+a-a*v+a*math.Log(v) {
			return a * v * boost / shape
		}
	}
}

const speckleTable = 1 << 14

// grain is one kind of speckle: its values to draw from and how they hang together across and along track.
type grain struct {
	values        []float32
	across, along float32
}

// grain draws the looks, the tail and the correlation of a kind of speckle.
func (d dice) grain() grain {
	looks, power := d.logBetween(0.9, 14), d.between(0.5, 1)
	heavy := 0.0
	if d.chance(0.35) {
		heavy = d.logBetween(1.2, 8) // the K-distribution's shape: gamma times gamma
	}
	g := grain{values: make([]float32, speckleTable)}
	sum := 0.0
	for i := range g.values {
		v := d.gamma(looks)
		if heavy > 0 {
			v *= d.gamma(heavy)
		}
		v = math.Pow(v, power)
		sum += v
		g.values[i] = float32(v)
	}
	for i := range g.values {
		g.values[i] *= float32(speckleTable / sum)
	}
	switch d.pick(4, 3, 2, 2) {
	case 1:
		g.across, g.along = float32(d.between(0, 0.6)), float32(d.between(0, 0.6))
	case 2:
		g.across = float32(d.between(0.2, 0.75))
	case 3:
		g.along = float32(d.between(0.2, 0.75))
	}
	return g
}

// field fills a plane with the speckle: unit mean, each sample leaning on its neighbour by the first-order weights.
func (g grain) field(b bits, w, h int) plane {
	p := newPlane(w, h)
	for i := 0; i < len(p.v); {
		x := b.next()
		for k := 0; k < 4 && i < len(p.v); k, i = k+1, i+1 {
			p.v[i] = g.values[x&(speckleTable-1)]
			x >>= 16
		}
	}
	for r := range h {
		row := p.row(r)
		if c := g.across; c > 0 {
			keep := 1 - c
			for i := 1; i < w; i++ {
				row[i] = row[i]*keep + row[i-1]*c
			}
		}
		if c := g.along; c > 0 && r > 0 {
			keep, up := 1-c, p.row(r-1)
			for i := range row {
				row[i] = row[i]*keep + up[i]*c
			}
		}
	}
	// Leaning on neighbours narrows the spread; most of it is given back.
	gain := float32(math.Sqrt(float64((1 + g.across) / (1 - g.across) * (1 + g.along) / (1 - g.along))))
	if gain > 1 {
		gain = 1 + (gain-1)*0.8
		for i, v := range p.v {
			p.v[i] = max(1+(v-1)*gain, 0.03)
		}
	}
	return p
}
