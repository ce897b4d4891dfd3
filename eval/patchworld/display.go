package patchworld

import (
	"image/color"
	"math"
	"slices"

	"shadowgap/detect"
)

// expose turns linear strength into brightness 0 to 1 by a random curve that puts the middle of the bottom somewhere drawn.
func expose(d dice, p plane, middle float32) {
	mid, gamma := d.logBetween(0.11, 0.6), d.between(0.35, 1.25)
	black, kind := d.between(-0.1, 0.45)*mid, d.pick(4, 3, 3)
	bend := d.logBetween(0.5, 30)
	curve := make([]float32, 4096) // over the square root of strength, up to 36 times the middle
	for i := range curve {
		root := float64(i) / float64(len(curve)-1) * 6
		v := root * root
		var y float64
		switch kind {
		case 0:
			y = mid * math.Pow(v, gamma)
		case 1:
			y = mid * math.Log1p(bend*v) / math.Log1p(bend)
		default:
			u := math.Pow(v, gamma*1.3)
			y = u / (u + (1-mid)/mid)
		}
		curve[i] = float32(min(max((y-black)/(1-black), 0), 1))
	}
	top := float32(len(curve) - 1)
	for i, v := range p.v {
		at := min(float32(math.Sqrt(float64(max(v, 0)/middle)))*top/6, top)
		p.v[i] = curve[int(at)]
	}
}

// middle is the median strength of the bottom, of every so manyth value.
func (l layout) middle(p plane, sides []*side) float32 {
	var some []float32
	for _, s := range sides {
		for r := 0; r < s.h; r += 5 {
			for i := int(s.first[r]) + 3 + r%11; i < s.w; i += 11 {
				x := int(l.nadir) + i
				if s.name == detect.Port {
					x = int(l.nadir) - 1 - i
				}
				if x >= 0 && x < p.w {
					some = append(some, p.v[r*p.w+x])
				}
			}
		}
	}
	if len(some) == 0 {
		return 1
	}
	slices.Sort(some)
	return max(some[len(some)/2], 1e-4)
}

// taps is where an output sample reads along one axis: from left, over n samples of the given weights.
type taps struct {
	left   int
	weight []float32
}

const (
	nearest = iota
	smooth
)

// tapsFor fits n samples to m: means where it shrinks, straight lines between samples or the nearest one where it grows.
func tapsFor(n, m, how int) []taps {
	out := make([]taps, m)
	by := float64(n) / float64(m)
	for i := range out {
		switch {
		case how == nearest:
			out[i] = taps{min(int((float64(i)+0.5)*by), n-1), []float32{1}}
		case by > 1:
			a, b := float64(i)*by, min(float64(i+1)*by, float64(n))
			t := taps{left: int(a)}
			for k := t.left; float64(k) < b; k++ {
				t.weight = append(t.weight, float32((min(float64(k+1), b)-max(float64(k), a))/by))
			}
			out[i] = t
		default:
			at := min(max((float64(i)+0.5)*by-0.5, 0), float64(n-1))
			k := min(int(at), max(n-2, 0))
			f := float32(at - float64(k))
			out[i] = taps{k, []float32{1 - f, f}}
			if n < 2 {
				out[i] = taps{0, []float32{1}}
			}
		}
	}
	return out
}

// fit resamples p to w by h.
func fit(p plane, w, h, how int) plane {
	if p.w == w && p.h == h {
		return p
	}
	across, along := tapsFor(p.w, w, how), tapsFor(p.h, h, how)
	mid, out := newPlane(w, p.h), newPlane(w, h)
	for r := range p.h {
		in, to := p.row(r), mid.row(r)
		for i, t := range across {
			v := float32(0)
			for k, f := range t.weight {
				v += in[t.left+k] * f
			}
			to[i] = v
		}
	}
	for r, t := range along {
		to := out.row(r)
		for k, f := range t.weight {
			for i, v := range mid.row(t.left + k) {
				to[i] += v * f
			}
		}
	}
	return out
}

// blur softens by a kernel of five with the given spread in pixels; sharpen (a negative amount) overshoots edges instead.
func blur(p plane, spread float64, amount float32) plane {
	k1, k2 := math.Exp(-0.5/(spread*spread)), math.Exp(-2/(spread*spread))
	sum := 1 + 2*k1 + 2*k2
	a, b, c := float32(1/sum), float32(k1/sum), float32(k2/sum)
	mid, out := newPlane(p.w, p.h), newPlane(p.w, p.h)
	for r := range p.h {
		in, to := p.row(r), mid.row(r)
		for i := range to {
			l1, l2, r1, r2 := max(i-1, 0), max(i-2, 0), min(i+1, p.w-1), min(i+2, p.w-1)
			to[i] = a*in[i] + b*(in[l1]+in[r1]) + c*(in[l2]+in[r2])
		}
	}
	for r := range p.h {
		u1, u2, d1, d2 := mid.row(max(r-1, 0)), mid.row(max(r-2, 0)), mid.row(min(r+1, p.h-1)), mid.row(min(r+2, p.h-1))
		m, in, to := mid.row(r), p.row(r), out.row(r)
		for i := range to {
			v := a*m[i] + b*(u1[i]+d1[i]) + c*(u2[i]+d2[i])
			to[i] = min(max(in[i]+(v-in[i])*amount, 0), 1)
		}
	}
	return out
}

// ramp is a palette; its luminance rises with the echo, or falls where it is inverted.
type ramp struct {
	name     string
	inverted bool
	colours  [256]color.RGBA
}

// palette computes a ramp: grey, each channel to its own power (copper, amber, blue, green as the powers fall), or a path
// through a few colours of rising luminance.
func palette(d dice) ramp {
	out := ramp{name: "grey", inverted: d.chance(0.15)}
	var power [3]float64
	low := d.between(0, 0.06)
	path := [][3]float64{}
	switch d.pick(4, 3, 1.5, 1.5) {
	case 0:
		power = [3]float64{1, 1, 1}
	case 1:
		out.name = "ramp"
		power = [3]float64{d.logBetween(0.45, 0.8), d.logBetween(0.9, 1.5), d.logBetween(1.6, 4)}
		if d.chance(0.35) {
			d.Shuffle(3, func(i, j int) { power[i], power[j] = power[j], power[i] })
		}
	case 2:
		out.name = "embers"
		path = [][3]float64{{0, 0, 0.02}, {0.3, 0.05, 0.4}, {0.75, 0.2, 0.3}, {0.98, 0.6, 0.1}, {0.99, 1, 0.7}}
	default:
		out.name = "meadow"
		path = [][3]float64{{0.26, 0.02, 0.33}, {0.2, 0.3, 0.55}, {0.13, 0.56, 0.55}, {0.4, 0.8, 0.35}, {0.99, 0.91, 0.15}}
	}
	for i := range out.colours {
		t := float64(i) / 255
		if out.inverted {
			t = 1 - t
		}
		var c [3]float64
		for k := range c {
			if len(path) > 0 {
				at := t * float64(len(path)-1)
				j := min(int(at), len(path)-2)
				c[k] = path[j][k] + (path[j+1][k]-path[j][k])*(at-float64(j))
			} else {
				c[k] = low + (1-low)*math.Pow(t, power[k])
			}
		}
		out.colours[i] = color.RGBA{uint8(c[0] * 255), uint8(c[1] * 255), uint8(c[2] * 255), 255}
	}
	return out
}
