package screenworld

import (
	"math"
	"math/rand/v2"
	"sort"
)

// grid is a field of numbers, row by row.
type grid struct {
	w, h int
	v    []float32
}

func newGrid(w, h int) *grid { return &grid{w, h, make([]float32, w*h)} }

func (g *grid) row(y int) []float32 { return g.v[y*g.w : (y+1)*g.w] }

// kernel is a window for resampling: a weight for a distance in source samples, zero from reach on.
type kernel struct {
	reach  float64
	weight func(d float64) float64
}

func boxWindow(float64) float64 { return 1 }

func tentWindow(d float64) float64 { return 1 - d }

func splineWindow(d float64) float64 {
	if d < 1 {
		return 2.0/3 - d*d + d*d*d/2
	}
	return (2 - d) * (2 - d) * (2 - d) / 6
}

func sharpWindow(d float64) float64 {
	if d < 1 {
		return 1.5*d*d*d - 2.5*d*d + 1
	}
	return -0.5*d*d*d + 2.5*d*d - 4*d + 2
}

var (
	boxKernel    = kernel{0.5, boxWindow}
	tentKernel   = kernel{1, tentWindow}
	splineKernel = kernel{2, splineWindow}
	sharpKernel  = kernel{2, sharpWindow}
)

// tap is what one output sample is made of: weights of the source samples from a first one on.
type tap struct {
	from    int
	weights []float32
}

// taps shares out the first span source samples, of n there are, among so many output samples.
func taps(span float64, n, out int, k kernel) []tap {
	scale := span / float64(out)
	widen := math.Max(scale, 1)
	ts := make([]tap, out)
	for i := range ts {
		mid := (float64(i)+0.5)*scale - 0.5
		lo := max(int(math.Ceil(mid-k.reach*widen)), 0)
		hi := min(int(math.Floor(mid+k.reach*widen)), n-1)
		if lo > hi {
			lo = min(max(int(math.Round(mid)), 0), n-1)
			hi = lo
		}
		t := tap{lo, make([]float32, hi-lo+1)}
		sum := 0.0
		for j := range t.weights {
			f := k.weight(math.Min(math.Abs(float64(lo+j)-mid)/widen, k.reach))
			t.weights[j] = float32(f)
			sum += f
		}
		for j := range t.weights {
			if math.Abs(sum) < 1e-6 {
				t.weights[j] = 1 / float32(len(t.weights))
			} else {
				t.weights[j] /= float32(sum)
			}
		}
		ts[i] = t
	}
	return ts
}

// resampled stretches the first spanX columns of a grid, and all its rows, to w by h samples.
func (g *grid) resampled(spanX float64, w, h int, kx, ky kernel) *grid {
	across := newGrid(w, g.h)
	tx := taps(spanX, g.w, w, kx)
	for y := range g.h {
		src, dst := g.row(y), across.row(y)
		for x, t := range tx {
			sum := float32(0)
			for j, f := range t.weights {
				sum += f * src[t.from+j]
			}
			dst[x] = sum
		}
	}
	out := newGrid(w, h)
	for y, t := range taps(float64(g.h), g.h, h, ky) {
		dst := out.row(y)
		for j, f := range t.weights {
			for x, v := range across.row(t.from + j) {
				dst[x] += f * v
			}
		}
	}
	return out
}

// fractal is a field of mean 0 and standard deviation 1 whose power falls with frequency to the power b. Its longest waves are longest
// samples long, and stretch makes it longer down the rows.
func fractal(r *rand.Rand, w, h int, b, longest, stretch float64) *grid {
	out := newGrid(w, h)
	for length := longest; length >= 2; length /= 2 {
		lattice := newGrid(max(int(float64(w)/length), 1)+2, max(int(float64(h)/(length*stretch)), 1)+2)
		amp := math.Pow(length, (b-1)/2)
		for i := range lattice.v {
			lattice.v[i] = float32(r.NormFloat64() * amp)
		}
		octave := lattice.resampled(float64(lattice.w), w, h, splineKernel, splineKernel)
		for i, v := range octave.v {
			out.v[i] += v
		}
	}
	out.standardise()
	return out
}

func (g *grid) standardise() {
	var sum, sq float64
	for _, v := range g.v {
		sum += float64(v)
		sq += float64(v) * float64(v)
	}
	n := float64(len(g.v))
	mean := sum / n
	sd := math.Sqrt(math.Max(sq/n-mean*mean, 1e-12))
	for i, v := range g.v {
		g.v[i] = float32((float64(v) - mean) / sd)
	}
}

// quantiles is a table of draws of a gamma law of mean 1, sorted, to be drawn from by an even number.
type quantiles [4096]float32

// gammaTable tabulates the gamma law of so many looks by drawing from it (Marsaglia's and Tsang's squeeze).
func gammaTable(r *rand.Rand, looks float64) *quantiles {
	shape := math.Max(looks, 1)
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	var t quantiles
	sum := 0.0
	for i := range t {
		for {
			n := r.NormFloat64()
			v := 1 + c*n
			v = v * v * v
			if v > 0 && math.Log(1-r.Float64()) < n*n/2+d-d*v+d*math.Log(v) {
				t[i] = float32(d * v)
				break
			}
		}
		sum += float64(t[i])
	}
	sort.Slice(t[:], func(i, j int) bool { return t[i] < t[j] })
	for i := range t {
		t[i] *= float32(float64(len(t)) / sum)
	}
	return &t
}

func (q *quantiles) draw(bits uint64) float32 { return q[bits&4095] }
