package shoalworld

import "math"

// noise is what chance adds to a record; the record with things and the one without share it.
type noise struct {
	speckle *field
	gain    []float64 // by row
	floor   *field
}

func (d dice) noise(p *plan) *noise {
	n := &noise{speckle: d.gamma(p.rows, p.bins, p.look.looks), floor: d.gamma(p.rows, p.bins, 1), gain: make([]float64, p.rows)}
	if p.look.spiky > 0 {
		tex := d.fractal(p.rows, p.bins, d.uni(1.2, 3.5), 1, 0.4, 1)
		for i, v := range tex.v {
			n.speckle.v[i] *= float32(math.Exp(p.look.spiky*float64(v) - p.look.spiky*p.look.spiky/2))
		}
	}
	keep := float32(p.look.along)
	for r := 1; r < p.rows; r++ {
		above, row := n.speckle.row(r-1), n.speckle.row(r)
		for c := range row {
			row[c] += keep * (above[c] - row[c])
		}
	}
	step := 1.0
	for r := range n.gain {
		if d.chance(0.002) {
			step = d.logUni(0.6, 1.6)
		}
		n.gain[r] = step * math.Exp(p.look.stripes*d.NormFloat64())
	}
	return n
}

// record is the strength of the echoes of one side, in rows and bins of slant range.
type record struct {
	*field
	first []float64 // bin at which bottom begins, by row
}

// ray is what things in the water leave of the rays of one row, by where these would meet a flat bottom.
type ray struct {
	pass  []float32
	thing []int16 // 1 + index of the thing that takes most; 0 = none
	most  []float32
	used  bool
}

// echoes draws a side's record, with its things or without, and where it draws them tells them their cells.
func (sc *scene) echoes(p *plan, n *noise, with bool) *record {
	rec := &record{newField(p.rows, p.bins), make([]float64, p.rows)}
	solid := newField(1, p.bins)
	sky := &ray{pass: make([]float32, 3*p.bins), thing: make([]int16, 3*p.bins), most: make([]float32, 3*p.bins)}
	byRow := make([][]int, p.rows)
	fall, hiss := make([]float32, p.bins), make([]float32, p.bins)
	for c := range fall {
		u := float64(c) / p.reach()
		fall[c], hiss[c] = float32(math.Exp(-p.look.falloff*u)), float32(p.look.floor*(0.3+2*u*u))
	}
	if with {
		byRow = sc.reachOf(p)
	}
	for r := range p.rows {
		clear(solid.v)
		sky.reset()
		for _, i := range byRow[r] {
			sc.dots[i].shade(p, sky, r)
			sc.dots[i].shine(p, sc, solid.v, r)
		}
		sc.sweep(p, rec, sky, r, with)
		row, spk, water := rec.row(r), n.speckle.row(r), sc.water.row(r)
		floor := n.floor.row(r)
		for c := range row {
			g := float32(n.gain[r]) * fall[c]
			e := (row[c]+water[c])*spk[c] + solid.v[c]*(0.45+0.55*spk[c])
			row[c] = g * (e + hiss[c]*floor[c])
			if c < p.nadirPx {
				row[c] += 6 * spk[c]
			}
		}
	}
	rec.spread(p)
	for _, b := range sc.bursts {
		rec.row(b.row)[b.bin] += b.amp
	}
	return rec
}

func (s *ray) reset() {
	if !s.used && s.pass[0] == 1 {
		return
	}
	for i := range s.pass {
		s.pass[i] = 1
	}
	clear(s.thing)
	clear(s.most)
	s.used = false
}

// beamAt is the half length of the beam along track at slant range s, in rows.
func (p *plan) beamAt(s float64) float64 { return 0.3/p.fy + p.beam*s/p.reach() }

// reachOf lists the dots that tell in each row.
func (sc *scene) reachOf(p *plan) [][]int {
	out := make([][]int, p.rows)
	for i, b := range sc.dots {
		reach := 2.2 * math.Hypot(b.along, 1.6*p.beamAt(b.slant))
		for r := max(int(b.row-reach), 0); r <= min(int(b.row+reach), p.rows-1); r++ {
			out[r] = append(out[r], i)
		}
	}
	return out
}

// profile is 1 in the middle of something of half length half, and falls off beyond it.
func profile(x, half float64) float64 {
	q := x / half
	q *= q
	return math.Exp(-q * q * 0.7)
}

// shade takes a dot's share off the rays of row r. The beam is wide, so that what is shorter than it shades less, over more rows.
func (b *dot) shade(p *plan, sky *ray, r int) {
	half := math.Hypot(b.along, 1.6*p.beamAt(b.slant))
	dim := b.block * math.Min(1, 1.3*b.along/half) * profile(float64(r)-b.row, half)
	if dim < 0.01 {
		return
	}
	h := p.alt[r]
	at, wide := math.Acos(min(b.depth/b.slant, 1)), b.tall/b.slant
	lo, hi := math.Max(at-1.5*wide, 0), math.Min(at+1.5*wide, 1.55)
	from, to := h/math.Cos(lo), math.Min(h/math.Cos(hi)+1, float64(len(sky.pass)-1))
	for k := int(from); k <= int(to); k++ {
		a := math.Acos(min(h/math.Max(float64(k), h), 1))
		share := float32(dim * profile(a-at, wide))
		if share < 0.005 {
			continue
		}
		sky.used = true
		sky.pass[k] *= 1 - share
		if share > sky.most[k] {
			sky.most[k], sky.thing[k] = share, int16(b.thing+1)
		}
	}
}

// shine adds a dot's own echo to row r.
func (b *dot) shine(p *plan, sc *scene, solid []float32, r int) {
	y := float64(r) - b.row
	half := math.Hypot(b.along, p.beamAt(b.slant))
	amp := b.amp * profile(y, half) * math.Min(1, 1.2*b.along/half+0.3)
	mid := b.slant + b.bend*y*y
	for c := max(int(mid-2*b.across), 0); c <= min(int(mid+2*b.across+1), p.bins-1); c++ {
		e := amp * profile(float64(c)-mid, b.across)
		solid[c] += float32(e)
		if e > 0.25*b.amp && c >= p.first {
			sc.things[b.thing].highlight = append(sc.things[b.thing].highlight, int32(r*p.bins+c))
		}
	}
}

// sweep walks outward over the bottom of row r and puts each piece's echo where its slant range is.
func (sc *scene) sweep(p *plan, rec *record, sky *ray, r int, with bool) {
	h, out := p.alt[r], rec.row(r)
	z, refl := sc.z.row(r), sc.refl.row(r)
	rise, gain, mark := sc.rise.row(r), sc.gain.row(r), sc.mark[r*p.bins:(r+1)*p.bins]
	horizon, casts := -1.0, int16(0)
	rec.first[r] = p.reach()
	before, beforeZ := 0.0, float64(z[0])
	for i := range z {
		g, hz, s0 := float64(i)+0.5, float64(z[i]), float64(refl[i])
		own := int16(0)
		if with && mark[i] > 0 {
			hz, s0, own = hz+float64(rise[i]), s0*float64(gain[i]), mark[i]
		}
		depth := math.Max(h-hz, 0.04*h)
		s := math.Sqrt(g*g + depth*depth)
		if s >= p.reach()+2 && before >= p.reach()+2 {
			break
		}
		steep := math.Min(math.Max(1+g*(hz-beforeZ)/depth, 0.06), 7)
		t := g / depth
		e := s0 * math.Sqrt(steep*math.Sqrt(steep))
		if t < 1.5 {
			under := math.Atan(t) * 3.2
			e *= 1 + p.look.near*math.Exp(-under*under)
		}
		from := int16(0)
		if t < horizon-1e-9 {
			e *= p.look.leak
			from = casts
		} else {
			horizon, casts = t, own
		}
		if k := int(h * math.Sqrt(1+t*t)); sky.used && k < len(sky.pass) && sky.thing[k] > 0 && from == 0 {
			e *= float64(sky.pass[k]) + p.look.leak*(1-float64(sky.pass[k]))
			if sky.pass[k] < 0.85 {
				from = sky.thing[k]
			}
		}
		if own == 0 {
			rec.first[r] = math.Min(rec.first[r], s)
		}
		if i > 0 {
			deposit(out, before, s, float32(e/math.Max(1, math.Abs(s-before)/2.5)))
		}
		if with && own+from > 0 {
			// A steep face echoes over all that lies between the ranges of its foot and its top.
			lo, hi := s, s
			if from == 0 {
				lo, hi = math.Min(before, s), math.Max(before, s)
			}
			for c := max(int(lo), p.first); c <= min(int(hi), p.bins-1); c++ {
				sc.tell(r*p.bins+c, own, from)
			}
		}
		before, beforeZ = s, hz
	}
}

// tell notes a cell of the record as one in which a thing echoes or shades.
func (sc *scene) tell(cell int, own, from int16) {
	switch {
	case from > 0:
		t := &sc.things[from-1]
		t.shadow = append(t.shadow, int32(cell))
	case own > 0:
		t := &sc.things[own-1]
		t.highlight = append(t.highlight, int32(cell))
	}
}

// deposit lays strength e over the bins from a to b.
func deposit(out []float32, a, b float64, e float32) {
	if b < a {
		a, b = b, a
	}
	b = math.Min(b, float64(len(out)))
	for c := int(a); float64(c) < b; c++ {
		out[c] += e * float32(math.Min(float64(c+1), b)-math.Max(float64(c), a))
	}
}

// spread smears the record along track by the beam, which widens outward.
func (rec *record) spread(p *plan) {
	w := make([]float32, p.bins)
	for c := range w {
		b := p.beamAt(float64(c))
		w[c] = float32(math.Min(0.3, 0.12*b))
	}
	last := make([]float32, p.bins)
	copy(last, rec.row(0))
	for r := 1; r < p.rows-1; r++ {
		row, next := rec.row(r), rec.row(r+1)
		for c := range row {
			own := row[c]
			row[c] += w[c] * (last[c] + next[c] - 2*own)
			last[c] = own
		}
	}
}
