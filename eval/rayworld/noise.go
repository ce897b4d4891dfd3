package rayworld

import (
	"math"
	"math/rand/v2"
)

// dice wraps the generator with the draws the package needs.
type dice struct{ *rand.Rand }

func newDice(seed int64) dice {
	return dice{rand.New(rand.NewPCG(uint64(seed), 0x7261790077a3c51d))}
}

func (d dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }

// logIn draws between lo and hi evenly in the logarithm.
func (d dice) logIn(lo, hi float64) float64 { return lo * math.Exp(d.Float64()*math.Log(hi/lo)) }

func (d dice) intIn(lo, hi int) int { return lo + d.IntN(hi-lo+1) }

func (d dice) chance(p float64) bool { return d.Float64() < p }

func (d dice) sign() float64 {
	if d.chance(0.5) {
		return -1
	}
	return 1
}

// splineSteps is how finely the weights between two lattice points are kept.
const splineSteps = 128

// splineWeights are the four weights of a uniform cubic B-spline at splineSteps places between two knots.
func splineWeights() [splineSteps][4]float32 {
	var w [splineSteps][4]float32
	for i := range w {
		t := (float64(i) + 0.5) / splineSteps
		w[i] = [4]float32{
			float32((1 - t) * (1 - t) * (1 - t) / 6), float32((3*t*t*t - 6*t*t + 4) / 6),
			float32((-3*t*t*t + 3*t*t + 3*t + 1) / 6), float32(t * t * t / 6),
		}
	}
	return w
}

// octave is one lattice of random numbers laid over the ground; it spans the whole scene, so nothing repeats.
type octave struct {
	lattice        []float32
	nx, ny         int
	stepX, stepY   float64 // lattice spacing along and across track, metres
	shear, y0, amp float64
}

// field is a sum of octaves: noise with a falling spectrum.
type field struct {
	octaves []octave
	weights [splineSteps][4]float32
	row     []float32
}

// fieldShape tells how rough a field is.
type fieldShape struct {
	longM, shortM float64 // longest and shortest wavelength, metres
	slope         float64 // amplitude goes with wavelength to this power
	stretch       float64 // along-track over across-track scale
	shear         float64
}

// newField lays lattices over lenM along track and -halfM..halfM across; its standard deviation is about 1.
func newField(d dice, lenM, halfM float64, s fieldShape) *field {
	f := &field{weights: splineWeights()}
	var power float64
	for l := s.longM; l >= s.shortM && len(f.octaves) < 9; l /= 2 {
		sx, sy := l/2*math.Sqrt(s.stretch), l/2/math.Sqrt(s.stretch)
		reach := halfM + math.Abs(s.shear)*lenM
		o := octave{
			stepX: sx, stepY: sy, shear: s.shear, y0: -reach - sy*d.Float64(), amp: math.Pow(l/s.longM, s.slope),
			nx: int(lenM/sx) + 6, ny: int(2*reach/sy) + 8,
		}
		if o.nx*o.ny > 3_000_000 {
			break
		}
		o.lattice = make([]float32, o.nx*o.ny)
		for i := range o.lattice {
			o.lattice[i] = float32(d.Float64()*2 - 1)
		}
		power += o.amp * o.amp
		f.octaves = append(f.octaves, o)
	}
	// A uniform draw has variance 1/3, and the spline keeps 0.23 of it in two dimensions.
	norm := 1 / math.Sqrt(power/3*0.23+1e-12)
	for i := range f.octaves {
		f.octaves[i].amp *= norm
	}
	return f
}

// addRow adds the field times scale at along-track place x to dst, whose cells lie at y, y+step, … metres across.
func (f *field) addRow(dst []float32, x, y, step, scale float64) {
	for i := range f.octaves {
		o := &f.octaves[i]
		u := x / o.stepX
		iu := int(u)
		w := &f.weights[int((u-float64(iu))*splineSteps)]
		if cap(f.row) < o.ny {
			f.row = make([]float32, o.ny*2)
		}
		row := f.row[:o.ny]
		iu = min(iu, o.nx-4)
		a, b := o.lattice[iu*o.ny:(iu+1)*o.ny], o.lattice[(iu+1)*o.ny:(iu+2)*o.ny]
		c, e := o.lattice[(iu+2)*o.ny:(iu+3)*o.ny], o.lattice[(iu+3)*o.ny:(iu+4)*o.ny]
		k := float32(o.amp * scale)
		w0, w1, w2, w3 := w[0]*k, w[1]*k, w[2]*k, w[3]*k
		for j := range row {
			row[j] = w0*a[j] + w1*b[j] + w2*c[j] + w3*e[j]
		}
		v := float32((y + o.shear*x - o.y0) / o.stepY)
		dv := float32(step / o.stepY)
		for j := range dst {
			iv := int(v)
			if iv < 0 || iv > o.ny-4 {
				v += dv
				continue
			}
			g := &f.weights[int((v-float32(iv))*splineSteps)&(splineSteps-1)]
			r := row[iv : iv+4 : iv+4]
			dst[j] += g[0]*r[0] + g[1]*r[1] + g[2]*r[2] + g[3]*r[3]
			v += dv
		}
	}
}

// gammaTable holds draws of a gamma distribution of mean 1, to be picked from at random.
type gammaTable []float32

// newGammaTable fills 8192 draws of the given shape (Marsaglia and Tsang 2000, with the usual boost below shape 1).
func newGammaTable(d dice, shape float64) gammaTable {
	t := make(gammaTable, 8192)
	k, boost := shape, false
	if k < 1 {
		k, boost = k+1, true
	}
	a := k - 1.0/3
	c := 1 / math.Sqrt(9*a)
	for i := 0; i < len(t); {
		x := d.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(d.Float64()+1e-300) >= x*x/2+a-a*v+a*math.Log(v) {
			continue
		}
		g := a * v
		if boost {
			g *= math.Pow(d.Float64(), 1/shape)
		}
		t[i] = float32(g / shape)
		i++
	}
	return t
}

// fill puts random picks into dst.
func (t gammaTable) fill(d dice, dst []float32) {
	var bits uint64
	for i := range dst {
		if i&3 == 0 {
			bits = d.Uint64()
		}
		dst[i] = t[bits&8191]
		bits >>= 16
	}
}
