package scene

import (
	"math"
	"math/rand/v2"
)

// Streams of random numbers: each use has its own, so that changing one flaw leaves the others as they were.
const (
	streamTrack = iota + 1
	streamPatch
	streamWeed
	streamSpeckle
	streamFlaws
	streamScreen
	streamRandom
	streamSurface
	streamBed
	streamGrain
	streamRecord
	streamWater
	streamQuay
	streamWide
	streamStray
	streamShells
)

func newRand(seed int64, stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(uint64(seed), stream*0x9e3779b97f4a7c15))
}

// maxLooks keeps gammaMean1's product of uniforms within floating point.
const maxLooks = 256

// gammaMean1 draws a gamma variate of mean 1 and shape looks: intensity speckle averaged over that many looks.
func gammaMean1(src *rand.PCG, looks int) float64 {
	p := 1.0
	for range looks {
		// 53 random bits, shifted off zero so that the logarithm stays finite.
		p *= (float64(src.Uint64()>>11) + 0.5) * 0x1p-53
	}
	return -math.Log(p) / float64(looks)
}

// hash01 maps a lattice point to a number in [0, 1).
func hash01(seed uint64, i, j int) float64 {
	h := seed ^ uint64(int64(i))*0x9e3779b97f4a7c15 ^ uint64(int64(j))*0xc2b2ae3d27d4eb4f
	h ^= h >> 29
	h *= 0xbf58476d1ce4e5b9
	h ^= h >> 32
	h *= 0x94d049bb133111eb
	h ^= h >> 29
	return float64(h>>11) * 0x1p-53
}

// smoothNoise is value noise of roughly zero mean and unit variance on a square lattice. It is read along a line of
// constant y, which line prepares.
type smoothNoise struct {
	seed uint64
	cell float64
	i0   int
	row  []float64
}

// line prepares the noise along y for x in [x0, x1].
func (n *smoothNoise) line(y, x0, x1 float64) {
	j := int(math.Floor(y / n.cell))
	f := fade(y/n.cell - float64(j))
	n.i0 = int(math.Floor(x0 / n.cell))
	count := int(math.Floor(x1/n.cell)) - n.i0 + 3
	n.row = n.row[:0]
	for i := range count {
		a, b := hash01(n.seed, n.i0+i, j), hash01(n.seed, n.i0+i, j+1)
		// A uniform lattice value has variance 1/12 and interpolation takes about half of it.
		n.row = append(n.row, (a+(b-a)*f-0.5)*4.6)
	}
}

// at reads the prepared line; x must lie in the range given to line.
func (n *smoothNoise) at(x float64) float64 {
	u := x/n.cell - float64(n.i0)
	i := int(u)
	f := fade(u - float64(i))
	return n.row[i] + (n.row[i+1]-n.row[i])*f
}

// fractal is two octaves of smooth noise on lattices sheared against each other, so that the lattice does not show.
type fractal struct {
	coarse, fine smoothNoise
	y            float64
}

const shear = 0.6

func newFractal(seed uint64, cell float64) fractal {
	return fractal{coarse: smoothNoise{seed: seed, cell: cell}, fine: smoothNoise{seed: seed + 1, cell: 0.43 * cell}}
}

// line prepares the noise along y for x in [x0, x1].
func (f *fractal) line(y, x0, x1 float64) {
	f.y = y
	f.coarse.line(y, x0+shear*y, x1+shear*y)
	f.fine.line(y, x0-shear*y, x1-shear*y)
}

// at reads the prepared line; its variance is about 1.
func (f *fractal) at(x float64) float64 {
	return 0.85*f.coarse.at(x+shear*f.y) + 0.5*f.fine.at(x-shear*f.y)
}

func fade(t float64) float64 { return t * t * (3 - 2*t) }
