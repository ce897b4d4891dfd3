package roughworld

import (
	"math"
	"math/rand/v2"
)

// field is a grid of numbers, row after row.
type field struct {
	w, h int
	v    []float32
}

func newField(w, h int) *field { return &field{w, h, make([]float32, w*h)} }

func (f *field) row(y int) []float32 { return f.v[y*f.w : (y+1)*f.w] }

// between draws evenly from lo to hi.
func between(rng *rand.Rand, lo, hi float64) float64 { return lo + rng.Float64()*(hi-lo) }

// spread draws evenly in the logarithm from lo to hi.
func spread(rng *rand.Rand, lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }

func chance(rng *rand.Rand, p float64) bool { return rng.Float64() < p }

// addLattice adds noise of standard normal knots, cw by ch cells apart, joined smoothly and times amp.
func (f *field) addLattice(rng *rand.Rand, cw, ch, amp float64) {
	kw, kh := int(float64(f.w)/cw)+3, int(float64(f.h)/ch)+3
	knots := make([]float32, kw*kh)
	for i := range knots {
		knots[i] = float32(rng.NormFloat64() * amp)
	}
	ox, oy := rng.Float64(), rng.Float64()
	ease := func(t float64) float32 { return float32(t * t * (3 - 2*t)) }
	at, part := make([]int, f.w), make([]float32, f.w)
	for x := range at {
		u := float64(x)/cw + ox
		at[x] = int(u)
		part[x] = ease(u - math.Floor(u))
	}
	line := make([]float32, kw)
	for y := range f.h {
		u := float64(y)/ch + oy
		k, t := int(u), ease(u-math.Floor(u))
		for i := range line {
			a, b := knots[k*kw+i], knots[(k+1)*kw+i]
			line[i] = a + (b-a)*t
		}
		row := f.row(y)
		for x := range row {
			i := at[x]
			row[x] += line[i] + (line[i+1]-line[i])*part[x]
		}
	}
}

// fractal is noise whose octaves from long down to short cells grow weaker by the power b of their length; aspect is how much longer it is
// along track. Its knots add up to a spread of about one.
func fractal(rng *rand.Rand, w, h int, long, short, b, aspect float64) *field {
	f := newField(w, h)
	sum := 0.0
	for l := long; l >= short; l /= 2 {
		sum += math.Pow(l/long, 2*b)
	}
	for l := long; l >= short; l /= 2 {
		f.addLattice(rng, l, max(1, l*aspect), math.Pow(l/long, b)/math.Sqrt(sum))
	}
	return f
}

// gradual is t between lo and hi as 0 to 1, eased.
func gradual(t, lo, hi float64) float64 {
	t = min(max((t-lo)/(hi-lo), 0), 1)
	return t * t * (3 - 2*t)
}
