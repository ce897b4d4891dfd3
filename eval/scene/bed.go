package scene

import "math"

// bed lays a Texture and the ledges into the profile under a ping.
type bed struct {
	t       Texture
	level   octaves
	relief  octaves
	patch   octaves
	furrow  octaves
	outcrop octaves
	ledges  []Ledge
	wander  []octaves
	bend    octaves
	stones  uint64 // seed of the gravel
	buf     [3][]float64
	reliefM float64 // standard deviation of the relief, metres
}

func newBed(s *Spec) *bed {
	t := s.Texture
	seed := uint64(s.Seed)*0x2545f4914f6cdd1d + streamBed
	b := &bed{t: t, ledges: s.Ledges, stones: seed + 7e6}
	if t.On {
		n := max(1, t.Octaves)
		b.level = newOctaves(seed, t.CellM, t.Aspect, t.Shear, n, t.Slope)
		b.relief = newOctaves(seed+1e6, t.CellM, t.Aspect, t.Shear, n, t.ReliefB)
		// A lattice of unit variance climbs about 1.5 of its standard deviations a cell; the finest octave sets the slope.
		b.reliefM = t.Rough * t.CellM / 1.5 / b.relief.gains[0]
		if t.PatchM > 0 {
			b.patch = newOctaves(seed+2e6, t.PatchM/32, math.Sqrt(t.Aspect), t.Shear, 6, 4.4-1.7*min(1, t.Ragged))
		}
		if f := t.Furrows; f.WideM > 0 {
			b.furrow = newOctaves(seed+3e6, f.WideM/2, max(1, f.LongM/f.WideM), f.Shear, 2, 2.4)
			b.bend = newOctaves(seed+6e6, max(f.LongM, f.WideM)/4, 1, 0, 3, 4)
		}
		if o := t.Outcrop; o.StepM > 0 {
			b.outcrop = newOctaves(seed+4e6, o.SizeM/8, 1.4, o.Shear, 4, 3.6)
		}
	}
	for i, l := range b.ledges {
		b.wander = append(b.wander, newOctaves(seed+5e6+uint64(i)*64, l.CellM/16, 1, 0, 5, 4.2-2*min(1, l.Ragged)))
	}
	return b
}

func (b *bed) clear(i, n int) []float64 {
	if cap(b.buf[i]) < n {
		b.buf[i] = make([]float64, n)
	}
	b.buf[i] = b.buf[i][:n]
	clear(b.buf[i])
	return b.buf[i]
}

// fill adds texture to the nodes of p, which hold the bottom so far.
func (b *bed) fill(p *profile) {
	for i := range b.ledges {
		b.ledge(p, i)
	}
	t := &b.t
	if !t.On {
		return
	}
	n := len(p.z)
	dx := p.sign * p.dg
	level, relief := b.clear(0, n), b.clear(1, n)
	b.level.addTo(level, p.y, 0, dx, t.LevelDB)
	b.relief.addTo(relief, p.y, 0, dx, b.reliefM)
	if t.PatchM > 0 {
		m := b.clear(2, n)
		b.patch.addTo(m, p.y, 0, dx, 1)
		const edge = 0.12
		for k, v := range m {
			share := min(1, max(0, (v-t.PatchMin)/edge+0.5))
			level[k] = level[k]*(1+(t.PatchK-1)*share) + t.PatchDB*share
			relief[k] *= 1 + (t.PatchK-1)*share
		}
		if t.Gravel > 0 {
			b.gravel(p, m, level, relief)
		}
	}
	if f := &t.Furrows; f.WideM > 0 {
		m := b.clear(2, n)
		b.furrow.addTo(m, p.y, f.BendM*b.bend.along(p.y), dx, 1)
		for k, v := range m {
			if v = v - f.Share; v > 0 {
				v = min(1, 2*v)
				relief[k] -= f.DepthM * v
				level[k] += f.DB * v
			}
		}
	}
	if o := &t.Outcrop; o.StepM > 0 {
		m := b.clear(2, n)
		b.outcrop.addTo(m, p.y, 0, dx, 1)
		for k, v := range m {
			if v = (v - o.Level) * o.Steps; v > 0 {
				whole := math.Floor(v)
				rest := v - whole
				// The last fifth of every step is its cliff.
				relief[k] += o.StepM * (whole + min(1, max(0, (rest-0.8)*5)))
				level[k] += 1.5 * min(1, v)
			}
		}
	}
	for k := range p.z {
		p.z[k] += relief[k]
		p.mu[k] *= math.Exp(level[k] * math.Ln10 / 10)
	}
}

// gravel strews stones of a cell over the second sediment; where holds its field.
func (b *bed) gravel(p *profile, where, level, relief []float64) {
	t := &b.t
	j := int(math.Floor(p.y / (t.CellM * t.Aspect)))
	for k, v := range where {
		if v < t.PatchMin {
			continue
		}
		h := hash01(b.stones, int(math.Floor(p.x(k)/t.CellM)), j)
		if h < t.Gravel {
			// What is left of the number below the share is as random as the number: it sets the stone's size.
			size := h / t.Gravel
			level[k] += 2 + 6*size
			relief[k] += (0.05 + 0.3*size) * t.CellM
		}
	}
}

func (b *bed) ledge(p *profile, i int) {
	l := &b.ledges[i]
	if sideOfSign(p.sign) != l.Side {
		return
	}
	rise := logistic((p.y-l.Y0)/l.EndM) * logistic((l.Y1-p.y)/l.EndM)
	if rise < 1e-3 {
		return
	}
	edge := l.X + l.WanderM*b.wander[i].along(p.y)
	for k := range p.z {
		u := (float64(k)*p.dg - edge) / l.WideM
		if u < -6 {
			continue
		}
		p.z[k] += l.HeightM * rise * logistic(u)
	}
}

func sideOfSign(sign float64) int {
	if sign < 0 {
		return portSide
	}
	return starboardSide
}

// logistic is 1/(1+e^-4u): 0 to 1 with slope 1 in the middle.
func logistic(u float64) float64 {
	if u > 6 {
		return 1
	}
	return 1 / (1 + math.Exp(-4*u))
}
