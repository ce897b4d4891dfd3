package scene

import "math"

func (w *wideDice) echo() {
	w.s.Sonar = Sonar{
		BeamDeg: w.in(0.2, 1.2), PulseBlur: w.in(0, 0.28), AbsorbDBkm: w.in(20, 130), NoiseDB: w.in(-32, -12), FillDB: w.in(-34, -13),
		GainSpread: w.NormFloat64() * 0.25, GainAngle: w.in(0.35, 1.05), GainAbsorbed: w.in(0.5, 1.3),
	}
	if w.chance(0.12) {
		w.s.Sonar.NoiseDB = w.in(-12, -6)
	}
	if w.raw {
		w.s.Sonar.PulseBlur = w.in(0, 0.06)
	}
	f := &w.s.Flaws
	f.HeaveM, f.RollDB, f.SpeedJitter = w.s.PixelM()*w.in(0, 0.6), w.in(0, 0.8), w.in(0, 0.3)
	if w.chance(0.3) {
		f.FadeFrom, f.FadeDB = w.in(0.4, 0.85), w.in(3, 18)
	}
}

// record decides how the record spoils what was sampled: its speckle, its gain, and what it adds or loses.
func (w *wideDice) record() {
	s := w.s
	r := &s.Record
	*r = Record{On: true, Looks: w.logIn(1.2, 5), NoiseOuter: w.logIn(1, 30)}
	if w.chance(0.5) {
		r.KShape, r.KCols, r.KRows = w.logIn(0.7, 7), w.logIn(0.8, 4), w.logIn(0.8, 3)
	}
	if w.raw && w.chance(0.6) {
		r.Looks, r.KCols, r.KRows = w.logIn(1.2, 2.5), 1, 1
	}
	if w.chance(0.25) && !w.raw {
		r.AlongRho = w.in(0.3, 0.85)
	}
	striped := 0.4
	if w.raw {
		striped = 0.2
	}
	if w.chance(striped) {
		r.RowDB = w.logIn(0.08, 1.1)
	}
	if w.chance(striped) {
		r.RowSlowDB = w.logIn(0.2, 1.5)
	}
	widest := max(s.PortPx, s.StarboardPx)
	w.ghosts(widest)
	if w.chance(0.4) {
		r.FarDB = w.in(2, 16)
	}
	if w.chance(0.35) {
		r.StripDB, r.StripPx = w.in(2, 10), float64(widest)*w.in(0.02, 0.2)
	}
	if w.chance(0.3) {
		r.SideDB = [2]float64{w.NormFloat64() * 2.5, w.NormFloat64() * 2.5}
	}
	if w.chance(0.25) {
		s.Flaws.InterfRate = w.logIn(0.001, 0.012)
	}
}

// ghosts adds steps of the gain, echoes that come twice or across, lines, and holes, to sides of at most widest samples.
func (w *wideDice) ghosts(widest int) {
	s := w.s
	r := &s.Record
	if w.chance(0.22) {
		for range w.from(1, 3) {
			g := GainStep{DB: w.pick(-1, 1) * w.in(0.6, 4)}
			if w.chance(0.5) {
				g.Row = 1 + w.IntN(s.Pings)
			} else {
				g.Col = 1 + w.IntN(widest)
			}
			r.Steps = append(r.Steps, g)
		}
	}
	if w.chance(0.18) {
		for range w.from(1, 2) {
			r.Echoes = append(r.Echoes, Line{
				Side: w.IntN(3), Times: w.pick(2, 2, w.in(1.3, 3)), WidePx: w.logIn(0.8, 9) / w.kx, Strength: w.logIn(0.2, 2),
				Flicker: w.in(0, 0.5),
			})
		}
	}
	if w.chance(0.12) && s.PortPx > 0 && s.StarboardPx > 0 {
		r.Cross = w.logIn(0.01, 0.15)
	}
	if w.chance(0.14) {
		for range w.from(1, 4) {
			r.CrossLines = append(r.CrossLines, w.line(w.in(0.05, 0.98)*float64(widest)))
		}
	}
	if w.chance(0.17) {
		fill := []string{"black", "black", "repeat", "grey", "noise"}[w.IntN(5)]
		for range w.from(1, 4) {
			n := max(1, int(w.logIn(1, 24)/w.ky))
			row := w.IntN(max(1, s.Pings-n))
			r.Holes = append(r.Holes, Hole{row, min(s.Pings, row+n), fill})
		}
	}
}

// strays lets single pulses of other sounders in.
func (w *wideDice) strays() {
	if !w.chance(0.4) {
		return
	}
	for range w.from(1, 2) {
		long := max(1, int(w.logIn(0.05, 1)*float64(w.s.Pings)))
		row := w.IntN(max(1, w.s.Pings-long+1))
		t := Stray{
			Side: w.IntN(3), Row0: row, Row1: min(w.s.Pings, row+long), Share: w.logIn(0.02, 0.5), LongPx: w.logIn(2, 25), Strength: w.in(0.15, 0.9),
		}
		if w.chance(0.4) {
			t.Drift, t.Share, t.LongPx = w.pick(-1, 1)*w.logIn(0.1, 40), w.in(0.4, 1), w.logIn(2, 12)
		}
		w.s.Flaws.Strays = append(w.s.Flaws.Strays, t)
	}
}

// shells strews small bright things over the bottom.
func (w *wideDice) shells() {
	if w.chance(0.3) {
		w.s.Bottom.Shells = Shells{Share: w.logIn(5e-6, 1e-3), Gain: w.logIn(2, 15), Cols: w.logIn(0.5, 5), Rows: w.logIn(0.3, 5)}
	}
}

// line is a ghost line at a column.
func (w *wideDice) line(col float64) Line {
	l := Line{Side: w.IntN(3), Col: max(0.5, col), WidePx: max(0.4, w.logIn(0.4, 3)/w.kx), Strength: w.logIn(0.03, 1.2),
		Flicker: w.in(0, 0.8)}
	if w.chance(0.3) {
		l.Row0 = w.IntN(w.s.Pings)
		l.Row1 = min(w.s.Pings, l.Row0+1+int(w.logIn(0.05, 1)*float64(w.s.Pings)))
	}
	if w.chance(0.15) {
		l.DashRows = max(1, int(w.logIn(2, 20)/w.ky))
	}
	return l
}

func (w *wideDice) water() {
	s := w.s
	cols := s.AltitudeM / s.PixelM()
	if w.chance(0.4) {
		s.Water.SpeckRate, s.Water.SpeckGain, s.Water.SpeckMax = w.logIn(0.001, 0.1), w.logIn(0.1, 4), w.from(1, 3)
	}
	if w.chance(0.22) {
		for range w.from(1, 4) {
			long := max(3, int(float64(s.Pings)*w.logIn(0.03, 0.5)))
			row := w.IntN(max(1, s.Pings-long))
			c := Cloud{
				Side: w.IntN(2), Row0: row, Row1: min(s.Pings, row+long), Cell: max(3, cols*w.logIn(0.1, 0.7)), Aspect: w.logIn(0.15, 3),
				Strength: w.logIn(0.02, 0.5), Dense: w.in(-0.3, 0.9), Fade: 1,
			}
			if w.chance(0.4) {
				c.FadeIn, c.Fade = w.in(0, 0.5), w.in(0.6, 1)
			}
			s.Water.Clouds = append(s.Water.Clouds, c)
		}
	}
	if w.chance(0.35) {
		for range w.from(1, 6) {
			s.Water.Lines = append(s.Water.Lines, w.line(cols*w.in(0.03, 0.97)))
		}
	}
	if w.chance(0.25) {
		s.Flaws.SurfaceDB, s.Flaws.SurfaceM = w.in(-12, 3), s.AltitudeM*w.in(0.05, 0.25)
	}
}

// nadir draws the transmit pulse in one of the ways displays have.
func (w *wideDice) nadir() {
	n := &w.s.Nadir
	n.On = true
	// Widths are picked as shown and kept within the water column.
	water := w.s.AltitudeM / w.s.PixelM()
	wide := func(lo, hi float64) int { return max(1, int(min(w.logIn(lo, hi)/w.kx, water*0.7))) }
	n.Flicker = w.pick(0, 0, w.in(0, 0.4))
	top := w.in(0.55, 1)
	switch w.weighted(0.28, 0.17, 0.17, 0.15, 0.05, 0.18) {
	case 0: // one line
		n.Bands = []NadirBand{{0, wide(0.5, 3), top, 0}}
	case 1: // a broad flat band
		n.Bands = []NadirBand{{0, wide(3, 30), top, 0}}
	case 2: // two bands with a dark line or a gap between
		gap := wide(0.5, 5)
		n.Bands = []NadirBand{{gap, gap + wide(1, 18), top, 0}}
		if w.chance(0.5) {
			n.Bands = append(n.Bands, NadirBand{0, gap, top * w.in(0.2, 0.9), 0})
		}
	case 3: // thin parallel lines
		at := 0
		for range w.from(2, 5) {
			n.Bands = append(n.Bands, NadirBand{at, at + wide(0.5, 1.5), top * w.in(0.4, 1), w.IntN(3)})
			at += 1 + wide(2, 12)
		}
	case 4: // dashed
		n.Bands = []NadirBand{{0, wide(0.5, 3), top, 0}}
		n.DashOn, n.DashOff = max(1, int(w.logIn(3, 20)/w.ky)), max(1, int(w.logIn(2, 14)/w.ky))
	default: // none
	}
	if w.chance(0.25) {
		n.DarkCols = int(math.Min(w.logIn(2, 30)/w.kx, water*0.8))
	}
}
