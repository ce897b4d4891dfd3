package bedworld

import "math"

// side is one side of the swath in pings × samples. Sample 0 is the one in view that is nearest to the boat; index is ping*n + sample.
type side struct {
	port    bool
	n, rows int
	off     float64   // slant range of sample 0, in samples
	high    float64   // mean altitude, in samples
	first   []float64 // sample of the first return, per ping; below 0 where it is out of view

	base  []float32 // strength of the bare bottom
	shade []float32 // share of the bottom's strength that things leave
	lit   []float32 // strength that things add

	texture []float32 // the bottom's slow change, mean 0 and deviation near 1

	taken []rect // what things hold already
}

// newSide settles where a side's bottom begins.
func newSide(p plan, d dice) *side {
	s := &side{n: p.n, rows: p.rows, base: make([]float32, p.n*p.rows), shade: make([]float32, p.n*p.rows), lit: make([]float32, p.n*p.rows)}
	for k := range s.shade {
		s.shade[k] = 1
	}
	s.high = p.bed.altitude * float64(p.n)
	sway := s.high * d.between(0.02, 0.3)
	if !p.water {
		s.off = s.high * d.between(1.6, 4)
		sway = 0
	}
	bend := d.wave(p.rows, float64(p.rows)*d.between(0.25, 0.9))
	shiver := d.wave(p.rows, 3)
	quiver := d.between(0, 0.8)
	s.first = make([]float64, p.rows)
	for r := range s.first {
		s.first[r] = max(s.high+sway*float64(bend[r]), 0.3*s.high)
		s.first[r] += quiver*float64(shiver[r]) - s.off
	}
	return s
}

// layBed draws the bare bottom and the water over it.
func (s *side) layBed(p plan, d dice) {
	b := p.bed
	coarse := float64(s.n) * d.between(0.15, 0.5)
	reach := d.spread(0.5, 2)
	s.texture = d.field(s.rows, s.n, coarse*reach, coarse, d.between(0.5, 0.8))
	water := float32(d.spread(0.001, 0.02))
	rise := d.between(0.6, 4)
	for r := range s.rows {
		from := s.first[r]
		for i := range s.n {
			at := r*s.n + i
			x := (float64(i) - from) / float64(s.n)
			s.base[at] = water
			if x < -4*rise/float64(s.n) {
				continue
			}
			level := 1 + (b.near-1)*math.Exp(-max(x, 0)/b.nearLen)
			// The falloff sets in only behind the near bottom, which the gain of the display lifts.
			level *= math.Exp(-b.dim * max(x-0.15, 0))
			onset := 1 / (1 + math.Exp(-float64(i)/rise+from/rise))
			s.base[at] += float32(level*onset) * float32(math.Exp(b.mottle*float64(s.texture[at])))
		}
	}
	s.shapeBed(p, d)
	if p.water {
		s.lineWater(d)
	}
}

// shapeBed draws what makes up a bed and is no thing.
func (s *side) shapeBed(p plan, d dice) {
	b := p.bed
	if b.edges {
		s.meet(d)
	}
	if b.ripples {
		s.ripple(p, d)
	}
	for range b.gravel {
		s.gravel(p, d)
	}
	for range b.furrows {
		s.furrow(p, d)
	}
	for range b.pits {
		s.pit(p, d)
	}
	if b.slope {
		s.fallAway(d)
	}
}

// lineWater draws the ping itself at the nadir, and at times lines of disturbance along the column.
func (s *side) lineWater(d dice) {
	wide := d.whole(1, 3)
	strong := float32(d.spread(0.3, 10))
	lines := make([]float32, s.n)
	if d.chance(0.25) {
		for range d.whole(1, 4) {
			lines[min(d.whole(0, int(s.high*0.6)), s.n-1)] = float32(d.spread(0.05, 1))
		}
	}
	for r := range s.rows {
		row := s.base[r*s.n : (r+1)*s.n]
		for i := range min(wide, s.n) {
			row[i] = max(row[i], strong)
		}
		for i, v := range lines {
			row[i] += v
		}
	}
}

// level is the strength of the bottom around a sample, or right behind the first return for one in the water.
func (s *side) level(i, r int) float32 {
	r = min(max(r, 0), s.rows-1)
	i = min(max(i, int(s.first[r])+4, 0), s.n-1)
	var sum float32
	for _, dr := range [3]int{-3, 0, 3} {
		for _, di := range [3]int{-2, 0, 2} {
			y, x := min(max(r+dr, 0), s.rows-1), min(max(i+di, 0), s.n-1)
			sum += s.base[y*s.n+x]
		}
	}
	return sum / 9
}
