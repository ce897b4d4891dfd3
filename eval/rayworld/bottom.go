package rayworld

import "math"

// bottom fills height and backscatter of the bare bottom on both sides.
func (sc *scene) bottom() {
	d := sc.d
	lenM := float64(sc.pings) * sc.pingM
	relief := newField(d, lenM, sc.rangeM, fieldShape{
		longM: sc.rangeM * d.logIn(0.1, 1.2), shortM: sc.cellM * d.logIn(3, 10), slope: d.in(0.8, 1.6),
		stretch: d.logIn(0.3, 4), shear: d.in(-1, 1),
	})
	// Relief that shades itself looks like what is labelled; mostly it stays under the lowest line of sight.
	steep := d.logIn(0.004, 0.12)
	if d.chance(0.87) {
		steep = min(steep, 0.4*sc.depthM/sc.rangeM)
	}
	rough := steep * relief.longest() / 6
	tone := newField(d, lenM, sc.rangeM, fieldShape{
		longM: sc.rangeM * d.logIn(0.05, 1), shortM: sc.cellM * d.logIn(1.6, 6), slope: d.in(0.05, 1.1),
		stretch: d.logIn(0.2, 6), shear: d.in(-1.5, 1.5),
	})
	toneAmp := d.logIn(0.08, 0.7)
	patch := newField(d, lenM, sc.rangeM, fieldShape{
		longM: sc.rangeM * d.logIn(0.15, 0.8), shortM: sc.cellM * d.logIn(4, 15), slope: d.in(0.5, 1.3),
		stretch: d.logIn(0.3, 5), shear: d.in(-1, 1),
	})
	edge, soft, contrast := d.in(-0.8, 1.6), d.logIn(2, 30), d.sign()*d.logIn(0.15, 1.4)
	if d.chance(0.4) {
		contrast = 0
	}
	gravel := newGammaTable(d, d.logIn(0.4, 8))
	gravelShare := float32(0)
	if d.chance(0.6) {
		gravelShare = float32(d.in(0.1, 1))
	}
	gravelInPatch := d.chance(0.5)
	ripple := sc.newRipple()
	ledges, ledgeHeight, ledgeSharp := 0.0, 0.0, 0.0
	if d.chance(0.12) {
		ledges, ledgeHeight, ledgeSharp = d.logIn(0.6, 4), sc.depthM*d.logIn(0.01, 0.08), d.logIn(2, 20)
	}
	slopes := [2]slope{sc.newSlope(), sc.newSlope()}
	patchRow, warp := make([]float32, sc.cells), make([]float32, sc.cells)
	grain := make([]float32, sc.cells)
	for i, sw := range sc.sides {
		for p := range sc.pings {
			x := float64(p) * sc.pingM
			y, step := sw.sign*0.5*sc.cellM, sw.sign*sc.cellM
			z, tn := sc.row(sw.base, p), sc.row(sw.sand, p)
			relief.addRow(z, x, y, step, rough)
			tone.addRow(tn, x, y, step, toneAmp)
			clear(patchRow)
			patch.addRow(patchRow, x, y, step, 1)
			if ripple.height > 0 || slopes[i].bank != 0 || ledges > 0 {
				clear(warp)
				relief.addRow(warp, x, y, step, 1)
			}
			gravel.fill(d, grain)
			for k := range z {
				g := (float64(k) + 0.5) * sc.cellM
				q := 1 / (1 + math.Exp(float64(-(patchRow[k]-float32(edge)))*soft))
				z[k] += slopes[i].at(g, float64(warp[k]))
				share := gravelShare
				if gravelInPatch {
					share *= float32(q)
				}
				tn[k] = float32(math.Exp(float64(tn[k])+contrast*q)) * (1 - share + share*grain[k])
				if ripple.height > 0 {
					z[k] += ripple.at(x, sw.sign*g, float64(warp[k]), float64(patchRow[k]))
				}
				if ledges > 0 {
					z[k] += terrace(float64(warp[k])*ledges, ledgeSharp) * float32(ledgeHeight)
				}
			}
		}
		sc.features(sw)
		lid := float32(0.7 * sc.depthM)
		for k, v := range sw.base {
			if v > lid {
				sw.base[k] = lid
			}
		}
	}
}

// slope is a side's general tilt, with now and then a bank that rises or falls.
type slope struct {
	tilt             float64
	bank, from, wide float64 // metres; no bank where it is 0
}

func (sc *scene) newSlope() slope {
	d := sc.d
	s := slope{tilt: d.in(-0.06, 0.06)}
	if d.chance(0.14) {
		s.bank, s.from, s.wide = d.in(-0.5, 0.6)*sc.depthM, d.in(0.2, 0.95)*sc.rangeM, d.logIn(0.01, 0.15)*sc.rangeM
	}
	return s
}

func (s *slope) at(ground, warp float64) float32 {
	z := s.tilt * ground
	if s.bank != 0 {
		z += s.bank / (1 + math.Exp(-(ground-s.from-warp*s.wide*2)/s.wide*3))
	}
	return float32(z)
}

// terrace is v with its slopes gathered into steps of 1, as outcropping beds lie.
func terrace(v, sharp float64) float32 {
	whole := math.Floor(v)
	t := (v - whole - 0.5) * sharp
	return float32(whole + 0.5 + 0.5*t/(1+math.Abs(t)))
}

func (f *field) longest() float64 { return f.octaves[0].stepY * 2 }

// ripple is a train of sand ripples or waves; height 0 means there is none.
type ripple struct {
	height, kx, ky, warp, edge, skew float64
}

func (sc *scene) newRipple() ripple {
	d := sc.d
	if !d.chance(0.3) {
		return ripple{}
	}
	length := sc.binM * d.logIn(4, 60)
	dir := d.in(0, 2*math.Pi)
	return ripple{
		height: length * d.logIn(0.01, 0.07), kx: math.Cos(dir) * 2 * math.Pi / length, ky: math.Sin(dir) * 2 * math.Pi / length,
		warp: d.in(0.3, 3), edge: d.in(-1, 1), skew: d.in(0, 0.5),
	}
}

func (r *ripple) at(x, y, warp, place float64) float32 {
	m := (place - r.edge) * 2
	if m <= 0 {
		return 0
	}
	phase := r.kx*x + r.ky*y + r.warp*warp
	return float32(r.height * min(m, 1) * math.Sin(phase+r.skew*math.Sin(phase)))
}

// features adds what fools a detector: hollows, mounds without edge, bright and dark patches, scars, weed, scour.
func (sc *scene) features(sw *swath) {
	d := sc.d
	lenM := float64(sc.pings) * sc.pingM
	many := d.IntN(5)
	for range many * d.IntN(6) {
		x, y := d.in(0, lenM), d.in(0.05, 1)*sc.rangeM
		size := sc.binM * d.logIn(3, 40)
		sx := size * d.logIn(0.5, 3)
		depth := -size * d.logIn(0.05, 0.35)
		change := 0.0
		kind := d.IntN(5)
		switch kind {
		case 1: // a mound too gentle to shade
			depth = size * min(d.in(0.01, 0.06), 0.3*sc.depthM/sc.rangeM)
		case 2, 3: // a patch in tone alone
			depth, change = 0, d.sign()*d.logIn(0.3, 1.6)
		case 4:
			depth, change = depth*0.5, d.in(-1, 0.5)
		}
		a, b, turn := d.in(0, 6), d.in(0, 6), d.in(0, 3)
		hard := d.chance(0.4)
		ct, st := math.Cos(turn), math.Sin(turn)
		reach := 2.2 * max(size, sx)
		sc.stamp(x, y, reach, reach, func(_, _, at int, dx, dy float64) {
			u, v := (dx*ct+dy*st)/sx, (dy*ct-dx*st)/size
			r := u*u + v*v
			if r > 5 {
				return
			}
			t := math.Atan2(v, u)
			r *= 1 + 0.35*math.Sin(2*t+a) + 0.25*math.Sin(5*t+b)
			m := math.Exp(-r * 1.5)
			if hard {
				m = 1 / (1 + math.Exp((r-1)*6))
			}
			sw.base[at] += float32(depth * m)
			sw.sand[at] *= float32(math.Exp(change * m))
		})
	}
	for range d.IntN(4) * d.IntN(2) {
		sc.scar(sw)
	}
	if d.chance(0.25) {
		for range d.intIn(1, 4) {
			sc.weed(sw)
		}
	}
}

// scar draws a furrow with thrown-up rims, or just a line in tone.
func (sc *scene) scar(sw *swath) {
	d := sc.d
	x, y := d.in(0, float64(sc.pings)*sc.pingM), d.in(0.1, 1)*sc.rangeM
	dir, bend := d.in(0, 2*math.Pi), d.in(-0.02, 0.02)
	width := sc.binM * d.logIn(1, 5)
	depth, change := width*d.in(0, 0.25), d.in(-1, 0.8)
	step := 0.6 * min(sc.cellM, sc.pingM)
	for range int(d.logIn(20, 500)) {
		dir += bend + d.in(-0.05, 0.05)
		x, y = x+step*math.Cos(dir), y+step*math.Sin(dir)
		if !sw.holds(sc, x, y) {
			break
		}
		at := int(x/sc.pingM)*sc.cells + int(y/sc.cellM)
		w := max(int(width/sc.cellM/2), 0)
		for j := -w - 1; j <= w+1; j++ {
			if q := at + j; q > 0 && q < len(sw.base) {
				if j < -w || j > w {
					sw.base[q] += float32(depth * 0.1)
				} else {
					sw.base[q] -= float32(depth * 0.2)
					sw.sand[q] *= float32(math.Exp(change * 0.4))
				}
			}
		}
	}
}

func (sw *swath) holds(sc *scene, x, y float64) bool {
	return x >= 0 && y >= 2*sc.cellM && x < float64(sc.pings-1)*sc.pingM && y < float64(sc.cells-2)*sc.cellM
}

// weed is a bed of soft stalks: many faint pieces near the bottom, with ragged half shadows.
func (sc *scene) weed(sw *swath) {
	d := sc.d
	x, y := d.in(0, float64(sc.pings)*sc.pingM), d.in(0.1, 0.95)*sc.rangeM
	sx, sy := sc.rangeM*d.logIn(0.02, 0.12), sc.rangeM*d.logIn(0.02, 0.12)
	tall := min(d.logIn(0.1, 1.2), sc.depthM*0.3)
	strength, opacity := d.logIn(0.3, 2.5), d.in(0.05, 0.4)
	n := min(int(sx*sy/(sc.pingM*sc.binM)*d.logIn(0.1, 1)), 6000)
	for range n {
		px, py := x+sx*d.NormFloat64(), y+sy*d.NormFloat64()
		if !sw.holds(sc, px, py) {
			continue
		}
		p := int(px / sc.pingM)
		t := tall * d.in(0.2, 1)
		sw.pieces[p] = append(sw.pieces[p], piece{
			ground: float32(py), height: sw.base[p*sc.cells+int(py/sc.cellM)] + float32(t/2), half: float32(t / 2),
			echo: float32(strength * d.ExpFloat64()), spread: float32(d.in(0.5, 1.5)), opacity: float32(opacity),
		})
	}
}
