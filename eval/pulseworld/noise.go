package pulseworld

import (
	"math"
	"math/rand/v2"
)

// dice draws a capture's random numbers. The seed of the generator is all that a capture depends on.
type dice struct{ *rand.Rand }

func newDice(seed int64) *dice {
	return &dice{rand.New(rand.NewPCG(uint64(seed), 0x9d5c2a7be1306f41))}
}

func (d *dice) uni(a, b float64) float64 { return a + (b-a)*d.Float64() }

// logu is uniform in the logarithm, for lengths and strengths that span decades.
func (d *dice) logu(a, b float64) float64 { return a * math.Exp(d.Float64()*math.Log(b/a)) }

func (d *dice) chance(p float64) bool { return d.Float64() < p }

func (d *dice) int(a, b int) int { return a + d.IntN(b-a+1) }

// spray is a xorshift generator (Marsaglia 2003) with a table of normal deviates: speckle takes two deviates a cell, and
// a shared table looked up at random is a tenth of the cost of drawing them.
type spray struct {
	state uint64
	tab   []float32
}

const sprayBits = 15

func newSpray(d *dice) *spray {
	s := &spray{state: d.Uint64() | 1, tab: make([]float32, 1<<sprayBits)}
	for i := range s.tab {
		s.tab[i] = float32(d.NormFloat64())
	}
	return s
}

func (s *spray) next() uint64 {
	s.state ^= s.state << 13
	s.state ^= s.state >> 7
	s.state ^= s.state << 17
	return s.state
}

// pair returns two independent standard normal deviates.
func (s *spray) pair() (re, im float32) {
	v := s.next()
	return s.tab[(v>>20)&(1<<sprayBits-1)], s.tab[(v>>41)&(1<<sprayBits-1)]
}

// unit is uniform in [0, 1).
func (s *spray) unit() float32 { return float32(s.next()>>40) / (1 << 24) }

// lattice is a tile of fractal noise that repeats without a seam: sums of smoothed random grids whose amplitude falls with the
// wave number (common practice, no source). Its values have zero mean and unit spread.
type lattice struct{ v []float32 }

const (
	latBits = 9
	latSize = 1 << latBits
	latMask = latSize - 1
)

// newLattice makes a tile; fall is the factor of amplitude from one octave to the next finer one.
func newLattice(d *dice, first, last int, fall float64) *lattice {
	l := &lattice{v: make([]float32, latSize*latSize)}
	amp := 1.0
	for o := first; o <= last; o++ {
		n := 1 << o
		grid := make([]float32, n*n)
		for i := range grid {
			grid[i] = float32(d.NormFloat64() * amp)
		}
		l.addOctave(grid, n)
		amp *= fall
	}
	var sum, sq float64
	for _, v := range l.v {
		sum += float64(v)
		sq += float64(v) * float64(v)
	}
	mean := sum / float64(len(l.v))
	scale := 1 / math.Sqrt(sq/float64(len(l.v))-mean*mean+1e-12)
	for i, v := range l.v {
		l.v[i] = float32((float64(v) - mean) * scale)
	}
	return l
}

func (l *lattice) addOctave(grid []float32, n int) {
	step := latSize / n
	w := make([]float32, step)
	for i := range w {
		t := float32(i) / float32(step)
		w[i] = t * t * (3 - 2*t)
	}
	row := make([]float32, n)
	for y := range latSize {
		g0, t := y/step, w[y%step]
		a, b := grid[g0*n:(g0+1)*n], grid[((g0+1)%n)*n:((g0+1)%n+1)*n]
		for i := range row {
			row[i] = a[i] + (b[i]-a[i])*t
		}
		out := l.v[y*latSize : (y+1)*latSize]
		for i := range n {
			p, q := row[i], row[(i+1)%n]
			for k, u := range w {
				out[i*step+k] += p + (q-p)*u
			}
		}
	}
}

// at reads the tile between its nodes; x and y count nodes.
func (l *lattice) at(x, y float32) float32 {
	fx, fy := floor32(x), floor32(y)
	tx, ty := x-float32(fx), y-float32(fy)
	x0, y0 := fx&latMask, (fy&latMask)<<latBits
	x1, y1 := (fx+1)&latMask, ((fy+1)&latMask)<<latBits
	a := l.v[y0+x0] + (l.v[y0+x1]-l.v[y0+x0])*tx
	b := l.v[y1+x0] + (l.v[y1+x1]-l.v[y1+x0])*tx
	return a + (b-a)*ty
}

func floor32(x float32) int {
	i := int(x)
	if float32(i) > x {
		i--
	}
	return i
}

// wander is a smooth random course of n values, zero mean and about unit spread, that turns every few of its knots.
func wander(d *dice, n int, knot float64) []float64 {
	m := int(float64(n)/knot) + 4
	k := make([]float64, m)
	for i := range k {
		k[i] = d.NormFloat64()
	}
	out := make([]float64, n)
	shift := d.Float64()
	for i := range out {
		p := float64(i)/knot + shift
		j := int(p)
		t := p - float64(j)
		t = t * t * (3 - 2*t)
		out[i] = k[j] + (k[j+1]-k[j])*t
	}
	return out
}
