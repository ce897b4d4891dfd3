package roughworld

import (
	"math"
	"math/rand/v2"
)

// developer turns echoes into a display's grey levels, with the same noise each time.
type developer struct {
	p      *plan
	w      int // samples of one side in view
	grain  *field
	noise  *field
	gain   []float32 // ping by ping
	outer  []float32 // sample by sample from the boat: the signal's share
	echo2  float32
	cross  float32
	level  float32
	black  float32
	curve  []float32 // grey by root of echo
	nadir  [3]float32
	smooth bool
	lost   [][2]int
}

func newDeveloper(rng *rand.Rand, p *plan, bare []*field) *developer {
	d := &developer{p: p, w: p.cols - p.from}
	d.grain = grain(rng, d.w*p.sides, p.rows)
	d.hiss(rng)
	d.gain = make([]float32, p.rows)
	streak, step := spread(rng, 0.005, 0.15), 0.0
	jumpy := chance(rng, 0.25)
	for y := range d.gain {
		if jumpy && chance(rng, 0.012) {
			step = rng.NormFloat64() * 0.25
		}
		d.gain[y] = float32(math.Exp(step + rng.NormFloat64()*streak))
	}
	if chance(rng, 0.25) {
		d.echo2 = float32(spread(rng, 0.03, 0.35))
	}
	if p.sides == 2 && chance(rng, 0.25) {
		d.cross = float32(spread(rng, 0.03, 0.3))
	}
	if chance(rng, 0.5) {
		d.nadir = [3]float32{float32(between(rng, 1, 9)), float32(between(rng, 0, 5)), float32(between(rng, 0, 3))}
	}
	d.smooth = chance(rng, 0.35)
	if chance(rng, 0.2) {
		for y := rng.IntN(p.rows); y < p.rows-6; y += 8 + rng.IntN(p.rows) {
			d.lost = append(d.lost, [2]int{y, y + 1 + rng.IntN(4)})
			y += 5
		}
	}
	d.expose(rng, bare)
	return d
}

// hiss settles the noise under the echo, which the gain lifts outward, specks in the water, and where the signal is gone.
func (d *developer) hiss(rng *rand.Rand) {
	p := d.p
	d.noise = newField(d.w*p.sides, p.rows)
	floor, power := spread(rng, 0.01, 0.15), between(rng, 0, 4)
	gone, share := 2.0, 0.0
	if chance(rng, 0.35) {
		gone, share = between(rng, 0.55, 0.95), between(rng, 0.5, 1)
		floor = max(floor, 0.08)
	}
	d.outer = make([]float32, d.w)
	rise := make([]float32, d.w)
	for x := range rise {
		t := float64(x+p.from) / float64(p.cols)
		rise[x] = float32(floor * (0.2 + 2*math.Pow(t, power)))
		d.outer[x] = float32(1 - share*gradual(t, gone-0.25, gone+0.1))
	}
	for y := range p.rows {
		row := d.noise.row(y)
		for i := range row {
			row[i] = rise[d.sample(i)] * float32(rng.ExpFloat64())
		}
	}
	if chance(rng, 0.4) {
		for range int(spread(rng, 0.0003, 0.006) * float64(len(d.noise.v))) {
			i := rng.IntN(len(d.noise.v))
			d.noise.v[i] += float32(spread(rng, 0.2, 2.5))
		}
	}
}

// sample is how far from the innermost sample in view a column of the record is.
func (d *developer) sample(col int) int {
	switch {
	case col < d.w && d.p.port(0):
		return d.w - 1 - col
	case col >= d.w:
		return col - d.w
	}
	return col
}

// grain is speckle: few looks, at times blotchy and drawn out along track, at times of large grains.
func grain(rng *rand.Rand, w, h int) *field {
	f := newField(w, h)
	looks := between(rng, 1, 2)
	second := float32(0)
	if looks > 1 { // two unequal looks count as so many
		second = float32((1 - math.Sqrt(max(2/looks-1, 0))) / (1 + math.Sqrt(max(2/looks-1, 0))))
	}
	calm := float32(0)
	if chance(rng, 0.4) {
		calm = float32(between(rng, 0.2, 0.75)) // further looks that the display averaged
	}
	for i := range f.v {
		f.v[i] = calm + (1-calm)*(float32(rng.ExpFloat64())+second*float32(rng.ExpFloat64()))/(1+second)
	}
	if chance(rng, 0.55) {
		shape := 1 + rng.IntN(5) // half of the K-distribution's
		sum := newField(w, h)
		cell := spread(rng, 1.5, 7)
		long := max(1.2, cell*spread(rng, 0.6, 4))
		for range shape {
			g := newField(w, h)
			g.addLattice(rng, cell, long, 1)
			for i, v := range g.v {
				sum.v[i] += v * v
			}
		}
		for i := range f.v {
			f.v[i] *= sum.v[i] * 1.6 / float32(shape)
		}
	}
	if chance(rng, 0.35) {
		return smoothed(f)
	}
	return f
}

// compose lays the sides of a record beside each other, as they are in view, with their ghosts.
func (d *developer) compose(sides []*field) *field {
	p := d.p
	out := newField(d.w*p.sides, p.rows)
	for y := range p.rows {
		row := out.row(y)
		later := int(p.altitude[y] / p.dg)
		for i := range row {
			k := 0
			if i >= d.w {
				k = 1
			}
			s := d.sample(i) + p.from
			own := sides[k].row(y)
			v := own[s] * d.outer[s-p.from]
			if d.echo2 > 0 && s > later {
				v += d.echo2 * own[s-later]
			}
			if d.cross > 0 {
				v += d.cross * sides[1-k].row(y)[s]
			}
			if s < len(d.nadir) {
				v += d.nadir[s]
			}
			row[i] = v
		}
	}
	return out
}

// expose settles the display's curve by what the bottom without things gives.
func (d *developer) expose(rng *rand.Rand, bare []*field) {
	sum, n := 0.0, 0.0
	for i, v := range d.compose(bare).v {
		if v > 0.05 && i%7 == 0 {
			sum, n = sum+min(float64(v), 8), n+1
		}
	}
	d.level = float32(max(sum/max(n, 1), 0.05))
	power, mid := between(rng, 0.3, 0.8), between(rng, 0.22, 0.6)
	d.black = float32(between(rng, 0, 0.1))
	if chance(rng, 0.1) {
		mid = between(rng, 0.6, 1) // burnt out
	}
	const steps, top = 1024, 5.0
	d.curve = make([]float32, steps+1)
	for i := range d.curve {
		root := float64(i) / steps * top
		d.curve[i] = float32(min(max(mid*math.Pow(root*root, power)-float64(d.black), 0), 1))
	}
}

// develop is the display's grey levels, 0 to 1.
func (d *developer) develop(sides []*field) *field {
	f := d.compose(sides)
	steps := float32(len(d.curve)-1) / 5
	for y := range f.h {
		row, grain, noise := f.row(y), d.grain.row(y), d.noise.row(y)
		g := d.gain[y] / d.level
		for x, v := range row {
			e := g * (v*grain[x] + noise[x])
			row[x] = d.curve[min(int(float32(math.Sqrt(float64(e)))*steps), len(d.curve)-1)]
		}
	}
	for _, r := range d.lost {
		for y := r[0]; y < min(r[1], f.h); y++ {
			clear(f.row(y))
		}
	}
	if d.smooth {
		return smoothed(f)
	}
	return f
}
