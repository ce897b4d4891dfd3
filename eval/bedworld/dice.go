package bedworld

import (
	"math"
	"math/rand/v2"
)

// dice draws what the world needs from one stream.
type dice struct{ *rand.Rand }

// between draws evenly from a to b.
func (d dice) between(a, b float64) float64 { return a + (b-a)*d.Float64() }

// spread draws from a to b, evenly in the logarithm.
func (d dice) spread(a, b float64) float64 { return a * math.Pow(b/a, d.Float64()) }

// whole draws a whole number from a to b, both included.
func (d dice) whole(a, b int) int { return a + d.IntN(max(b-a, 0)+1) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

// gamma draws a gamma variate of mean 1 and a whole shape: the strength of so many averaged looks.
func (d dice) gamma(shape int) float32 {
	p := 1.0
	for range shape {
		p *= 1 - d.Float64()
	}
	return float32(-math.Log(p) / float64(shape))
}

// field is rows × n values of smooth noise of mean 0 and deviation near 1: octaves of lattice noise from cells of cellR rows × cellI
// samples down to two pixels, each finer one weaker by the factor fade.
func (d dice) field(rows, n int, cellR, cellI, fade float64) []float32 {
	out := make([]float32, rows*n)
	weight, total := 1.0, 0.0
	for ; cellR >= 2 && cellI >= 2; cellR, cellI, weight = cellR/2, cellI/2, weight*fade {
		d.octave(out, n, cellR, cellI, float32(weight))
		total += weight * weight
	}
	// Interpolated lattice noise keeps about half of its variance.
	scale := float32(1.5 / math.Sqrt(max(total, 1e-9)))
	for k := range out {
		out[k] *= scale
	}
	return out
}

// octave adds lattice noise of one cell size.
func (d dice) octave(out []float32, n int, cellR, cellI float64, weight float32) {
	rows := len(out) / n
	wide, high := int(float64(n)/cellI)+3, int(float64(rows)/cellR)+3
	lattice := make([]float32, wide*high)
	for k := range lattice {
		lattice[k] = weight * float32(d.NormFloat64())
	}
	shiftR, shiftI := d.Float64(), d.Float64()
	line := make([]float32, wide)
	for r := range rows {
		at := float64(r)/cellR + shiftR
		k := int(at)
		f := ease(float32(at - float64(k)))
		up, down := lattice[k*wide:(k+1)*wide], lattice[(k+1)*wide:(k+2)*wide]
		for j := range line {
			line[j] = up[j] + f*(down[j]-up[j])
		}
		row := out[r*n : (r+1)*n]
		step, x := float32(1/cellI), float32(shiftI)
		for i := range row {
			j := int(x)
			row[i] += line[j] + ease(x-float32(j))*(line[j+1]-line[j])
			x += step
		}
	}
}

// wave is count values of smooth noise with bends about cell apart.
func (d dice) wave(count int, cell float64) []float32 { return d.field(count, 1, max(cell, 2), 8, 0.5) }

func ease(f float32) float32 { return f * f * (3 - 2*f) }
