package worksworld

import "math"

// owners tells for every native pixel of the record which thing's highlight and shadow lie there; 0 is none.
type owners struct{ high, shadow []int16 }

// lambert is the power of the sine of the grazing angle that bottoms scatter with.
const lambert = 1.2

// echo is the record's strength, native pixels, before speckle: 1 is flat bottom of plain reflectivity.
func (w *world) echo(things bool) ([]float32, *owners) {
	p := w.plan
	out := make([]float32, p.nw*p.nh)
	own := &owners{high: make([]int16, len(out)), shadow: make([]int16, len(out))}
	for _, s := range w.sides {
		n := s.reach
		e := make([]float32, p.nh*n)
		hi, sh := make([]int16, p.nh*n), make([]int16, p.nh*n)
		for y := range p.nh {
			s.shadeRow(y, things, e[y*n:(y+1)*n], hi[y*n:(y+1)*n], sh[y*n:(y+1)*n])
		}
		beam(e, p.nh, n, w.beam0, w.beam1)
		for y := range p.nh {
			for i := range n {
				x := s.column(i)
				if x < 0 || x >= p.nw {
					continue
				}
				k := y*p.nw + x
				out[k], own.high[k], own.shadow[k] = e[y*n+i], hi[y*n+i], sh[y*n+i]
			}
		}
	}
	return out, own
}

// ray is the state of one row while it is walked outward.
type ray struct {
	horizon float64 // steepest line of sight so far, height over ground range
	blocker int16
	slant   float64
	z       float64
}

func (s *side) shadeRow(y int, things bool, e []float32, hi, sh []int16) {
	h := s.world.plan.alt[y]
	base := y * s.ground
	hang := s.hangingAt(y, things)
	r := ray{horizon: math.Inf(-1), z: float64(s.z[base])}
	r.slant = h - r.z
	for j := 1; j < s.ground; j++ {
		k := base + j
		z, rho, id := float64(s.z[k]), float64(s.rho[k]), int16(0)
		if things && s.id[k] != 0 {
			id = s.id[k]
			z += float64(s.up[k])
			rho = float64(s.thingRho[k])
		}
		g := float64(j)
		m := (z - h) / g
		lit := 1.0
		if m < r.horizon {
			lit = max(0, 1+(m-r.horizon)/s.world.penumbra)
		} else {
			r.horizon, r.blocker = m, id
		}
		cast := r.blocker
		for _, f := range hang {
			if g > f.g && m > f.low && m < f.high {
				lit *= 1 - f.dense
				cast = f.id
			}
		}
		slant := math.Hypot(g, h-z)
		dz := z - r.z
		long := math.Hypot(1, dz)
		dot := max(0, (dz*g+(h-z))/(long*slant))
		if rho > 0 {
			v := rho * math.Pow(dot, lambert) * long * (lit + s.world.fill)
			splat(e, v, r.slant, slant)
		}
		if lit > 0.4 && id != 0 && dot > 0 {
			own(hi, id, r.slant, slant)
		}
		if lit < 0.6 {
			own(sh, cast, slant, slant)
		} else if id != 0 && dot < 0.55*h/slant {
			own(sh, id, slant, slant) // a back turned away is as dark as what lies in shadow
		}
		r.slant, r.z = slant, z
	}
	level(e, h)
	for _, f := range hang {
		f.echo(e, hi)
	}
}

// splat spreads v evenly over the slant ranges a to b, at least one sample wide.
func splat(e []float32, v, a, b float64) {
	if a > b {
		a, b = b, a
	}
	if b-a < 1 {
		mid := (a + b) / 2
		a, b = mid-0.5, mid+0.5
	}
	v /= b - a
	for i := max(int(a), 0); i <= int(b) && i < len(e); i++ {
		e[i] += float32(v * max(0, min(b, float64(i+1))-max(a, float64(i))))
	}
}

func own(o []int16, id int16, a, b float64) {
	if id == 0 {
		return
	}
	if a > b {
		a, b = b, a
	}
	for i := max(int(a), 0); i <= int(b) && i < len(o); i++ {
		o[i] = id
	}
}

// level divides by what a flat bottom would return, and bends the strongest echoes down as a receiver does.
func level(e []float32, h float64) {
	for i := range e {
		sl := max(float64(i)+0.5, h*1.01)
		g := math.Sqrt(max(sl*sl-h*h, 0.06*h*h))
		v := float64(e[i]) / (math.Pow(h/sl, lambert) * sl / g)
		e[i] = float32(v / (1 + v/45))
	}
}

// beam smooths along track as the beam widens: spreads of near to far rows at the nearest and farthest sample.
func beam(e []float32, rows, cols int, near, far float64) {
	col := make([]float32, rows)
	for x := range cols {
		sd := near + (far-near)*float64(x)/float64(cols)
		if sd < 0.25 {
			continue
		}
		taps := kernel(sd)
		half := len(taps) / 2
		for y := range col {
			col[y] = e[y*cols+x]
		}
		for y := range rows {
			var v float32
			for t, k := range taps {
				v += k * col[min(max(y+t-half, 0), rows-1)]
			}
			e[y*cols+x] = v
		}
	}
}

func kernel(sd float64) []float32 {
	half := int(math.Ceil(2 * sd))
	k := make([]float32, 2*half+1)
	var sum float32
	for i := range k {
		d := float64(i-half) / sd
		k[i] = float32(math.Exp(-d * d / 2))
		sum += k[i]
	}
	for i := range k {
		k[i] /= sum
	}
	return k
}

// hanging is something in the water over a row: its ground range, the lines of sight that pass its underside and top, and its echo.
type hanging struct {
	id              int16
	g, low, high    float64
	dense           float64 // share of the light it takes
	slant, wide, at float64 // samples, and strength of the echo
}

func (f hanging) echo(e []float32, hi []int16) {
	for i := max(int(f.slant-2.5*f.wide-1), 0); i < len(e) && float64(i) < f.slant+2.5*f.wide+1; i++ {
		d := (float64(i) + 0.5 - f.slant) / f.wide
		e[i] += float32(f.at * math.Exp(-d*d/2))
		if math.Abs(d) < 1.8 {
			hi[i] = f.id
		}
	}
}

func (s *side) hangingAt(y int, things bool) []hanging {
	if !things {
		return nil
	}
	var out []hanging
	h := s.world.plan.alt[y]
	for _, t := range s.swimmers {
		d := (float64(y) - t.row) / t.rows
		if math.Abs(d) > 1.6 {
			continue
		}
		z := min(t.z, 0.85*h)
		amp := math.Exp(-d * d * 1.2)
		f := hanging{id: t.id, g: t.g, at: t.at * amp, wide: t.wide, dense: t.dense * min(1, 1.5*amp)}
		f.low, f.high = (z-t.half-h)/t.g, (z+t.half-h)/t.g
		f.slant = math.Hypot(t.g, h-z) + t.bend*d*d
		out = append(out, f)
	}
	return out
}
