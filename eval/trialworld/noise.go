package trialworld

import (
	"math"
	"math/rand/v2"
)

// smooth1 is a line of about unit spread that turns about every "every" steps.
func smooth1(r *rand.Rand, n int, every float64) []float64 {
	knots := make([]float64, int(float64(n)/every)+4)
	for i := range knots {
		knots[i] = r.NormFloat64()
	}
	out := make([]float64, n)
	for i := range out {
		at := float64(i) / every
		k := int(at)
		t := at - float64(k)
		t = t * t * (3 - 2*t)
		out[i] = knots[k]*(1-t) + knots[k+1]*t
	}
	return out
}

// cloud is a field of rows x cols of zero mean and unit spread whose octaves fall by "fall" each (0.5 is about 1/f^3 in power, 1 about
// 1/f^2, 1.4 about 1/f): a coarse lattice is doubled with the quadratic spline's weights and fresh noise added (pyramid synthesis,
// common practice). largest is the size of the coarsest cell and smallest that of the finest, in cells; rows stretch by "stretch".
func cloud(r *rand.Rand, rows, cols int, largest, smallest int, fall, stretch float64) []float32 {
	steps := max(int(math.Round(math.Log2(float64(largest)/float64(smallest)))), 0)
	fine := float64(smallest)
	hTop, wTop := float64(rows)/stretch/fine, float64(cols)/fine
	h, w := int(math.Ceil(hTop/float64(int(1)<<steps)))+3, int(math.Ceil(wTop/float64(int(1)<<steps)))+3
	grid := make([]float32, h*w)
	addNoise(r, grid, 1)
	amp := 1.0
	for range steps {
		grid, h, w = double(grid, h, w)
		amp *= fall
		addNoise(r, grid, float32(amp))
	}
	return stretchTo(grid, h, w, rows, cols, 1/(stretch*fine), 1/fine)
}

func addNoise(r *rand.Rand, grid []float32, amp float32) {
	for i := 0; i < len(grid); i += 4 {
		bits := r.Uint64()
		for k := i; k < min(i+4, len(grid)); k++ {
			// The sum of two even draws is near enough to a normal one once octaves add up.
			grid[k] += amp * (float32(bits&0xff) + float32(bits>>8&0xff) - 255) / 104
			bits >>= 16
		}
	}
}

// double enlarges a lattice twofold; the outermost cells go.
func double(in []float32, h, w int) (out []float32, outH, outW int) {
	outH, outW = 2*(h-1), 2*(w-1)
	mid := make([]float32, h*outW)
	for y := range h {
		row, to := in[y*w:(y+1)*w], mid[y*outW:(y+1)*outW]
		for x := range w - 1 {
			to[2*x], to[2*x+1] = 0.75*row[x]+0.25*row[x+1], 0.25*row[x]+0.75*row[x+1]
		}
	}
	out = make([]float32, outH*outW)
	for y := range h - 1 {
		a, b := mid[y*outW:(y+1)*outW], mid[(y+1)*outW:(y+2)*outW]
		up, down := out[2*y*outW:(2*y+1)*outW], out[(2*y+1)*outW:(2*y+2)*outW]
		for x := range outW {
			up[x], down[x] = 0.75*a[x]+0.25*b[x], 0.25*a[x]+0.75*b[x]
		}
	}
	return out, outH, outW
}

// stretchTo samples a lattice linearly and brings it to zero mean and unit spread.
func stretchTo(in []float32, h, w, rows, cols int, stepY, stepX float64) []float32 {
	out := make([]float32, rows*cols)
	left, part := make([]int, cols), make([]float32, cols)
	for x := range cols {
		at := float64(x) * stepX
		left[x] = min(int(at), w-2)
		part[x] = float32(at - float64(left[x]))
	}
	var sum, sq float64
	for y := range rows {
		at := float64(y) * stepY
		k := min(int(at), h-2)
		t := float32(at - float64(k))
		a, b := in[k*w:(k+1)*w], in[(k+1)*w:(k+2)*w]
		row := out[y*cols : (y+1)*cols]
		var rs, rq float32
		for x := range row {
			i, f := left[x], part[x]
			v := (a[i]+(a[i+1]-a[i])*f)*(1-t) + (b[i]+(b[i+1]-b[i])*f)*t
			row[x] = v
			rs += v
			rq += v * v
		}
		sum, sq = sum+float64(rs), sq+float64(rq)
	}
	n := float64(len(out))
	mean := sum / n
	sd := math.Sqrt(math.Max(sq/n-mean*mean, 1e-9))
	for i := range out {
		out[i] = (out[i] - float32(mean)) / float32(sd)
	}
	return out
}

// speckler draws factors of unit mean: gamma of so many looks, by quantiles laid out once (Goodman's developed speckle; the K law is a
// gamma of few looks times a gamma of the clutter's shape).
type speckler struct {
	r    *rand.Rand
	wide [1024]float32
	bits uint64
	left int
}

func newSpeckler(r *rand.Rand, looks float64) *speckler {
	s := &speckler{r: r}
	// Wilson and Hilferty's cube turns a normal quantile into a gamma's; below two looks it is close enough for a texture.
	var sum float64
	for i := range s.wide {
		z := math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/float64(len(s.wide))-1)
		v := 1 - 1/(9*looks) + z/(3*math.Sqrt(looks))
		v = math.Max(v, 0)
		s.wide[i] = float32(v*v*v) + 0.003
		sum += float64(s.wide[i])
	}
	for i := range s.wide {
		s.wide[i] *= float32(float64(len(s.wide)) / sum)
	}
	return s
}

func (s *speckler) next() float32 {
	if s.left == 0 {
		s.bits, s.left = s.r.Uint64(), 6
	}
	v := s.wide[s.bits&1023]
	s.bits >>= 10
	s.left--
	return v
}
