package rayworld

import (
	"math"
	"slices"
)

// view is how the recording is put on the screen: columns c0..c1 of it scaled into the panel at (x, y) of the picture.
type view struct {
	c0, c1     int
	x, y, w, h int
	fullW      int // the whole picture
	fullH      int
	side       int // -1 both sides, 0 port only, 1 starboard only
}

func (v view) px(col float64) float64 {
	return float64(v.x) + (col-float64(v.c0))*float64(v.w)/float64(v.c1-v.c0)
}

func (v view) py(row float64, rows int) float64 { return float64(v.y) + row*float64(v.h)/float64(rows) }

// column is the recording's column at which slant bin b of a side begins or, on port, ends.
func (sc *scene) column(side int, b float64) float64 {
	if side == 0 {
		return float64(sc.bins) - b
	}
	return float64(sc.bins) + b
}

// newView chooses crop, scale and the bars around the panel.
func (sc *scene) newView() view {
	d := sc.d
	n := sc.bins
	v := view{c0: 0, c1: 2 * n, side: -1}
	switch {
	case d.chance(0.14):
		v.side = d.IntN(2)
		off := int(d.in(0.02, 1.3) * sc.depthM / sc.binM)
		off = min(max(off, 3), n/2)
		if v.side == 0 {
			v.c1 = n - off
		} else {
			v.c0 = n + off
		}
	case d.chance(0.25):
		v.c0, v.c1 = int(d.in(0, 0.7)*float64(n)), 2*n
	case d.chance(0.25):
		v.c1 = 2*n - int(d.in(0, 0.7)*float64(n))
	}
	cols := float64(v.c1 - v.c0)
	sx := d.logIn(0.6, 2.4)
	if n < 350 && d.chance(0.25) {
		sx = d.logIn(2.4, 4.5)
	}
	w := min(max(cols*sx, 440), 1800)
	sy := w / cols * d.logIn(0.5, 2)
	h := min(max(float64(sc.pings)*sy, 240), 1150)
	// A quarter is shown bin by bin and ping by ping, the only way in which neighbouring pixels hardly resemble each other.
	if d.chance(0.3) && cols >= 440 {
		w, h = cols, float64(sc.pings)
	}
	if w*h > 1.3e6 {
		h = 1.3e6 / w
	}
	v.w, v.h = int(w), int(h)
	pad := [4]int{}
	for i := range pad {
		if d.chance(0.35) {
			pad[i] = d.intIn(2, 60)
		}
	}
	v.x, v.y = pad[0], pad[1]
	v.fullW, v.fullH = v.w+pad[0]+pad[2], v.h+pad[1]+pad[3]
	if v.fullW < 500 {
		v.fullW = 500
	}
	return v
}

// taps are the sources and weights of each output pixel along one axis.
type taps struct {
	from []int
	wts  [][]float32
}

// newTaps resamples n inputs to m outputs by method 0 nearest, 1 linear or area, 2 cubic (Catmull-Rom) or area; soft widens the kernel.
func newTaps(n, m, method int, soft float64) taps {
	t := taps{make([]int, m), make([][]float32, m)}
	scale := float64(n) / float64(m)
	width := max(scale, 1) * soft
	for i := range m {
		c := (float64(i)+0.5)*scale - 0.5
		if method == 0 {
			t.from[i], t.wts[i] = min(max(int(math.Round(c)), 0), n-1), []float32{1}
			continue
		}
		reach := width
		if method == 2 {
			reach = 2 * width
		}
		lo, hi := max(int(math.Ceil(c-reach)), 0), min(int(math.Floor(c+reach)), n-1)
		if lo > hi {
			lo = min(max(int(math.Round(c)), 0), n-1)
			hi = lo
		}
		w := make([]float32, hi-lo+1)
		var sum float32
		for j := range w {
			u := math.Abs(float64(lo+j)-c) / width
			k := max(1-u, 0)
			if method == 2 {
				if u < 1 {
					k = 1.5*u*u*u - 2.5*u*u + 1
				} else {
					k = -0.5*u*u*u + 2.5*u*u - 4*u + 2
				}
			}
			w[j] = float32(k)
			sum += w[j]
		}
		if sum < 1e-4 && sum > -1e-4 {
			w, sum, lo = []float32{1}, 1, min(max(int(math.Round(c)), 0), n-1)
		}
		for j := range w {
			w[j] /= sum
		}
		t.from[i], t.wts[i] = lo, w
	}
	return t
}

// resample scales src, stride wide and taken from column c0 on, to as many columns and rows as there are taps.
func resample(src []float32, stride, c0 int, tx, ty taps) []float32 {
	w, h := len(tx.from), len(ty.from)
	out, mid := make([]float32, w*h), make([]float32, stride)
	for y := range h {
		clear(mid)
		for j, k := range ty.wts[y] {
			row := src[(ty.from[y]+j)*stride : (ty.from[y]+j+1)*stride]
			for i, v := range row {
				mid[i] += k * v
			}
		}
		dst := out[y*w : (y+1)*w]
		for x := range dst {
			var s float32
			at := c0 + tx.from[x]
			for j, k := range tx.wts[x] {
				s += k * mid[at+j]
			}
			dst[x] = s
		}
	}
	return out
}

// tone puts amplitudes through the display's curve to 0..1.
func (sc *scene) tone(r *recording, v view) {
	d := sc.d
	var sample []float32
	for range 3000 {
		p, c := d.IntN(r.h), v.c0+d.IntN(v.c1-v.c0)
		b := c - sc.bins
		side := 1
		if b < 0 {
			b, side = -b-1, 0
		}
		if float64(b) > sc.sides[side].first[p] {
			sample = append(sample, r.amp[p*r.w+c])
		}
	}
	slices.Sort(sample)
	median := float32(0.5)
	if len(sample) > 20 {
		median = max(sample[len(sample)/2], 1e-4)
	}
	target := d.in(0.14, 0.66)
	power, knee := d.logIn(0.55, 1.5), d.in(0, 4)
	if d.chance(0.5) {
		knee = 0
	}
	black := min(d.in(-0.08, 0.12), 0.5*target)
	curve := d.in(-0.5, 0.5)
	// A table over amplitude relative to the median, in steps fine enough for eight bits.
	const steps = 4096
	const top = 16.0
	raw := func(a float64) float64 {
		if knee > 0 {
			return math.Log1p(knee*a) / math.Log1p(knee) * target
		}
		return math.Pow(a, power) * target
	}
	var table [steps + 1]float32
	for i := range table {
		a := float64(i) / steps * float64(i) / steps * top
		t := min(max((raw(a)-black)/(1-black), 0), 1)
		t += curve * t * (1 - t) * (2*t - 1) * 1.2
		table[i] = float32(min(max(t, 0), 1))
	}
	for i, a := range r.amp {
		t := math.Sqrt(float64(a/median) / top)
		r.amp[i] = table[min(int(t*steps), steps)]
	}
}
