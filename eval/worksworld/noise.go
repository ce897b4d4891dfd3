package worksworld

import (
	"math"
	"math/rand/v2"
)

// walk is a smooth random profile of about unit spread; its bends are about step rows long.
func walk(r *rand.Rand, n int, step float64) []float64 {
	knots := make([]float64, int(float64(n)/step)+4)
	for i := range knots {
		knots[i] = r.NormFloat64()
	}
	out := make([]float64, n)
	for i := range out {
		u := float64(i) / step
		k := int(u)
		f := u - float64(k)
		f = f * f * (3 - 2*f)
		out[i] = knots[k]*(1-f) + knots[k+1]*f
	}
	return out
}

// cloud is a 1/f^beta field over rows x cols of zero mean and unit spread. Its longest wave is top columns; fy is how many rows a wave
// takes for each column of it.
func cloud(r *rand.Rand, rows, cols int, top, beta, fy float64) []float32 {
	out := make([]float32, rows*cols)
	xi, xf := make([]int, cols), make([]float32, cols)
	line := make([]float32, cols+4)
	for wave := top; wave >= 2; wave /= 2 {
		amp := float32(math.Pow(wave/top, beta))
		wy := max(wave*fy, 1)
		lw, lh := int(float64(cols)/wave)+3, int(float64(rows)/wy)+3
		lat := make([]float32, lw*lh)
		for i := range lat {
			lat[i] = float32(r.NormFloat64()) * amp
		}
		ox, oy := r.Float64(), r.Float64()
		for x := range xi {
			xi[x], xf[x] = cellOf(float64(x)/wave + ox)
		}
		for y := range rows {
			k, f := cellOf(float64(y)/wy + oy)
			upper, low := lat[k*lw:(k+1)*lw], lat[(k+1)*lw:(k+2)*lw]
			line = line[:lw]
			for i := range line {
				line[i] = upper[i] + (low[i]-upper[i])*f
			}
			row := out[y*cols : (y+1)*cols]
			for x := range row {
				a := line[xi[x]]
				row[x] += a + (line[xi[x]+1]-a)*xf[x]
			}
			line = line[:cap(line)]
		}
	}
	unitSpread(out)
	return out
}

func cellOf(u float64) (int, float32) {
	k := int(u)
	f := float32(u - float64(k))
	return k, f * f * (3 - 2*f)
}

func unitSpread(f []float32) {
	var s, q float64
	for _, v := range f {
		s += float64(v)
		q += float64(v) * float64(v)
	}
	n := float64(len(f))
	mean := s / n
	k := float32(1 / math.Sqrt(max(q/n-mean*mean, 1e-12)))
	for i := range f {
		f[i] = (f[i] - float32(mean)) * k
	}
}

// gamma draws from a gamma distribution of unit mean; shape is the number of looks.
func gamma(r *rand.Rand, shape float64) float64 {
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := r.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if u := r.Float64(); u < 1-0.0331*x*x*x*x || math.Log(u) < 0.5*x*x+d*(1-v+math.Log(v)) {
			return d * v / shape
		}
	}
}

// speckle is a field of unit mean for a record of rows x cols: looks echoes a pixel, alike along track by memory (0 to 1), spikier where
// clump > 0.
func speckle(r *rand.Rand, rows, cols int, looks, memory, clump float64) []float32 {
	out := make([]float32, rows*cols)
	for i := range out {
		out[i] = float32(gamma(r, looks))
	}
	if clump > 0 {
		tex := cloud(r, rows, cols, 4, 0.3, 1)
		k := clump * clump / 2
		for i, v := range tex {
			out[i] *= float32(math.Exp(clump*float64(v) - k))
		}
	}
	m := float32(memory)
	for i := cols; m > 0 && i < len(out); i++ {
		out[i] = out[i-cols]*m + out[i]*(1-m)
	}
	return out
}

// blur smooths rows x cols in place with three taps along each axis, rounds times.
func blur(f []float32, rows, cols, rounds int) {
	tmp := make([]float32, len(f))
	for range rounds {
		for y := range rows {
			row, to := f[y*cols:(y+1)*cols], tmp[y*cols:(y+1)*cols]
			for x := range row {
				to[x] = 0.25*row[max(x-1, 0)] + 0.5*row[x] + 0.25*row[min(x+1, cols-1)]
			}
		}
		for y := range rows {
			up, at, low := tmp[max(y-1, 0)*cols:], tmp[y*cols:], tmp[min(y+1, rows-1)*cols:]
			for x := range cols {
				f[y*cols+x] = 0.25*up[x] + 0.5*at[x] + 0.25*low[x]
			}
		}
	}
}
