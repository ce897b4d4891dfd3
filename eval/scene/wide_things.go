package scene

import "math"

// things puts what is to be found on the bottom and over it. Some scenes get nothing; with those whose things are out of view or
// lost in speckle they are about a quarter.
func (w *wideDice) things() {
	s := w.s
	if w.chance(0.24) {
		if w.chance(0.4) {
			w.clutter(w.from(1, 3))
		}
		return
	}
	switch w.weighted(0.25, 0.12, 0.63) {
	case 0:
		w.hump()
	case 1:
		w.rockHump()
	}
	for _, t := range []struct {
		chance float64
		put    func()
	}{
		{0.1, w.steepHump},
		{0.65, func() { w.rocks(w.from(1, 9)) }},
		{0.25, func() { w.boulders(w.from(1, 4)) }},
		{0.15, w.scatter},
		{0.28, func() { w.rockField(w.place(0.2)) }},
		{0.3, func() { w.timber(w.from(1, 3)) }},
		{0.45, func() { w.fish(w.from(1, 5)) }},
		{0.4, func() { w.lowFish(w.from(1, 4)) }},
		{0.25, func() { w.edgeFish(w.from(1, 3)) }},
		{0.22, w.school},
		{0.22, func() { w.structures(w.from(1, 2)) }},
		{0.14, w.barge},
		{0.1, w.steepRidge},
		{0.22, w.weed},
		{0.06, w.ladder},
	} {
		if w.chance(t.chance) {
			t.put()
		}
	}
	if len(s.Rocks)+len(s.Fish)+len(s.Timber)+len(s.Structures) == 0 {
		w.rocks(w.from(1, 4))
	}
	w.roughen()
}

// roughen gives some rocks broken outlines.
func (w *wideDice) roughen() {
	for i := range w.s.Rocks {
		w.s.Rocks[i].Uneven = w.in(0, 0.5)
	}
	for i := range w.s.Fields {
		for j := range w.s.Fields[i].Rocks {
			w.s.Fields[i].Rocks[j].Uneven = w.in(0, 0.45)
		}
	}
}

// steepHump almost closes the water column.
func (w *wideDice) steepHump() {
	s := w.s
	h := s.AltitudeM * w.in(0.45, 0.88)
	s.Humps = append(s.Humps, Mound{
		X: w.NormFloat64() * s.AltitudeM * 0.3, Y: w.in(-0.4, 0.4) * s.TrackM(), RadiusX: s.AltitudeM * w.in(0.8, 3),
		RadiusY: s.TrackM() * w.in(0.03, 0.12), HeightM: h, Reflectivity: w.in(0.8, 1.8),
	})
}

// boulders are rocks large enough to show their shape.
func (w *wideDice) boulders(n int) {
	for range n {
		x, y := w.place(0.2)
		w.s.Rocks = append(w.s.Rocks, w.rock(x, y, min(w.size(9, 30, 0.3, 4), 0.3*w.s.AltitudeM)))
	}
}

// scatter strews small stones over the whole swath.
func (w *wideDice) scatter() {
	for range w.from(12, 60) {
		x, y := w.place(0.1)
		w.s.Rocks = append(w.s.Rocks, w.rock(x, y, w.size(1.3, 4, 0.04, 0.6)))
	}
}

// lowFish hang so close to the bottom that highlight and shadow lie 3 to 10 pixels apart.
func (w *wideDice) lowFish(n int) {
	s := w.s
	for range n {
		x, y := w.place(0)
		f := w.fishAt(x, y, 0)
		slant := math.Hypot(x, s.AltitudeM)
		// The shadow begins at slant/(1 - z/h); solved for the gap beyond the highlight's own half length.
		gap := w.in(3, 10)*w.px + f.LengthM/3
		f.OffBottomM = s.AltitudeM * gap / (slant + gap)
		s.Fish = append(s.Fish, f)
	}
}

// edgeFish show at or just inside the first return.
func (w *wideDice) edgeFish(n int) {
	s := w.s
	for range n {
		x, y := w.place(0)
		off := s.AltitudeM * w.in(0.05, 0.35)
		f := w.fishAt(x, y, off)
		reach := s.AltitudeM * w.in(0.88, 1.08)
		f.X = math.Copysign(math.Sqrt(max(0.01, reach*reach-(s.AltitudeM-off)*(s.AltitudeM-off))), x)
		s.Fish = append(s.Fish, f)
	}
}

// barge is a hollow hull: bright sides, cross-beams, dark inside.
func (w *wideDice) barge() {
	s := w.s
	x, y := w.place(0.6)
	b := Structure{Shape: "barge", X: x, Y: y, AngleDeg: w.in(0, 180), Strength: w.logIn(0.8, 3), HalfLongM: w.size(30, 140, 1.5, 14)}
	b.HalfShortM = b.HalfLongM * w.in(0.15, 0.4)
	b.HeightM = min(0.35*s.AltitudeM, b.HalfShortM*w.in(0.25, 0.8))
	s.Structures = append(s.Structures, b)
}

// side is one that the panel shows.
func (w *wideDice) side() int {
	if w.s.StarboardPx == 0 || w.s.PortPx > 0 && w.chance(0.5) {
		return portSide
	}
	return starboardSide
}

// ladder is a frame standing in the water column.
func (w *wideDice) ladder() {
	s := w.s
	side := w.side()
	water := s.AltitudeM / s.PixelM()
	long := int(float64(s.Pings) * w.in(0.08, 0.35))
	at := w.IntN(max(1, s.Pings-long))
	inner := water * w.in(0.35, 0.75)
	wide := min(water*0.35, w.logIn(8, 30)/w.kx)
	if wide < 4 || long < 8 {
		return
	}
	f := Frame{
		Side: side, Row0: at, Row1: at + long, Rails: []float64{inner, inner + wide}, Lean: w.NormFloat64() * 0.03,
		RungRows: max(3, int(w.logIn(4, 14)/w.ky)), RailPx: max(1, int(w.in(1, 2.5)/w.kx)), Strength: w.logIn(1, 8),
		HeightM: s.AltitudeM * w.in(0.3, 0.7),
	}
	if w.chance(0.4) {
		f.Rails = []float64{inner, inner + wide/2, inner + wide}
	}
	s.Frames = append(s.Frames, f)
}

// walls adds quays and steep banks.
func (w *wideDice) walls() {
	s := w.s
	if !w.chance(0.2) {
		return
	}
	for range w.from(1, 2) {
		side := w.side()
		long := int(float64(s.Pings) * w.in(0.15, 1))
		row := w.IntN(s.Pings - long + 1)
		near := w.deep + 0.06
		if near > 0.8 {
			continue
		}
		q := Quay{
			Side: side, Row0: row, Row1: row + long, At0: w.in(near, 0.98), Wander: w.logIn(0.002, 0.08),
			CellRows: float64(s.Pings) * w.logIn(0.02, 0.3),
			Ragged:   w.pick(0, 0, 0.3, 0.8), WidePx: max(1, int(w.logIn(1.3, 8)/w.kx)), Strength: w.logIn(4, 80),
			Through: w.pick(0, 0, 0.01, 0.03),
		}
		q.At1 = min(0.99, max(near, q.At0+w.NormFloat64()*0.12))
		// Two walls of one side do not overlap.
		clash := false
		for _, o := range s.Quays {
			clash = clash || o.Side == side && q.Row0 < o.Row1 && o.Row0 < q.Row1
		}
		if !clash {
			s.Quays = append(s.Quays, q)
		}
	}
}

// splice joins pieces of record and moves things of the later pieces along.
func (w *wideDice) splice() {
	s := w.s
	if !w.chance(0.16) || s.Pings < 60 {
		return
	}
	rise := 0.0
	row := 0
	for range w.from(1, 2) {
		row += int(float64(s.Pings) * w.in(0.15, 0.6))
		if row >= s.Pings-8 {
			break
		}
		to := s.AltitudeM * (w.logIn(0.65, 1.45) - 1)
		s.Joints = append(s.Joints, Joint{Row: row, SkipM: 2*s.TrackM() + 20, RiseM: to - rise})
		rise = to
		// A wall rarely goes on in the next piece.
		for i := range s.Quays {
			if q := &s.Quays[i]; q.Row0 < row && q.Row1 > row && w.chance(0.7) {
				q.Row1 = row
			}
		}
	}
	s.SlopeY = 0
	s.shift()
}

// shift moves everything that lies past a joint to the piece of track that is shown there.
func (s *Spec) shift() {
	at := func(y *float64) {
		row := int((s.TrackM()/2 - *y) / s.RowM())
		for _, j := range s.Joints {
			if row >= j.Row {
				*y -= j.SkipM
			}
		}
	}
	each(s.Humps, at, func(m *Mound) *float64 { return &m.Y })
	each(s.Swells, at, func(m *Mound) *float64 { return &m.Y })
	each(s.Ridges, at, func(r *Ridge) *float64 { return &r.Y })
	each(s.Ripples, at, func(r *Ripples) *float64 { return &r.Y })
	each(s.Rocks, at, func(r *Rock) *float64 { return &r.Y })
	for _, f := range s.Fields {
		each(f.Rocks, at, func(r *Rock) *float64 { return &r.Y })
	}
	each(s.Timber, at, func(t *Timber) *float64 { return &t.Y })
	each(s.Structures, at, func(t *Structure) *float64 { return &t.Y })
	each(s.Weeds, at, func(b *WeedBed) *float64 { return &b.Y })
	each(s.Fish, at, func(f *Fish) *float64 { return &f.Y })
}

// each changes the place along the track of all things of one sort.
func each[T any](things []T, change func(y *float64), y func(*T) *float64) {
	for i := range things {
		change(y(&things[i]))
	}
}
