package scene

import "math"

// terrain is the bottom itself: slopes, ridges, mounds and ripples, without what lies on it.
type terrain struct {
	spec    *Spec
	ridges  []ridge
	ripples []rippleWave
}

type ridge struct {
	Ridge
	cos, sin float64
}

type rippleWave struct {
	Ripples
	kx, ky float64
}

func newTerrain(s *Spec) *terrain {
	t := &terrain{spec: s}
	for _, r := range s.Ridges {
		sin, cos := math.Sincos(r.AngleDeg * math.Pi / 180)
		t.ridges = append(t.ridges, ridge{r, cos, sin})
	}
	for _, r := range s.Ripples {
		sin, cos := math.Sincos(r.AngleDeg * math.Pi / 180)
		k := 2 * math.Pi / r.WaveM
		t.ripples = append(t.ripples, rippleWave{r, k * cos, k * sin})
	}
	return t
}

// height is the ridge's part at x, y.
func (r *ridge) height(x, y float64) float64 {
	dx, dy := x-r.X, y-r.Y
	along := (dx*r.cos + dy*r.sin) / (r.LengthM / 2)
	if math.Abs(along) > 2.2 {
		return 0
	}
	across := -dx*r.sin + dy*r.cos
	if across < 0 {
		across /= r.FrontM
	} else {
		across /= r.BackM
	}
	if math.Abs(across) > 3 {
		return 0
	}
	// The fourth power keeps the crest level until near its ends; 0.69 puts half height at along = 1.
	a2 := along * along
	return r.HeightM * math.Exp(-across*across-0.69*a2*a2)
}

func (m *Mound) height(x, y float64) float64 {
	dx, dy := (x-m.X)/m.RadiusX, (y-m.Y)/m.RadiusY
	q := dx*dx + dy*dy
	if q > 9 {
		return 0
	}
	return m.HeightM * math.Exp(-q)
}

// addTo adds the mound to nodes [k0, k1) of a ping. Swells reach over the whole swath and bend slowly, so every 16th
// node is worked out and the rest lie on chords.
func (m *Mound) addTo(p *profile, k0, k1 int) {
	const step = 16
	a := m.height(p.x(k0), p.y)
	for k := k0; k < k1; k += step {
		b := m.height(p.x(k+step), p.y)
		for j := k; j < min(k+step, k1); j++ {
			p.z[j] += a + (b-a)*float64(j-k)/step
		}
		a = b
	}
}

func (r *rippleWave) height(x, y float64) float64 {
	dx, dy := x-r.X, y-r.Y
	q := (dx*dx + dy*dy) / (r.RadiusM * r.RadiusM)
	if q > 1 {
		return 0
	}
	// A gentle bend keeps crests from being ruled lines.
	bend := 0.6 * math.Sin(0.9*dy/r.WaveM/2.3+0.4*dx/r.WaveM/3.1)
	return r.AmpM * (1 - q) * math.Sin(r.kx*dx+r.ky*dy+bend)
}

// at is the height of the bottom at x, y in metres, ripples left out: they are texture, not relief.
func (t *terrain) at(x, y float64) float64 {
	z := t.spec.SlopeX*x + t.spec.SlopeY*y
	for i := range t.ridges {
		z += t.ridges[i].height(x, y)
	}
	for i := range t.spec.Humps {
		z += t.spec.Humps[i].height(x, y)
	}
	for i := range t.spec.Swells {
		z += t.spec.Swells[i].height(x, y)
	}
	return z
}

// firstReturn is the slant range at which bottom begins on one side (sign -1 port, 1 starboard), from altitude h at y.
func (t *terrain) firstReturn(y, h, sign float64) float64 {
	best := math.Inf(1)
	step := h / 60
	for k := range 120 {
		g := float64(k) * step
		if g >= best {
			break
		}
		best = min(best, math.Hypot(g, h-t.at(sign*g, y)))
	}
	return best
}

// fill writes the bottom along one ping into p: height, reflectivity relative to the bottom, and the element that raises
// it (0 for plain bottom). firstID is the number of the first ridge; mounds follow ridges.
func (t *terrain) fill(p *profile, firstID uint16) {
	s := t.spec
	for k := range p.z {
		p.z[k] = s.SlopeX*p.x(k) + s.SlopeY*p.y
		p.mu[k] = 1
		p.id[k] = 0
	}
	for i := range s.Swells {
		w := &s.Swells[i]
		if math.Abs(p.y-w.Y) > 3*w.RadiusY {
			continue
		}
		k0, k1 := p.span(w.X-3*w.RadiusX, w.X+3*w.RadiusX)
		w.addTo(p, k0, k1)
	}
	for i := range t.ridges {
		t.ridges[i].fill(p, firstID+uint16(i))
	}
	for i := range s.Humps {
		m := &s.Humps[i]
		if math.Abs(p.y-m.Y) > 3*m.RadiusY {
			continue
		}
		k0, k1 := p.span(m.X-3*m.RadiusX, m.X+3*m.RadiusX)
		for k := k0; k < k1; k++ {
			p.rise(k, m.height(p.x(k), p.y), m.HeightM, m.Reflectivity, firstID+uint16(len(t.ridges)+i))
		}
	}
	for i := range t.ripples {
		r := &t.ripples[i]
		dy := p.y - r.Y
		if math.Abs(dy) >= r.RadiusM {
			continue
		}
		half := math.Sqrt(r.RadiusM*r.RadiusM - dy*dy)
		k0, k1 := p.span(r.X-half, r.X+half)
		for k := k0; k < k1; k++ {
			p.z[k] += r.height(p.x(k), p.y)
		}
	}
}

func (r *ridge) fill(p *profile, id uint16) {
	reach := 3*max(r.FrontM, r.BackM)*math.Abs(r.sin) + 1.1*r.LengthM*math.Abs(r.cos)
	if math.Abs(r.sin) > 0.05 {
		// Along one ping the ridge spans only where its crest is near.
		mid := r.X + (p.y-r.Y)*r.cos/r.sin
		near := 3 * max(r.FrontM, r.BackM) / math.Abs(r.sin)
		k0, k1 := p.span(max(r.X-reach, mid-near), min(r.X+reach, mid+near))
		r.fillSpan(p, id, k0, k1)
		return
	}
	k0, k1 := p.span(r.X-reach, r.X+reach)
	r.fillSpan(p, id, k0, k1)
}

func (r *ridge) fillSpan(p *profile, id uint16, k0, k1 int) {
	for k := k0; k < k1; k++ {
		p.rise(k, r.height(p.x(k), p.y), r.HeightM, r.Reflectivity, id)
	}
}

// rise adds a bottom element's part to node k; only the upper part of an element counts as the element itself.
func (p *profile) rise(k int, dz, full, reflectivity float64, id uint16) {
	p.z[k] += dz
	share := dz / full
	if share > 0.12 {
		p.id[k] = id
	}
	if reflectivity > 0 {
		p.mu[k] *= 1 + (reflectivity-1)*min(1, max(0, share*1.5))
	}
}
