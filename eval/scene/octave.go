package scene

import "math"

// octave is smooth noise of zero mean and about unit variance on a lattice whose cells may be longer one way and lean. It is
// read along lines of constant y.
type octave struct {
	seed   uint64
	cx, cy float64 // cell
	shear  float64 // x a cell's axis leans per unit of y
	i0     int
	row    []float64
}

// line prepares the noise along y for x in [x0, x1].
func (o *octave) line(y, x0, x1 float64) {
	v := y / o.cy
	j := math.Floor(v)
	f := fade(v - j)
	lean := o.shear * y
	o.i0 = int(math.Floor((x0+lean)/o.cx)) - 1
	n := int(math.Floor((x1+lean)/o.cx)) - o.i0 + 4
	o.row = o.row[:0]
	for i := range n {
		a, b := hash01(o.seed, o.i0+i, int(j)), hash01(o.seed, o.i0+i, int(j)+1)
		o.row = append(o.row, (a+(b-a)*f-0.5)*4.6)
	}
}

// addTo adds gain times the noise at x = x0 + k*dx for every k. line must have prepared y and that range.
func (o *octave) addTo(dst []float64, y, x0, dx, gain float64) {
	pos := (x0+o.shear*y)/o.cx - float64(o.i0)
	step := dx / o.cx
	// Where a cell spans many nodes, every eighth is worked out and the rest lie on chords.
	const stride = 8
	if math.Abs(step)*stride < 0.5 {
		a := gain * o.at(pos)
		for k := 0; k < len(dst); k += stride {
			pos += stride * step
			b := gain * o.at(pos)
			d := (b - a) / stride
			for j, v := k, a; j < min(k+stride, len(dst)); j++ {
				dst[j] += v
				v += d
			}
			a = b
		}
		return
	}
	for k := range dst {
		dst[k] += gain * o.at(pos)
		pos += step
	}
}

// at reads the prepared line at a place counted in cells from its first lattice point.
func (o *octave) at(u float64) float64 {
	i := min(max(int(u), 0), len(o.row)-2)
	f := u - float64(i)
	f = f * f * (3 - 2*f)
	return o.row[i] + (o.row[i+1]-o.row[i])*f
}

// octaves is a random field whose power falls with frequency f as 1/f^b: octaves of noise, each with the gain that a plane's
// share of power in its octave asks for, 2^((b-2)/2) from one to the next coarser. (Integrating f^-b over a ring of frequencies
// from f to 2f gives f^(2-b); own arithmetic.)
type octaves struct {
	parts []octave
	gains []float64
}

// newOctaves makes a field of unit variance with n octaves from the finest cell up.
func newOctaves(seed uint64, cell, aspect, lean float64, n int, b float64) octaves {
	var f octaves
	sum := 0.0
	for i := range n {
		k := math.Exp2(float64(i))
		// Neighbouring octaves lean apart a little, so that their lattices do not line up.
		skew := lean + 0.23*math.Pow(-1, float64(i))/max(1, aspect)
		f.parts = append(f.parts, octave{seed: seed + uint64(i)*0x5851f42d4c957f2d, cx: cell * k, cy: cell * aspect * k, shear: skew})
		g := math.Pow(k, (b-2)/2)
		f.gains = append(f.gains, g)
		sum += g * g
	}
	for i := range f.gains {
		f.gains[i] /= math.Sqrt(sum)
	}
	return f
}

// addTo adds gain times the field at x = x0 + k*dx, y.
func (f *octaves) addTo(dst []float64, y, x0, dx, gain float64) {
	x1 := x0 + dx*float64(len(dst)+8)
	for i := range f.parts {
		f.parts[i].line(y, min(x0, x1), max(x0, x1))
		f.parts[i].addTo(dst, y, x0, dx, gain*f.gains[i])
	}
}

// along reads the field at one place of a line, for uses that need a curve instead of an area.
func (f *octaves) along(x float64) float64 {
	var v [1]float64
	f.addTo(v[:], 0.5, x, 1e-9, 1)
	return v[0]
}
