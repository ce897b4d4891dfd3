package shoalworld

import (
	"math"
	"math/rand/v2"
)

// dice draws everything random in a capture from one stream.
type dice struct{ *rand.Rand }

func newDice(seed int64) dice {
	return dice{rand.New(rand.NewPCG(uint64(seed), 0x5b0a1))}
}

func (d dice) chance(p float64) bool { return d.Float64() < p }

func (d dice) uni(a, b float64) float64 { return a + (b-a)*d.Float64() }

// logUni spreads evenly over the logarithm of a to b.
func (d dice) logUni(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }

// between is a whole number from a to b, both included.
func (d dice) between(a, b int) int { return a + d.IntN(b-a+1) }

// weighted picks an index with odds in proportion to the weights.
func (d dice) weighted(weights ...float64) int {
	sum := 0.0
	for _, w := range weights {
		sum += w
	}
	x := d.Float64() * sum
	for i, w := range weights {
		if x < w {
			return i
		}
		x -= w
	}
	return len(weights) - 1
}

// field is a grid of values, row after row.
type field struct {
	rows, cols int
	v          []float32
}

func newField(rows, cols int) *field { return &field{rows, cols, make([]float32, rows*cols)} }

func (f *field) row(r int) []float32 { return f.v[r*f.cols : (r+1)*f.cols] }

// fractal is noise with mean 0 and deviation 1 whose octaves reach from coarse cells down to fine ones; the higher beta, the smoother.
// A lattice cell is stretch times as long along the rows as across.
func (d dice) fractal(rows, cols int, coarse, fine, beta, stretch float64) *field {
	f := newField(rows, cols)
	for size := coarse; size >= fine; size /= 2 {
		d.octave(f, size, size*stretch, float32(math.Pow(size/coarse, beta/2)))
	}
	var sum, sq float64
	for _, v := range f.v {
		sum += float64(v)
		sq += float64(v) * float64(v)
	}
	n := float64(len(f.v))
	mean := sum / n
	scale := 1 / math.Sqrt(max(sq/n-mean*mean, 1e-9))
	for i, v := range f.v {
		f.v[i] = float32((float64(v) - mean) * scale)
	}
	return f
}

// octave adds one lattice of normal deviates, smoothly filled in between.
func (d dice) octave(f *field, across, along float64, amp float32) {
	lw, lh := int(float64(f.cols)/across)+3, int(float64(f.rows)/along)+3
	lattice := make([]float32, lw*lh)
	for i := range lattice {
		lattice[i] = amp * float32(d.NormFloat64())
	}
	at, share := make([]int, f.cols), make([]float32, f.cols)
	off := d.Float64()
	for c := range at {
		x := float64(c)/across + off
		at[c] = int(x)
		share[c] = ease(x - float64(at[c]))
	}
	line := make([]float32, lw)
	offRow := d.Float64()
	for r := range f.rows {
		y := float64(r)/along + offRow
		k := int(y)
		w := ease(y - float64(k))
		for i := range line {
			line[i] = lattice[k*lw+i]*(1-w) + lattice[(k+1)*lw+i]*w
		}
		row := f.row(r)
		for c := range row {
			row[c] += line[at[c]]*(1-share[c]) + line[at[c]+1]*share[c]
		}
	}
}

func ease(x float64) float32 { return float32(x * x * (3 - 2*x)) }

// wander is a smooth curve of n values with mean about 0 and deviation about 1, whose slowest swing takes period values.
func (d dice) wander(n int, period float64) []float64 {
	f := d.fractal(1, n, period, max(period/16, 3), 2.6, 1)
	out := make([]float64, n)
	for i, v := range f.v {
		out[i] = float64(v)
	}
	return out
}

// gamma is a field of gamma deviates with mean 1 and the variance 1/looks.
func (d dice) gamma(rows, cols int, looks float64) *field {
	f := newField(rows, cols)
	whole := int(looks)
	rest := looks - float64(whole)
	for i := range f.v {
		sum := 0.0
		for range whole {
			sum += d.ExpFloat64()
		}
		if rest > 0 {
			// A weighted exponential in place of the exact fraction of a look: the same mean, nearly the same spread.
			sum += rest * d.ExpFloat64()
		}
		f.v[i] = float32(sum / looks)
	}
	return f
}
