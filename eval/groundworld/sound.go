package groundworld

import "math"

// sounding is one side's record: echoes in metres of lit, face-on bottom of reflectivity 1, and who threw them.
type sounding struct {
	w             *world
	sign          float64   // 1 where x grows outward
	echo, natural []float32 // pings by bins, with things and without
	hid, sid      []uint8   // which thing threw a bin's echo, and which took it
	first         []float64 // m, the nearest bottom of each ping
	spans         []span    // of the zones, in bins and pings
	law           [1025]float32
	flat          []float64 // echo of a level bottom, bin by bin

	lit, own, lost []float32 // scratch, bins of one ping
	who, taker     []uint8
	slices         []slice
}

// span is a half-open rectangle of bins and pings; empty where n is 0.
type span struct{ b0, b1, p0, p1, n int }

func (s *span) hold(b, p int) {
	if s.n == 0 {
		s.b0, s.b1, s.p0, s.p1 = b, b+1, p, p+1
	}
	s.b0, s.b1, s.p0, s.p1 = min(s.b0, b), max(s.b1, b+1), min(s.p0, p), max(s.p1, p+1)
	s.n++
}

func newSounding(w *world, sign float64) *sounding {
	n := w.bins * w.pings
	s := &sounding{w: w, sign: sign, echo: make([]float32, n), natural: make([]float32, n), hid: make([]uint8, n), sid: make([]uint8, n),
		first: make([]float64, w.pings), spans: make([]span, len(w.zones)+1), flat: w.flatEcho(),
		lit: make([]float32, w.bins+2), own: make([]float32, w.bins+2), lost: make([]float32, w.bins+2),
		who: make([]uint8, w.bins+2), taker: make([]uint8, w.bins+2)}
	for i := range s.law {
		s.law[i] = float32(math.Pow(float64(i)/1024, w.lambert))
	}
	return s
}

// flatEcho is the echo of a level bottom at the plan's altitude, bin by bin; before the first return that at it.
func (p *plan) flatEcho() []float64 {
	flat := make([]float64, p.bins)
	for b := range flat {
		slant := max(1.02*p.altM, p.startM+(float64(b)+0.5)*p.binM)
		ground := math.Sqrt(slant*slant - p.altM*p.altM)
		flat[b] = math.Pow(p.altM/slant, p.lambert) * min(3, slant/ground) * p.binM
	}
	return flat
}

// soundAll sounds every ping into a record; the natural pass also notes first returns and zones.
func (s *sounding) soundAll(into []float32, natural bool) {
	touched := s.w.touched()
	for p := range s.w.pings {
		if !natural && !touched[p] {
			continue
		}
		s.ping(p, natural)
		row := into[p*s.w.bins : (p+1)*s.w.bins]
		copy(row, s.lit)
		if natural {
			continue
		}
		hid, sid := s.hid[p*s.w.bins:(p+1)*s.w.bins], s.sid[p*s.w.bins:(p+1)*s.w.bins]
		for b := range row {
			if s.own[b] > 0.3*s.lit[b] {
				hid[b] = s.who[b]
			}
			if s.taker[b] != 0 && s.lost[b] > 0.4*s.lit[b] {
				sid[b] = s.taker[b]
			}
		}
	}
}

// touched tells which pings meet a thing.
func (w *world) touched() []bool {
	rows := make([]bool, w.pings)
	for r := range rows {
		for _, id := range w.g.id[r*w.g.wide : (r+1)*w.g.wide] {
			if id != 0 {
				rows[r] = true
				break
			}
		}
	}
	for _, h := range w.hung {
		reach := h.long + w.g.pm
		for r := max(0, w.g.row(h.y-reach)); r <= min(w.pings-1, w.g.row(h.y+reach)); r++ {
			rows[r] = true
		}
	}
	return rows
}

// ray is what marching outward keeps: the least cotangent so far, and the thing that set it.
type ray struct {
	cot     float64
	blocker uint8
	height  float64 // of the transducer over the grid's level
}

// ping marches outward over one row of the ground.
func (s *sounding) ping(p int, natural bool) {
	g, w := s.w.g, s.w
	clear(s.lit)
	clear(s.own)
	clear(s.lost)
	clear(s.who)
	clear(s.taker)
	s.slices = s.slices[:0]
	r := ray{cot: math.Inf(1), height: w.track[p]}
	if !natural {
		for i := range w.hung {
			if c, ok := w.hung[i].cut(g.y(p), s.sign, r.height, g); ok {
				s.slices = append(s.slices, c)
			}
		}
	}
	step := 1
	col := max(0, g.col(0))
	if s.sign < 0 {
		step, col = -1, col-1
	}
	nearest := math.Inf(1)
	at := p * g.wide
	beside := at
	if p > 0 {
		beside -= g.wide
	}
	before := float64(g.z[at+min(g.wide-1, max(0, col))])
	for ; col >= 0 && col < g.wide; col += step {
		i := at + col
		ground := max(0.01, s.sign*g.x(col))
		z := float64(g.z[i])
		slant := s.segment(&r, i, ground, before, z, min(0.8, max(-0.8, (z-float64(g.z[beside+col]))/g.pm)))
		before = z
		if !natural {
			continue
		}
		nearest = min(nearest, slant)
		if k := g.zone[i]; k != 0 {
			if b := int((slant - w.startM) / w.binM); b >= 0 && b < w.bins && slant > w.startM {
				s.spans[k].hold(b, p)
			}
		}
	}
	if natural {
		s.first[p] = nearest
	}
	s.hangers(r.height, p)
}

// segment sounds the ground between two cells, in parts where it is steep, and returns the slant range of its end. Its slope along the
// track is kept small by the caller, or slanting edges would show the steps of the grid.
func (s *sounding) segment(r *ray, i int, ground, z0, z1, along float64) float64 {
	g := s.w.g
	rise := z1 - z0
	parts := 1
	if a := math.Abs(rise); a > 1.3*g.cm {
		parts = min(800, int(1.5*a/g.cm)+1)
	}
	slope := rise / g.cm
	norm := math.Sqrt(1 + slope*slope + along*along)
	face := g.cm * math.Sqrt(1+slope*slope) / float64(parts)
	refl := float64(g.refl[i])
	id := g.id[i]
	slant := 0.0
	for k := 1; k <= parts; k++ {
		t := float64(k) / float64(parts)
		gr := ground
		if parts > 1 {
			gr += (t - 1) * g.cm
		}
		gr = max(gr, 0.01)
		d := r.height - z0 - t*rise
		slant = math.Sqrt(gr*gr + d*d)
		cot := d / gr
		cosine := (slope*gr + d) / (slant * norm)
		if cot < r.cot {
			r.cot, r.blocker = cot, id
			s.light(slant, cot, face*refl*float64(s.law[int(1024*min(1, max(0.02, cosine)))]), id)
			continue
		}
		s.shade(slant, g.cm/float64(parts)*float64(s.law[int(1024*min(1, max(0.02, d/slant)))]), r.blocker)
	}
	return slant
}

// light adds an echo, less what hangs before it.
func (s *sounding) light(slant, cot, e float64, id uint8) {
	for i := range s.slices {
		c := &s.slices[i]
		if slant > c.slant && cot > c.cLow && cot < c.cHigh {
			s.shade(slant, e*c.opaque, c.id)
			e *= 1 - c.opaque
		}
	}
	s.give(slant, e, id)
}

// give shares an echo between the two nearest bins.
func (s *sounding) give(slant, e float64, id uint8) {
	at := (slant-s.w.startM)/s.w.binM + 0.5
	b := int(at)
	if at < 1 || b > s.w.bins {
		return
	}
	part := at - float64(b)
	s.lit[b-1] += float32(e * (1 - part))
	s.lit[b] += float32(e * part)
	if id != 0 {
		s.claim(b-1, float32(e*(1-part)), id)
		s.claim(b, float32(e*part), id)
	}
}

func (s *sounding) claim(b int, e float32, id uint8) {
	s.own[b] += e
	if s.who[b] == 0 || 2*e > s.own[b] {
		s.who[b] = id
	}
}

// shade notes an echo that a thing took.
func (s *sounding) shade(slant, e float64, id uint8) {
	b := int((slant - s.w.startM) / s.w.binM)
	if id == 0 || slant < s.w.startM || b >= s.w.bins {
		return
	}
	s.lost[b] += float32(e)
	s.taker[b] = id
}

// hangers adds the echoes of what hangs.
func (s *sounding) hangers(height float64, p int) {
	g := s.w.g
	for i := range s.slices {
		c := &s.slices[i]
		if s.hidden(c, height, p) {
			continue
		}
		b := min(s.w.bins-1, max(0, int((c.slant-s.w.startM)/s.w.binM)))
		n := max(1, int(2*c.reach/(0.5*s.w.binM)))
		for k := range n {
			t := 2*(float64(k)+0.5)/float64(n) - 1
			s.give(c.slant+t*c.reach, c.refl*s.flat[b]*0.5*math.Sqrt(1-t*t)*min(1, 2*c.reach/g.cm), c.id)
		}
	}
}

// hidden reports whether the ground rises into the ray to a slice.
func (s *sounding) hidden(c *slice, height float64, p int) bool {
	g := s.w.g
	mid := (c.cLow + c.cHigh) / 2
	for frac := 0.3; frac < 1; frac += 0.1 {
		if height-g.height(s.sign*c.g*frac, g.y(p)) < mid*c.g*frac {
			return true
		}
	}
	return false
}
