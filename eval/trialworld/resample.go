package trialworld

import "math"

// kernel is a resampling weight by distance in source pixels, zero beyond its reach.
type kernel struct {
	reach  float64
	weight func(d float64) float64
}

func linearKernel() kernel {
	return kernel{1, func(d float64) float64 { return math.Max(1-math.Abs(d), 0) }}
}

// cubicKernel is the cubic convolution kernel with parameter -1/2 (Keys).
func cubicKernel() kernel {
	return kernel{2, func(d float64) float64 {
		d = math.Abs(d)
		switch {
		case d < 1:
			return (1.5*d-2.5)*d*d + 1
		case d < 2:
			return ((-0.5*d+2.5)*d-4)*d + 2
		}
		return 0
	}}
}

// splineKernel is the quadratic spline, soft.
func splineKernel() kernel {
	return kernel{1.5, func(d float64) float64 {
		d = math.Abs(d)
		switch {
		case d < 0.5:
			return 0.75 - d*d
		case d < 1.5:
			return 0.5 * (1.5 - d) * (1.5 - d)
		}
		return 0
	}}
}

// boxKernel is the nearest pixel when enlarging and the area mean when reducing.
func boxKernel() kernel {
	return kernel{0.5, func(d float64) float64 {
		if d >= -0.5 && d < 0.5 {
			return 1
		}
		return 0
	}}
}

// taps are the source pixels and weights of each pixel made.
type taps struct {
	first  []int
	weight [][]float32
}

func tapsOf(from, to int, k kernel) taps {
	scale := float64(from) / float64(to)
	wide := math.Max(scale, 1)
	t := taps{make([]int, to), make([][]float32, to)}
	for i := range to {
		mid := (float64(i)+0.5)*scale - 0.5
		lo := max(int(math.Ceil(mid-k.reach*wide-1e-9)), 0)
		hi := min(int(math.Floor(mid+k.reach*wide+1e-9)), from-1)
		var sum float32
		var ws []float32
		for x := lo; x <= hi; x++ {
			v := float32(k.weight((float64(x) - mid) / wide))
			ws = append(ws, v)
			sum += v
		}
		if sum == 0 {
			lo, ws, sum = min(max(int(math.Round(mid)), 0), from-1), []float32{1}, 1
		}
		for x := range ws {
			ws[x] /= sum
		}
		t.first[i], t.weight[i] = lo, ws
	}
	return t
}

// resample brings a plane of h x w to toH x toW with one kernel across and one along.
func resample(in []float32, h, w, toH, toW int, along, across kernel) []float32 {
	tx, ty := tapsOf(w, toW, across), tapsOf(h, toH, along)
	mid := make([]float32, h*toW)
	for y := range h {
		row, to := in[y*w:(y+1)*w], mid[y*toW:(y+1)*toW]
		for x := range to {
			at := tx.first[x]
			var sum float32
			for k, v := range tx.weight[x] {
				sum += v * row[at+k]
			}
			to[x] = sum
		}
	}
	out := make([]float32, toH*toW)
	for y := range toH {
		to := out[y*toW : (y+1)*toW]
		for k, v := range ty.weight[y] {
			row := mid[(ty.first[y]+k)*toW : (ty.first[y]+k+1)*toW]
			for x := range to {
				to[x] += v * row[x]
			}
		}
	}
	return out
}

// blur is a Gaussian of so many pixels each way.
func blur(in []float32, h, w int, sigma float64) []float32 {
	k := kernel{3 * sigma, func(d float64) float64 { return math.Exp(-d * d / (2 * sigma * sigma)) }}
	return resample(in, h, w, h, w, k, k)
}
