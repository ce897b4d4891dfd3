package scene

import "math"

func (d *dice) ripple() {
	s := d.s
	x, y := d.place(0.1)
	wave := s.PixelM() * d.logIn(9, 40)
	s.Ripples = append(s.Ripples, Ripples{
		X: x, Y: y, RadiusM: s.RangeM * d.in(0.15, 0.6), WaveM: wave, AmpM: wave * d.in(0.008, 0.03), AngleDeg: d.in(0, 180),
	})
}

// place picks a spot on the bottom, clear of the nadir and the outer edge.
func (d *dice) place(clear float64) (x, y float64) {
	s := d.s
	sign := d.pick(-1, 1)
	side := s.StarboardPx
	if sign < 0 {
		side = s.PortPx
	}
	reach := math.Sqrt(max(0, math.Pow(float64(side)*s.PixelM()*0.9, 2)-s.AltitudeM*s.AltitudeM))
	near := min(s.AltitudeM*0.5, 0.5*reach)
	return sign * (near + (reach-near)*d.in(clear*0.3, 1)), s.TrackM() * d.in(-0.46, 0.46)
}

// size is a length drawn between so many pixels, held to what lakes have.
func (d *dice) size(loPx, hiPx, loM, hiM float64) float64 {
	px := d.px
	if px == 0 {
		px = d.s.PixelM()
	}
	return min(hiM, max(loM, d.logIn(loPx, hiPx)*px))
}

func (d *dice) rock(x, y, half float64) Rock {
	return Rock{
		X: x, Y: y, HalfLongM: half * d.in(1, 1.5), HalfShortM: half * d.in(0.7, 1), HeightM: half * d.in(0.6, 1.4),
		AngleDeg: d.in(0, 180), Uneven: d.in(0, 0.25), Strength: d.logIn(0.5, 2.2),
	}
}

func (d *dice) rocks(n int) {
	for range n {
		x, y := d.place(0.2)
		d.s.Rocks = append(d.s.Rocks, d.rock(x, y, d.size(2.5, 14, 0.1, 1.3)))
	}
}

func (d *dice) rockField(x, y float64) {
	s := d.s
	f := RockField{X: x, Y: y, RadiusX: s.RangeM * d.in(0.08, 0.22), RadiusY: min(s.TrackM()*0.3, s.RangeM*d.in(0.08, 0.25))}
	base := d.size(1.6, 4, 0.08, 0.5)
	f.StandOutM = base * 2.2
	n := d.from(25, 110)
	for range n {
		r, a := math.Sqrt(d.Float64()), d.in(0, 2*math.Pi)
		half := base * d.logIn(0.6, 1.5)
		if d.chance(0.05) {
			half = base * d.in(2.4, 4)
		}
		k := d.rock(f.X+r*f.RadiusX*math.Cos(a), f.Y+r*f.RadiusY*math.Sin(a), half)
		if half >= base*2.4 {
			k.HeightM = max(k.HeightM, f.StandOutM)
		} else {
			k.HeightM = min(k.HeightM, f.StandOutM*0.9)
		}
		f.Rocks = append(f.Rocks, k)
	}
	s.Fields = append(s.Fields, f)
}

// fishAt puts one suspended target at a spot.
func (d *dice) fishAt(x, y, off float64) Fish {
	length := d.size(6, 24, 0.25, 1.2)
	return Fish{
		X: x, Y: y, OffBottomM: off, LengthM: length, WidthM: length * d.in(0.3, 0.5), ThickM: max(0.1, length*d.in(0.25, 0.45)),
		AngleDeg: d.in(0, 180), Strength: d.logIn(2.5, 25),
	}
}

func (d *dice) offBottom() float64 { return d.logIn(0.12, 0.5*d.s.AltitudeM) }

func (d *dice) fish(n int) {
	s := d.s
	for range n {
		x, y := d.place(0)
		if d.chance(0.25) {
			// Nearer than the first return: it shows in the water column.
			f := d.fishAt(x, y, s.AltitudeM*d.in(0.25, 0.7))
			f.X = math.Copysign(s.AltitudeM*d.in(0.05, 0.5), x)
			s.Fish = append(s.Fish, f)
			continue
		}
		f := d.fishAt(x, y, d.offBottom())
		s.Fish = append(s.Fish, f)
		if d.chance(0.2) {
			g := d.fishAt(x+d.NormFloat64()*f.LengthM*1.5, y+math.Copysign(f.LengthM*d.in(1.2, 3), d.NormFloat64()),
				f.OffBottomM*d.in(0.7, 1.4))
			g.LengthM, g.WidthM, g.ThickM = f.LengthM, f.WidthM, f.ThickM
			s.Fish = append(s.Fish, g)
		}
	}
}

// school adds many fish close together: one mark.
func (d *dice) school() {
	s := d.s
	x, y := d.place(0)
	off := d.offBottom() + 0.2
	wide, high := s.PixelM()*d.logIn(8, 26), s.PixelM()*d.logIn(3, 9)
	number := 1
	for _, f := range s.Fish {
		number = max(number, f.School+1)
	}
	one := d.fishAt(0, 0, off)
	for range d.from(8, 26) {
		f := one
		k := d.in(0.35, 0.7)
		f.LengthM, f.WidthM, f.ThickM = max(one.LengthM*k, 2*s.PixelM()), max(one.WidthM*k, s.PixelM()), max(one.ThickM*k, 0.06)
		f.X, f.Y = x+d.NormFloat64()*wide/2, y+d.NormFloat64()*wide/2
		f.OffBottomM = max(0.1, off+d.NormFloat64()*high/2)
		f.AngleDeg += d.NormFloat64() * 15
		f.School = number
		s.Fish = append(s.Fish, f)
	}
}

func (d *dice) timber(n int) {
	s := d.s
	for range n {
		x, y := d.place(0.3)
		t := Timber{
			X: x, Y: y, AngleDeg: d.in(0, 360), LengthM: d.size(30, 160, 1.5, 12), RadiusM: d.size(1.2, 4, 0.07, 0.35),
			Strength: d.logIn(0.5, 1.8),
		}
		for range d.IntN(6) {
			t.Branches = append(t.Branches, Branch{
				At: d.in(0.2, 1), AngleDeg: d.pick(-1, 1) * d.in(25, 75), LengthM: t.LengthM * d.in(0.12, 0.4),
				RadiusM: t.RadiusM * d.in(0.3, 0.6), RiseM: t.LengthM * d.in(0, 0.12),
			})
		}
		s.Timber = append(s.Timber, t)
	}
}

func (d *dice) structures(n int) {
	s := d.s
	for range n {
		x, y := d.place(1)
		b := Structure{X: x, Y: y, AngleDeg: d.in(0, 180), Strength: d.logIn(0.4, 1.6)}
		switch d.IntN(3) {
		case 0:
			b.Shape, b.HalfLongM, b.HalfShortM = "wall", d.size(20, 70, 1.5, 9), d.size(2, 6, 0.2, 0.8)
			// A wall seen end on throws no broad shadow; keep it roughly along the track.
			b.AngleDeg = 90 + d.NormFloat64()*25
			b.HeightM = d.size(12, 30, 0.7, 2.5)
		case 1:
			b.Shape, b.HalfLongM = "crib", d.size(10, 26, 0.9, 2.5)
			b.HalfShortM, b.HeightM = b.HalfLongM*d.in(0.7, 1), min(2.2, b.HalfLongM*d.in(0.7, 1.2))
		default:
			b.Shape, b.HalfLongM = "hull", d.size(24, 70, 1.8, 8)
			b.HalfShortM = b.HalfLongM * d.in(0.22, 0.35)
			b.HeightM = min(2.5, b.HalfShortM*d.in(0.8, 1.4))
		}
		b.HeightM = min(b.HeightM, 0.45*s.AltitudeM)
		s.Structures = append(s.Structures, b)
	}
}

// steepRidge adds a crest that throws a shadow.
func (d *dice) steepRidge() {
	s := d.s
	x, y := d.place(0.5)
	h := min(0.35*s.AltitudeM, d.size(18, 42, 0.7, 2.5))
	r := Ridge{X: x, Y: y, AngleDeg: 90 + d.NormFloat64()*22, LengthM: s.TrackM() * d.in(0.2, 0.6), HeightM: h, FrontM: h * d.in(1, 2.6),
		BackM: h * d.in(0.8, 2), Reflectivity: d.in(0.8, 1.6)}
	s.Ridges = append(s.Ridges, r)
}

// hump adds a rise under or near the track.
func (d *dice) hump() Mound {
	s := d.s
	h := s.AltitudeM * d.in(0.12, 0.35)
	m := Mound{
		X: d.NormFloat64() * s.AltitudeM * 0.5, Y: d.in(-0.32, 0.32) * s.TrackM(), RadiusX: max(h*d.in(3, 6), s.RangeM*d.in(0.15, 0.35)),
		RadiusY: min(s.TrackM()*0.3, max(h*3, s.TrackM()*d.in(0.08, 0.2))), HeightM: h, Reflectivity: d.in(0.9, 1.8),
	}
	s.Humps = append(s.Humps, m)
	return m
}

// on picks a spot on a mound.
func (d *dice) on(m Mound) (x, y float64) {
	x, y = m.X+d.NormFloat64()*m.RadiusX*0.5, m.Y+d.NormFloat64()*m.RadiusY*0.5
	// Right under the boat nothing throws a shadow.
	if least := d.s.AltitudeM * 0.55; math.Abs(x) < least {
		x = math.Copysign(least+d.Float64()*least, x)
	}
	return x, y
}

func (d *dice) rockHump() {
	s := d.s
	m := d.hump()
	if d.chance(0.6) {
		x, y := d.on(m)
		d.rockField(x, y)
	}
	for range d.from(2, 7) {
		x, y := d.on(m)
		s.Rocks = append(s.Rocks, d.rock(x, y, d.size(3, 12, 0.12, 1.2)))
	}
	for range d.from(1, 5) {
		x, y := d.on(m)
		s.Fish = append(s.Fish, d.fishAt(x, y, d.logIn(0.2, max(0.4, 0.35*s.AltitudeM))))
	}
	d.rocks(d.IntN(3))
	d.fish(d.IntN(2))
}

func (d *dice) clutter(n int) {
	s := d.s
	for range n {
		switch d.IntN(3) {
		case 0:
			d.ripple()
		case 1:
			s.Bottom.PatchDB = d.in(1.5, 3)
		default:
			d.weed()
		}
	}
}

func (d *dice) weed() {
	s := d.s
	x, y := d.place(0.1)
	s.Weeds = append(s.Weeds, WeedBed{
		X: x, Y: y, RadiusX: s.RangeM * d.in(0.06, 0.2), RadiusY: min(s.TrackM()*0.25, s.RangeM*d.in(0.06, 0.25)),
		HeightM: d.in(0.05, 0.22), Strength: d.pick(d.in(0.4, 0.8), d.in(1.3, 3)),
	})
}

func (d *dice) mixed() {
	s := d.s
	if d.chance(0.4) {
		d.hump()
	}
	d.rocks(d.from(0, 6))
	d.fish(d.from(0, 5))
	if d.chance(0.3) {
		d.school()
	}
	if d.chance(0.4) {
		d.timber(d.from(1, 2))
	}
	if d.chance(0.25) {
		d.structures(1)
	}
	if d.chance(0.2) {
		d.steepRidge()
	}
	if d.chance(0.3) {
		x, y := d.place(0.2)
		d.rockField(x, y)
	}
	if d.chance(0.35) {
		d.weed()
	}
	if len(s.Rocks)+len(s.Fish) == 0 {
		d.rocks(2)
	}
}
