package shoalworld

import (
	"math"

	"shadowgap/detect"
)

// ground is the bottom on one side of the boat, in rows and bins of ground range.
type ground struct {
	side detect.Side
	refl *field // reflectivity, about 1
	z    *field // relief, bins
	// What things add to it, so that the bottom can be drawn without them.
	rise *field
	gain *field
	mark []int16 // 1 + index of the thing that covers a cell; 0 = none

	water   *field // echoes of the water in slant range, about as strong as bottom where 1
	regions []patch
}

// patch is an ellipse on the bottom, in rows and bins.
type patch struct {
	kind     string
	row, g   float64
	hrow, hg float64
	slant    [2]float64 // its reach in slant range, shadows included
}

func (q *patch) inside(row, g float64) float64 {
	a, b := (row-q.row)/q.hrow, (g-q.g)/q.hg
	return 1 - math.Sqrt(a*a+b*b)
}

func (d dice) ground(p *plan, side detect.Side) *ground {
	rows, cols := p.rows, p.bins
	big := float64(max(rows, cols)) * d.uni(0.3, 0.9)
	gr := &ground{side: side, rise: newField(rows, cols), gain: newField(rows, cols), mark: make([]int16, rows*cols)}
	gr.refl = d.fractal(rows, cols, big, 2, d.uni(1.1, 2.4), p.fx/p.fy)
	gr.z = d.fractal(rows, cols, big*0.6, 3, d.uni(2.6, 3.4), p.fx/p.fy)
	gr.water = newField(rows, cols)
	spread, relief := float32(d.uni(0.15, 0.6)), float32(d.logUni(0.004, 0.04)*p.alt[0])
	for i, v := range gr.refl.v {
		gr.refl.v[i] = float32(math.Exp(float64(spread * v)))
		gr.z.v[i] *= relief
	}
	if d.chance(0.55) {
		d.sediments(p, gr)
	}
	if d.chance(0.35) {
		d.ripples(p, gr)
	}
	if d.chance(0.2) {
		d.gravel(p, gr)
	}
	d.patches(p, gr)
	return gr
}

// sediments lays another kind of bottom beside the first, with edges soft or hard.
func (d dice) sediments(p *plan, gr *ground) {
	kind := d.fractal(p.rows, p.bins, float64(p.bins)*d.uni(0.3, 1), 1.5, d.uni(1.5, 2.3), p.fx/p.fy)
	edge, other, hard := d.uni(-0.8, 0.8), math.Log(d.logUni(0.2, 4)), d.logUni(2, 25)
	for i, v := range kind.v {
		share := 1 / (1 + math.Exp(-(float64(v)-edge)*hard))
		gr.refl.v[i] *= float32(math.Exp(other * share))
	}
}

// ripples puts sand ripples on part of the bottom.
func (d dice) ripples(p *plan, gr *ground) {
	where := d.fractal(p.rows, p.bins, float64(p.bins)*0.6, 8, 2.4, p.fx/p.fy)
	bend := d.fractal(p.rows, p.bins, float64(p.bins)*0.4, 8, 2.6, p.fx/p.fy)
	length, turn := d.logUni(6, 30)/p.fx, d.uni(-1.2, 1.2)
	ka, kr := 2*math.Pi/length*math.Cos(turn), 2*math.Pi/length*math.Sin(turn)*p.fy/p.fx
	height, edge, curve := length*d.logUni(0.004, 0.018), d.uni(-0.7, 0.8), d.uni(3, 12)
	for r := range p.rows {
		z, on, b := gr.z.row(r), where.row(r), bend.row(r)
		for c := range z {
			if share := min(max((float64(on[c])-edge)*2, 0), 1); share > 0 {
				z[c] += float32(height * share * math.Sin(ka*float64(c)+kr*float64(r)+curve*float64(b[c])))
			}
		}
	}
}

func (d dice) gravel(p *plan, gr *ground) {
	where := d.fractal(p.rows, p.bins, float64(p.bins)*0.5, 8, 2.2, p.fx/p.fy)
	grain := d.fractal(p.rows, p.bins, d.uni(1.5, 4)/p.fx, 1, 0.5, p.fx/p.fy)
	edge, spread := float32(d.uni(-1, 0.8)), d.uni(0.2, 0.7)
	for i, v := range where.v {
		if v > edge {
			gr.refl.v[i] *= float32(math.Exp(spread*float64(grain.v[i]))) * 1.2
		}
	}
}

// patches puts what is no thing on the bottom: tufts, rock fields, shell, mud. Tufts shade as hard as rocks do, so they aren't called
// weed, of which it is certain that nothing in it is worth a mark.
func (d dice) patches(p *plan, gr *ground) {
	for range d.weighted(30, 35, 20, 15) {
		q := patch{row: d.uni(0, float64(p.rows)), g: d.uni(0.1, 0.95) * p.reach()}
		q.hrow, q.hg = d.logUni(12, 120)/p.fy, d.logUni(12, 110)/p.fx
		switch d.weighted(30, 15, 22, 15, 18) {
		case 0:
			q.kind = "tufts"
			d.tufts(p, gr, q, d.between(30, 160), 0.05)
		case 1:
			q.kind = "rock-field"
			d.tufts(p, gr, q, d.between(20, 90), 0.04)
		case 2:
			d.tint(p, gr, q, d.logUni(1.6, 4))
			continue
		case 3:
			d.tint(p, gr, q, d.logUni(0.15, 0.6))
			continue
		case 4:
			for range d.between(1, 6) {
				t := q
				t.row, t.g = t.row+d.NormFloat64()*q.hrow, t.g+d.NormFloat64()*q.hg
				t.hrow, t.hg = d.uni(2, 7)/p.fy, d.uni(2, 7)/p.fx
				t.kind = "tufts"
				d.tufts(p, gr, t, d.between(3, 8), 0.04)
				gr.addRegion(p, t)
			}
			continue
		}
		gr.addRegion(p, q)
	}
}

func (gr *ground) addRegion(p *plan, q patch) {
	r := min(max(int(q.row), 0), p.rows-1)
	h := p.alt[r]
	q.slant = [2]float64{math.Hypot(max(q.g-q.hg*1.15, 0), h*0.93) - 2, math.Hypot((q.g+q.hg*1.15)*1.08, h) + 2}
	gr.regions = append(gr.regions, q)
}

const tile = 128 // rows and bins of a texture that is mirrored at its ends, over and over

// tiled is the value of a tile at any row and bin.
func (f *field) tiled(r, c int) float64 {
	fold := func(i int) int {
		if i %= 2 * tile; i >= tile {
			i = 2*tile - 1 - i
		}
		return i
	}
	return float64(f.row(fold(r))[fold(c)])
}

// tint makes a patch brighter or darker without any relief.
func (d dice) tint(p *plan, gr *ground, q patch, by float64) {
	fray := d.fractal(tile, tile, 32, 1.5, 1.6, p.fx/p.fy)
	rough, hard := d.uni(0.1, 0.5), d.uni(2, 8)
	q.each(p, func(r, c int, in float64) {
		share := 1 / (1 + math.Exp(-hard*(in+rough*fray.tiled(r, c))*2))
		gr.refl.row(r)[c] *= float32(math.Pow(by, share))
	})
}

// each calls f for every cell in and around a patch.
func (q *patch) each(p *plan, f func(r, c int, in float64)) {
	for r := max(int(q.row-2*q.hrow), 0); r < min(int(q.row+2*q.hrow)+1, p.rows); r++ {
		for c := max(int(q.g-2*q.hg), 0); c < min(int(q.g+2*q.hg)+1, p.bins); c++ {
			f(r, c, q.inside(float64(r), float64(c)))
		}
	}
}

// tufts strews soft humps over a patch, as high as a share of the altitude.
func (d dice) tufts(p *plan, gr *ground, q patch, n int, high float64) {
	for range n {
		a, l := d.uni(0, 2*math.Pi), math.Sqrt(d.Float64())
		b := bump{row: q.row + l*q.hrow*math.Cos(a), g: q.g + l*q.hg*math.Sin(a)}
		b.hrow, b.hg = d.logUni(1, 4)/p.fy, d.logUni(1, 4)/p.fx
		b.high, b.round, b.gain = d.uni(0.2, 1)*high*p.alt[0], 1, d.logUni(1.1, 3)
		b.stamp(p, func(r, c int, z float64) {
			gr.z.row(r)[c] += float32(z)
			gr.refl.row(r)[c] *= float32(1 + (b.gain-1)*z/b.high)
		})
	}
}

// bump is a body that lies or stands on the bottom.
type bump struct {
	row, g   float64
	hrow, hg float64 // half lengths along and across before it is turned, rows and bins
	turn     float64 // radians
	high     float64 // bins
	round    float64 // 1 = dome, towards 0 = flat top with steep walls
	gain     float64 // reflectivity over that of the bottom
}

// stamp calls f for every cell under the body, with the height of the body there.
func (b *bump) stamp(p *plan, f func(r, c int, z float64)) {
	// Turning happens in bins both ways, so that a turned log keeps its length.
	k := p.fy / p.fx
	long, wide := b.hrow*k, b.hg
	reach := math.Hypot(long, wide)
	sin, cos := math.Sincos(b.turn)
	for r := max(int(b.row-reach/k), 0); r <= min(int(b.row+reach/k), p.rows-1); r++ {
		for c := max(int(b.g-reach), 0); c <= min(int(b.g+reach), p.bins-1); c++ {
			u, v := (float64(r)-b.row)*k, float64(c)-b.g
			x, y := (u*cos+v*sin)/long, (v*cos-u*sin)/wide
			if q := x*x + y*y; b.round >= 1 && q < 1 {
				f(r, c, b.high*math.Sqrt(1-q))
			} else if e := max(math.Abs(x), math.Abs(y)); b.round < 1 && e < 1 {
				f(r, c, b.high*math.Pow(1-e*e, b.round))
			}
		}
	}
}
