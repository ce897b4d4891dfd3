package demo

import (
	"math"
	"math/rand/v2"

	"shadowgap/eval/scene"
)

// sight is where the middle of a capture's track lies and which way the boat goes.
type sight struct {
	e, n, course float64
	sin, cos     float64
	reach        float64 // things farther from the middle than this are left out, metres
}

func newSight(e, n, course, reach float64) *sight {
	sin, cos := math.Sincos(course * math.Pi / 180)
	return &sight{e: e, n: n, course: course, sin: sin, cos: cos, reach: reach}
}

// spot turns lake coordinates into x to starboard and y ahead; ok is false for what is too far off to be seen. size is how
// far the thing reaches.
func (v *sight) spot(e, n, size float64) (x, y float64, ok bool) {
	de, dn := e-v.e, n-v.n
	return de*v.cos - dn*v.sin, de*v.sin + dn*v.cos, math.Hypot(de, dn) < v.reach+size
}

// angle turns an angle from east into one from starboard.
func (v *sight) angle(a float64) float64 { return a + v.course }

// look puts what the boat can see into a Spec. Fish hold their place only roughly: between legs they move.
func (l *lake) look(v *sight, leg int, s *scene.Spec) {
	mounds := func(in []scene.Mound) (out []scene.Mound) {
		for _, m := range in {
			var ok bool
			if m.X, m.Y, ok = v.spot(m.X, m.Y, 3*m.RadiusX); ok {
				out = append(out, m)
			}
		}
		return out
	}
	s.Humps, s.Swells = mounds(l.humps), mounds(l.swells)
	for _, r := range l.ridges {
		var ok bool
		if r.X, r.Y, ok = v.spot(r.X, r.Y, r.LengthM); ok {
			r.AngleDeg = v.angle(r.AngleDeg)
			s.Ridges = append(s.Ridges, r)
		}
	}
	for _, r := range l.ripples {
		var ok bool
		if r.X, r.Y, ok = v.spot(r.X, r.Y, r.RadiusM); ok {
			r.AngleDeg = v.angle(r.AngleDeg)
			s.Ripples = append(s.Ripples, r)
		}
	}
	s.Rocks = v.rocks(l.rocks)
	for _, f := range l.fields {
		var ok bool
		if f.X, f.Y, ok = v.spot(f.X, f.Y, f.RadiusX); ok {
			f.Rocks = v.rocks(f.Rocks)
			s.Fields = append(s.Fields, f)
		}
	}
	for _, t := range l.timber {
		var ok bool
		if t.X, t.Y, ok = v.spot(t.X, t.Y, t.LengthM); ok {
			t.AngleDeg = v.angle(t.AngleDeg)
			s.Timber = append(s.Timber, t)
		}
	}
	for _, b := range l.structures {
		var ok bool
		if b.X, b.Y, ok = v.spot(b.X, b.Y, b.HalfLongM); ok {
			b.AngleDeg = v.angle(b.AngleDeg)
			s.Structures = append(s.Structures, b)
		}
	}
	for _, w := range l.weeds {
		var ok bool
		if w.X, w.Y, ok = v.spot(w.X, w.Y, w.RadiusX); ok {
			s.Weeds = append(s.Weeds, w)
		}
	}
	for i, f := range l.fish {
		who := uint64(i)
		if f.School > 0 {
			who = uint64(1000 + f.School)
		}
		swim := rand.New(rand.NewPCG(lakeSeed+who, uint64(leg)))
		f.X += 0.9 * swim.NormFloat64()
		f.Y += 0.9 * swim.NormFloat64()
		turn := 180 * swim.Float64()
		var ok bool
		if f.X, f.Y, ok = v.spot(f.X, f.Y, f.LengthM); ok {
			f.AngleDeg = v.angle(f.AngleDeg + turn)
			s.Fish = append(s.Fish, f)
		}
	}
}

func (v *sight) rocks(in []scene.Rock) (out []scene.Rock) {
	for _, r := range in {
		var ok bool
		if r.X, r.Y, ok = v.spot(r.X, r.Y, r.HalfLongM); ok {
			r.AngleDeg = v.angle(r.AngleDeg)
			out = append(out, r)
		}
	}
	return out
}

// spec makes the capture number i, taken when the boat is at newest: the top row lies abeam of it, the others behind it.
func (l *lake) spec(i, leg int, part stretch, k look, newest state, minutes float64) scene.Spec {
	s := scene.Spec{Seed: lakeSeed + 1 + int64(i), RangeM: part.rangeM, SpeedMps: newest.speed, PingHz: part.pingHz}
	k.lay(&s)
	ue, un := unit(newest.course)
	half := s.TrackM() / 2
	e, n := newest.e-half*ue, newest.n-half*un
	s.AltitudeM = depthM(e, n) - draftM
	// The basin bends so slowly that within a capture it is a plane.
	const step = 5
	s.SlopeX = -(depthM(e+step*un, n-step*ue) - depthM(e-step*un, n+step*ue)) / (2 * step)
	s.SlopeY = -(depthM(e+step*ue, n+step*un) - depthM(e-step*ue, n-step*un)) / (2 * step)
	l.look(newSight(e, n, newest.course, math.Hypot(s.RangeM, half)+5), leg, &s)
	s.Screen.DepthM = l.bottomDepthM(newest.e, newest.n)
	s.Screen.WaterC = waterC(minutes)
	record(&s)
	k.cut(&s)
	return s
}

// record draws how good the recording is.
func record(s *scene.Spec) {
	rng := rand.New(rand.NewPCG(uint64(s.Seed), 2))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*rng.Float64() }
	s.Bottom = scene.Bottom{Reflectivity: 1, PatchDB: in(0.3, 1.2), PatchM: in(1.5, 5)}
	if rng.Float64() < 0.3 {
		s.Bottom.Grit = in(0.0005, 0.003)
	}
	s.Sonar = scene.Sonar{
		BeamDeg: in(0.4, 0.9), Looks: 1 + rng.IntN(3), PulseBlur: in(0, 0.18), AbsorbDBkm: 100, NoiseDB: in(-23, -15), FillDB: in(-25, -14),
		GainSpread: in(-0.25, 0.25), GainAngle: in(0.75, 1), GainAbsorbed: in(0.6, 1.2),
	}
	s.Flaws = scene.Flaws{
		HeaveM: s.PixelM() * in(0.1, 0.5), RollDB: in(0.1, 0.6), SpeedJitter: in(0, 0.06), TransmitPx: 3 + rng.IntN(4),
		TransmitGain: in(0.8, 1),
	}
	if rng.Float64() < 0.6 {
		s.Flaws.SurfaceDB, s.Flaws.SurfaceM = in(-10, -1), s.AltitudeM*in(0.07, 0.2)
	}
	if rng.Float64() < 0.25 {
		s.Flaws.DropRate, s.Flaws.DropRepeat = in(0.003, 0.012), rng.Float64() < 0.5
	}
	if rng.Float64() < 0.25 {
		s.Flaws.InterfRate = in(0.002, 0.008)
	}
	if rng.Float64() < 0.4 {
		s.Flaws.FadeFrom, s.Flaws.FadeDB = in(0.55, 0.85), in(3, 12)
	}
	s.Display.Level, s.Display.RangeDB = in(0.25, 0.38), 42
	if rng.Float64() < 0.25 {
		s.Display.Log, s.Display.Level = true, in(0.42, 0.55)
	}
}

// waterC is the water temperature at the transducer some minutes into the morning, degrees Celsius.
func waterC(minutes float64) float64 { return math.Round((14.2+0.03*minutes)*10) / 10 }
