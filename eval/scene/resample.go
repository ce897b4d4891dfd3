package scene

import "math"

// taps are the weights by which one target sample is made of source samples from first on.
type taps struct {
	first int
	w     []float32
}

// kernelTaps works out how n samples are made of m. All kernels but area look at the samples around the target's centre only, as
// quick displays do, so that shrinking by them aliases.
func kernelTaps(k Kernel, m, n int) []taps {
	out := make([]taps, n)
	step := float64(m) / float64(n)
	for i := range out {
		centre := (float64(i)+0.5)*step - 0.5
		switch k {
		case KernelArea:
			a, b := float64(i)*step, float64(i+1)*step
			if step < 1 {
				// Growing: the mean over a target pixel's own stretch.
				b = max(b, a+1e-9)
			}
			i0, i1 := int(a), min(m-1, int(math.Ceil(b)-1))
			i1 = max(i0, i1)
			t := taps{first: i0}
			for j := i0; j <= i1; j++ {
				t.w = append(t.w, float32((min(b, float64(j+1))-max(a, float64(j)))/(b-a)))
			}
			out[i] = t
		case KernelNearest:
			out[i] = taps{first: min(m-1, int((float64(i)+0.5)*step)), w: []float32{1}}
		case KernelLinear:
			j := math.Floor(centre)
			f := float32(centre - j)
			out[i] = clampTaps(int(j), []float32{1 - f, f}, m)
		default:
			j := math.Floor(centre)
			f := centre - j
			out[i] = clampTaps(int(j)-1, []float32{keys(1 + f), keys(f), keys(1 - f), keys(2 - f)}, m)
		}
	}
	return out
}

// keys is the cubic convolution kernel with a = -0.75. (R.G. Keys, IEEE Trans. Acoust. Speech Signal Process. 29, 1153, 1981.)
func keys(d float64) float32 {
	const a = -0.75
	switch d = math.Abs(d); {
	case d <= 1:
		return float32(((a+2)*d-(a+3))*d*d + 1)
	case d < 2:
		return float32(((a*d-5*a)*d+8*a)*d - 4*a)
	}
	return 0
}

// clampTaps moves weight that falls outside [0, m) onto the edge samples.
func clampTaps(first int, w []float32, m int) taps {
	lo, hi := min(max(first, 0), m-1), min(max(first+len(w)-1, 0), m-1)
	out := taps{first: lo, w: make([]float32, hi-lo+1)}
	for i, v := range w {
		out.w[min(max(first+i, 0), m-1)-lo] += v
	}
	return out
}

// gaussTaps are the weights of a Gaussian of scale sigma over n samples, its ends clamped.
func gaussTaps(sigma float64, n int) []taps {
	r := int(math.Ceil(3 * sigma))
	w := make([]float32, 2*r+1)
	sum := float32(0)
	for i := range w {
		w[i] = float32(math.Exp(-float64((i-r)*(i-r)) / (2 * sigma * sigma)))
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	out := make([]taps, n)
	for i := range out {
		out[i] = clampTaps(i-r, w, n)
	}
	return out
}

// plane is a picture of one channel, row-major.
type plane struct {
	w, h int
	v    []float32
}

// resample applies one axis's taps after the other's.
func (p *plane) resample(tx, ty []taps) *plane {
	mid := &plane{len(tx), p.h, make([]float32, len(tx)*p.h)}
	for y := range p.h {
		src, dst := p.v[y*p.w:(y+1)*p.w], mid.v[y*mid.w:(y+1)*mid.w]
		for x := range dst {
			t := &tx[x]
			sum := float32(0)
			for i, s := range src[t.first : t.first+len(t.w)] {
				sum += t.w[i] * s
			}
			dst[x] = sum
		}
	}
	out := &plane{len(tx), len(ty), make([]float32, len(tx)*len(ty))}
	for y := range out.h {
		dst := out.v[y*out.w : (y+1)*out.w]
		for i, w := range ty[y].w {
			src := mid.v[(ty[y].first+i)*mid.w : (ty[y].first+i+1)*mid.w]
			for x, s := range src {
				dst[x] += w * s
			}
		}
	}
	return out
}

// blur smooths by a Gaussian of scale sigma samples; nothing below a quarter of a sample.
func (p *plane) blur(sigma float64) *plane {
	if sigma < 0.25 {
		return p
	}
	return p.resample(gaussTaps(sigma, p.w), gaussTaps(sigma, p.h))
}
