package scene

import "math"

// Wide draws a scene from a wider world than Random's: rougher bottoms, worse records, displays that resample and soften, pictures
// with and without a screen around them. The same seed always gives the same Spec.
func Wide(seed int64) Spec {
	s := Spec{Seed: seed, Kind: KindWide, Detailed: true}
	w := &wideDice{dice: dice{newRand(seed, streamWide*100), &s, 0}}
	w.frame()
	w.sampling()
	w.survey()
	w.ground()
	w.things()
	w.walls()
	w.splice()
	w.echo()
	w.record()
	w.water()
	w.nadir()
	w.display()
	w.overlay()
	w.output()
	w.dice = dice{newRand(seed, streamStray), &s, 0}
	w.strays()
	w.shells()
	return s
}

// format is how much of a screen a picture shows.
type format int

const (
	formatBare   format = iota // both sides fill the picture
	formatOne                  // one side fills it
	formatTile                 // a piece of bottom
	formatScreen               // a screen with furniture
)

type wideDice struct {
	dice
	format format
	w, h   int     // of the panel as shown, pixels
	kx, ky float64 // pixels shown a sample or ping
	soft   bool    // enlarged until nothing is sharp
	raw    bool    // every sample a pixel and hardly any texture but speckle
	deep   float64 // altitude over range
}

// one returns a with probability p, else b.
func (d *dice) one(p, a, b float64) float64 {
	if d.chance(p) {
		return a
	}
	return b
}

func (w *wideDice) weighted(weights ...float64) int {
	sum := 0.0
	for _, v := range weights {
		sum += v
	}
	at := w.Float64() * sum
	for i, v := range weights {
		if at -= v; at < 0 {
			return i
		}
	}
	return len(weights) - 1
}

// frame picks the size of the picture and the place of the panel in it.
func (w *wideDice) frame() {
	s := w.s
	w.format = format(w.weighted(0.45, 0.17, 0.09, 0.29))
	w.soft = w.chance(0.16)
	w.raw = !w.soft && w.chance(0.3)
	switch w.format {
	case formatBare:
		area, aspect := w.logIn(0.4e6, 3e6), w.logIn(0.65, 2.2)
		w.w, w.h = int(math.Sqrt(area*aspect)), int(math.Sqrt(area/aspect))
	case formatOne:
		area, aspect := w.logIn(0.2e6, 1.8e6), w.logIn(0.4, 1.6)
		w.w, w.h = int(math.Sqrt(area*aspect)), int(math.Sqrt(area/aspect))
	case formatTile:
		w.w, w.h = int(w.logIn(220, 760)), int(w.logIn(200, 640))
	default:
		w.screen()
		return
	}
	if w.soft {
		w.w, w.h = w.w*3/5, w.h*3/5
	}
	s.ScreenW, s.ScreenH = w.w, w.h
	s.Screen.TextPx = max(11, w.h/45)
}

// sampling decides how many samples and pings become the panel's pixels.
func (w *wideDice) sampling() {
	s := w.s
	c := &s.Chain
	*c = Chain{On: true, BinX: 1, BinY: 1, W: w.w, H: w.h, Kernel: KernelNearest}
	w.resizing()
	if !w.raw {
		if w.chance(0.25) {
			c.BinX = w.from(1, 3)
		}
		if w.chance(0.25) {
			c.BinY = w.from(1, 2)
		}
		if !w.soft && w.chance(0.12) {
			c.PostSmooth = w.in(0.3, 1.0)
		}
	}
	if !w.soft && w.chance(0.1) {
		c.Sharpen = w.in(0.2, 1.2)
	}
	cols, rows := float64(w.w)/w.kx*float64(c.BinX), float64(w.h)/w.ky*float64(c.BinY)
	// So many samples are a third of a second's work; a finer record is thinned in both ways, one of whole pixels cut down.
	const most = 1.6e6
	k := math.Sqrt(most / (cols * rows))
	if k < 1 && w.raw && w.format != formatScreen {
		w.w, w.h = int(float64(w.w)*k), int(float64(w.h)*k)
		s.ScreenW, s.ScreenH, c.W, c.H = w.w, w.h, w.w, w.h
		cols, rows = float64(w.w), float64(w.h)
	} else if k < 1 {
		cols, rows = cols*k, rows*k
	}
	w.kx, w.ky = float64(w.w)/cols, float64(w.h)/rows
	s.Rows = max(24, int(rows))
	s.Pings = s.Rows
	w.split(max(24, int(cols)))
}

// resizing decides how the display makes its pixels: how many a sample and a ping become, by which kernel, and how soft.
func (w *wideDice) resizing() {
	c := &w.s.Chain
	w.kx, w.ky = 1, 1
	kernels := []Kernel{KernelArea, KernelNearest, KernelLinear, KernelCubic}
	switch {
	case w.raw:
		// One sample, one pixel.
	case w.soft:
		w.kx = w.logIn(1.4, 2.5)
		w.ky = min(2.5, w.kx*w.logIn(0.7, 1.4))
		c.Kernel = kernels[2+w.IntN(2)]
		c.Smooth = w.in(0.4, 1.5)
		if w.chance(0.45) {
			c.PostSmooth = w.in(0.3, 1.4)
		}
	case w.chance(0.72):
		w.kx = w.logIn(0.45, 2.5)
		w.ky = w.logIn(0.45, 2.5)
		if w.chance(0.5) {
			w.ky = min(2.5, max(0.4, w.kx*w.logIn(0.8, 1.25)))
		}
		if w.chance(0.15) {
			w.kx, w.ky = w.in(0.33, 0.6), w.in(0.33, 0.6)
		}
		c.Kernel = kernels[w.weighted(0.35, 0.2, 0.25, 0.2)]
		if w.chance(0.35) {
			c.Smooth = w.in(0.25, 1.2)
		}
	case w.chance(0.3):
		c.Smooth = w.in(0.25, 1.0)
	}
}

// split gives n samples to one side or both, and decides whether the record fills the panel.
func (w *wideDice) split(n int) {
	s := w.s
	switch w.format {
	case formatOne, formatTile:
		if w.chance(0.5) {
			s.PortPx = n
		} else {
			s.StarboardPx = n
		}
	default:
		s.PortPx = n / 2
		if w.chance(0.2) {
			s.PortPx = int(float64(n) * w.in(0.36, 0.64))
		}
		s.StarboardPx = n - s.PortPx
		if w.format == formatScreen && w.chance(0.06) {
			s.Pings = int(float64(s.Rows) * w.in(0.5, 0.95))
		}
	}
}

// survey picks range, altitude and speed.
func (w *wideDice) survey() {
	s := w.s
	s.RangeM = w.pick(10, 12, 15, 20, 25, 30, 30, 40, 50, 75, 100)
	switch w.weighted(0.62, 0.17, 0.21) {
	case 0:
		w.deep = w.in(0.06, 0.3)
	case 1:
		w.deep = w.logIn(0.02, 0.06)
	default:
		w.deep = w.in(0.3, 0.6)
	}
	if least := min(s.PortPx, s.StarboardPx); least > 0 {
		w.deep = min(w.deep, 0.75*float64(least)/float64(max(s.PortPx, s.StarboardPx)))
	}
	s.AltitudeM = w.deep * s.RangeM
	s.PingHz = w.in(6, 25)
	s.SpeedMps = s.PixelM() * w.logIn(0.6, 2.6) * s.PingHz
	w.px = s.PixelM() / w.kx
}

// share is how far relief must be held down where the sonar flies low and every bump throws a shadow.
func (w *wideDice) share() float64 { return min(1, w.deep/0.16) }

func (w *wideDice) ground() {
	s := w.s
	px := s.PixelM()
	s.Bottom = Bottom{Reflectivity: w.logIn(0.4, 1.8), PatchDB: w.in(0, 1.5), PatchM: w.in(1, 0.2*s.RangeM+1)}
	if w.chance(0.3) {
		s.Bottom.Grit = w.logIn(0.0003, 0.02)
	}
	t := &s.Texture
	*t = Texture{
		On: true, CellM: px * w.logIn(1, 3.5), Aspect: s.RowM() / px * w.logIn(0.6, 5), Shear: w.NormFloat64() * 0.25,
		Octaves: w.from(5, 8),
		Slope:   w.in(0.4, 3.6), LevelDB: w.logIn(0.3, 3.6), ReliefB: w.in(2.2, 4), Rough: w.logIn(0.004, 0.2) * w.share(),
	}
	patchy := 0.5
	if w.raw {
		patchy = 0.25
		t.LevelDB, t.Rough, s.Bottom.PatchDB = w.logIn(0.02, 1), t.Rough*w.Float64()*0.4, w.in(0, 0.5)
	}
	if w.chance(patchy) {
		t.PatchM, t.PatchMin, t.PatchDB = s.RangeM*w.logIn(0.08, 0.6), w.in(-0.4, 1.1), w.pick(-1, 1)*w.in(1.5, 8)
		t.PatchK, t.Ragged = w.logIn(0.3, 2.6), w.Float64()
		if w.chance(0.3) {
			t.Gravel = w.logIn(0.01, 0.3)
		}
	}
	if w.chance(0.28) {
		wide := px * w.logIn(6, 50)
		t.Furrows = Furrows{
			WideM: wide, LongM: wide * w.logIn(4, 40), Shear: w.NormFloat64() * 0.4, Share: w.in(0.5, 1.6),
			DepthM: wide * w.in(0.02, 0.09) * w.pick(-1, 1, 1) * w.share(), DB: w.in(-3.5, 2), BendM: wide * w.one(0.5, 0, w.logIn(1, 12)),
		}
	}
	if w.chance(0.2) {
		t.Outcrop = Outcrop{
			StepM: px * w.logIn(0.6, 4) * w.share(), SizeM: s.RangeM * w.logIn(0.1, 0.6), Steps: w.in(0.8, 4), Shear: w.NormFloat64() * 0.6,
			Level: w.in(-0.4, 1.3),
		}
	}
	s.SlopeX = w.NormFloat64() * 0.02 * w.share()
	for range w.from(1, 3) {
		h := s.AltitudeM * w.in(0.01, 0.09)
		s.Swells = append(s.Swells, Mound{
			X: w.NormFloat64() * s.RangeM / 3, Y: w.in(-0.5, 0.5) * s.TrackM(),
			RadiusX: s.RangeM * w.in(0.3, 0.9), RadiusY: max(h*8, s.TrackM()*w.in(0.08, 0.4)), HeightM: h * w.pick(-1, 1),
		})
	}
	if w.chance(0.3) {
		w.ripples()
	}
	if w.chance(0.14) {
		h := s.AltitudeM * w.in(0.15, 0.5)
		y := w.in(-0.6, 0.3) * s.TrackM()
		s.Ledges = append(s.Ledges, Ledge{
			Side: w.IntN(2), Y0: y, Y1: y + s.TrackM()*w.in(0.3, 1.6), X: s.AltitudeM * w.in(0.05, 0.7),
			WanderM: s.AltitudeM * w.in(0, 0.15),
			CellM:   s.TrackM() * w.in(0.05, 0.3), HeightM: h, WideM: h * w.in(0.3, 1.5), EndM: s.TrackM() * w.in(0.01, 0.12),
			Ragged: w.Float64(),
		})
	}
	if w.chance(0.14) {
		w.dropOff()
	}
}

// dropOff lets the bottom fall away far out: black with a frayed edge.
func (w *wideDice) dropOff() {
	s := w.s
	y := w.in(-0.7, 0.4) * s.TrackM()
	h := s.AltitudeM * w.logIn(0.3, 2)
	s.Ledges = append(s.Ledges, Ledge{
		Side: w.IntN(2), Y0: y, Y1: y + s.TrackM()*w.in(0.15, 1.4), X: s.RangeM * w.in(max(0.3, w.deep), 0.95),
		WanderM: s.RangeM * w.in(0.01, 0.1),
		CellM:   s.TrackM() * w.in(0.05, 0.4), HeightM: -h, WideM: s.PixelM() * w.logIn(2, 20),
		EndM: s.TrackM() * w.in(0.005, 0.1), Ragged: w.Float64(),
	})
}

// ripples cover much of the swath.
func (w *wideDice) ripples() {
	s := w.s
	x, y := w.place(0.1)
	wave := w.px * w.logIn(5, 30)
	s.Ripples = append(s.Ripples, Ripples{
		X: x, Y: y, RadiusM: s.RangeM * w.in(0.2, 1.3), WaveM: wave, AmpM: wave * w.in(0.006, 0.04) * w.share(), AngleDeg: w.in(0, 180),
	})
}
