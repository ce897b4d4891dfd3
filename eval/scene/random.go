package scene

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Kind is what a random capture is meant to show.
type Kind string

// The kinds of random capture.
const (
	KindMixed     Kind = "mixed"     // some of everything
	KindSand      Kind = "sand"      // plain bottom, no objects, all flaws
	KindClutter   Kind = "clutter"   // weed beds, ripples and patches, no marks
	KindRockHump  Kind = "rock-hump" // a hump with rocks on it and fish over it
	KindFish      Kind = "fish"      // suspended targets over open bottom
	KindTimber    Kind = "timber"    // trunks with branches
	KindStructure Kind = "structure" // walls, cribs, hulls, steep ridges
	KindCrop      Kind = "crop"      // one side only or bottom only, cut out of a screen
)

// KindWide is the kind of scenes drawn by Wide; it is none of Kinds, which Random draws.
const KindWide Kind = "wide"

// Kinds lists every kind.
func Kinds() []Kind {
	return []Kind{KindMixed, KindSand, KindClutter, KindRockHump, KindFish, KindTimber, KindStructure, KindCrop}
}

// ParseKind reads a kind by name.
func ParseKind(name string) (Kind, error) {
	if k := Kind(name); k == KindWide || slices.Contains(Kinds(), k) {
		return k, nil
	}
	return "", fmt.Errorf("scene kind %q is not known, want one of %v or %q", name, Kinds(), KindWide)
}

// dice draws the parts of a random scene.
type dice struct {
	*rand.Rand
	s  *Spec
	px float64 // metres of a pixel as shown; 0 = a sample is a pixel
}

func (d *dice) in(lo, hi float64) float64 { return lo + (hi-lo)*d.Float64() }
func (d *dice) logIn(lo, hi float64) float64 {
	return lo * math.Exp(d.Float64()*math.Log(hi/lo))
}
func (d *dice) chance(p float64) bool      { return d.Float64() < p }
func (d *dice) from(lo, hi int) int        { return lo + d.IntN(hi-lo+1) }
func (d *dice) pick(of ...float64) float64 { return of[d.IntN(len(of))] }

// Random draws a plausible scene of a kind. The same seed and kind always give the same Spec.
func Random(seed int64, kind Kind) Spec {
	if kind == KindWide {
		return Wide(seed)
	}
	s := Spec{Seed: seed, Kind: kind}
	d := &dice{newRand(seed, streamRandom+uint64(slices.Index(Kinds(), kind)+1)*100), &s, 0}
	d.layout()
	d.survey()
	d.bottom()
	switch kind {
	case KindSand:
		s.Ripples = nil
	case KindClutter:
		d.clutter(d.from(1, 4))
	case KindRockHump:
		d.rockHump()
	case KindFish:
		d.fish(d.from(3, 9))
		if d.chance(0.4) {
			d.school()
		}
		d.rocks(d.IntN(3))
	case KindTimber:
		d.timber(d.from(1, 4))
		d.rocks(d.IntN(4))
		d.fish(d.IntN(3))
	case KindStructure:
		d.structures(d.from(1, 2))
		if d.chance(0.4) {
			d.steepRidge()
		}
		d.rocks(d.IntN(4))
		d.fish(d.IntN(4))
	case KindCrop:
		d.rocks(d.from(1, 5))
		d.fish(d.from(1, 3))
		d.timber(d.IntN(2))
		if d.chance(0.2) {
			d.structures(1)
		}
	default:
		d.mixed()
	}
	d.sonar()
	d.flaws()
	d.display()
	d.furniture()
	d.output()
	return s
}

// layout picks a screen and places the panel on it.
func (d *dice) layout() {
	s := d.s
	sizes := [][2]int{{1024, 600}, {1280, 720}, {1280, 800}, {1920, 1080}, {800, 480}}
	z := sizes[[]int{0, 0, 1, 1, 2, 2, 3, 4}[d.IntN(8)]]
	s.ScreenW, s.ScreenH = z[0], z[1]
	f := &s.Screen
	f.TextPx = max(11, s.ScreenH/48+d.IntN(4))
	if d.chance(0.75) {
		f.TopBar = f.TextPx + d.from(8, 26)
	}
	if d.chance(0.5) {
		f.BottomBar = f.TextPx + d.from(8, 22)
	}
	x0, y0, x1, y1 := 0, f.TopBar, s.ScreenW, s.ScreenH-f.BottomBar
	if s.ScreenW >= 1024 && d.chance(0.35) {
		f.Second = []string{"history", "chart"}[d.IntN(2)]
		switch {
		case d.chance(0.3):
			h := int(float64(y1-y0) * d.in(0.22, 0.35))
			f.SecondX, f.SecondY, f.SecondW, f.SecondH = x0, y1-h, x1-x0, h
			y1 -= h + 3
		case d.chance(0.5):
			w := int(float64(x1-x0) * d.in(0.22, 0.4))
			f.SecondX, f.SecondY, f.SecondW, f.SecondH = x1-w, y0, w, y1-y0
			x1 -= w + 3
		default:
			w := int(float64(x1-x0) * d.in(0.22, 0.4))
			f.SecondX, f.SecondY, f.SecondW, f.SecondH = x0, y0, w, y1-y0
			x0 += w + 3
		}
	}
	s.PanelX, s.PanelY, s.Rows = x0, y0, y1-y0
	w := x1 - x0
	s.PortPx = w / 2
	if d.chance(0.2) {
		s.PortPx = int(float64(w) * d.in(0.38, 0.62))
	}
	s.StarboardPx = w - s.PortPx
	s.Pings = s.Rows
	if d.chance(0.06) {
		s.Pings = int(float64(s.Rows) * d.in(0.55, 0.9))
	}
}

// survey picks range, altitude and speed.
func (d *dice) survey() {
	s := d.s
	s.RangeM = d.pick(12, 15, 20, 20, 25, 30, 30, 40, 50, 60)
	s.AltitudeM = min(s.RangeM*d.in(0.13, 0.36), 14)
	s.PingHz = d.in(8, 22)
	s.SpeedMps = s.PixelM() * d.in(0.9, 2.0) * s.PingHz
	if s.SpeedMps > 2.2 {
		s.PingHz *= 2.2 / s.SpeedMps
		s.SpeedMps = 2.2
	}
}

func (d *dice) bottom() {
	s := d.s
	s.Bottom = Bottom{Reflectivity: d.pick(0.3, 1, 1, 1, 1.8), PatchDB: d.in(0.3, 1.3), PatchM: d.in(1.2, 5)}
	if d.chance(0.3) {
		s.Bottom.Grit = d.logIn(0.0003, 0.004)
	}
	s.SlopeX = d.NormFloat64() * 0.012
	s.SlopeY = d.NormFloat64() * 0.012
	if d.chance(0.25) {
		s.SlopeX = d.NormFloat64() * 0.05
	}
	// Long swells of the bottom keep the first return from being a straight line.
	for range d.from(1, 3) {
		h := s.AltitudeM * d.in(0.01, 0.05)
		s.Swells = append(s.Swells, Mound{
			X: d.NormFloat64() * s.RangeM / 3, Y: d.in(-0.5, 0.5) * s.TrackM(),
			RadiusX: s.RangeM * d.in(0.3, 0.9), RadiusY: max(h*12, s.TrackM()*d.in(0.12, 0.4)), HeightM: h * d.pick(-1, 1),
		})
	}
	if d.chance(0.3) {
		d.ripple()
	}
}

func (d *dice) sonar() {
	d.s.Sonar = Sonar{
		BeamDeg: d.in(0.3, 1.0), Looks: []int{1, 1, 2, 2, 3, 4}[d.IntN(6)], PulseBlur: d.in(0, 0.2), AbsorbDBkm: d.in(20, 130),
		NoiseDB: d.in(-24, -14), FillDB: d.in(-26, -13),
		GainSpread: d.NormFloat64() * 0.25, GainAngle: d.in(0.72, 1.02), GainAbsorbed: d.in(0.5, 1.3),
	}
}

func (d *dice) flaws() {
	s := d.s
	f := Flaws{HeaveM: s.PixelM() * d.in(0, 0.5), RollDB: d.in(0, 0.7), SpeedJitter: d.in(0, 0.25), TransmitPx: d.from(2, 3+s.PortPx/90),
		TransmitGain: d.in(0.75, 1)}
	if d.chance(0.3) {
		f.DropRate, f.DropRepeat = d.logIn(0.002, 0.02), d.chance(0.5)
	}
	if d.chance(0.3) {
		f.InterfRate = d.logIn(0.001, 0.012)
	}
	if d.chance(0.6) {
		f.SurfaceDB, f.SurfaceM = d.in(-9, 3), s.AltitudeM*d.in(0.08, 0.25)
	}
	if d.chance(0.5) {
		f.FadeFrom, f.FadeDB = d.in(0.45, 0.85), d.in(3, 18)
	}
	s.Flaws = f
}

func (d *dice) display() {
	s := d.s
	names := paletteNames()
	s.Display = Display{Level: d.in(0.22, 0.42), RangeDB: d.in(34, 48),
		Palette: names[[]int{0, 0, 0, 1, 1, 1, 2, 2, 3, 4, 5, 5, 6, 7, 8}[d.IntN(15)]]}
	if d.chance(0.06) {
		s.Display.Palette = "spectrum"
	}
	if d.chance(0.3) {
		s.Display.Log = true
		s.Display.Level = d.in(0.42, 0.58)
	}
	if d.chance(0.06) && s.Kind != KindCrop {
		s.Display.SlantCorrected = true
	}
}

func (d *dice) furniture() {
	s := d.s
	f := &s.Screen
	f.Light = d.chance(0.25)
	f.Labels = d.chance(0.45)
	if d.chance(0.5) {
		f.GridLines, f.GridAlpha = d.from(1, 4), d.in(0.25, 0.8)
	}
	if d.chance(0.25) {
		f.Cursor, f.CursorX, f.CursorY = true, s.PanelX+d.IntN(s.PortPx+s.StarboardPx), s.PanelY+d.IntN(s.Rows)
	}
	f.ScaleBar = d.chance(0.25)
	f.ColourBar = d.chance(0.15)
}

func (d *dice) output() {
	s := d.s
	o := &s.Output
	if s.Kind == KindCrop {
		d.crop()
	}
	if d.chance(0.3) {
		o.Scale = d.in(0.7, 1.3)
		if s.ScreenW >= 1900 {
			o.Scale = d.in(0.6, 1)
		}
	}
	if d.chance(0.05) && s.Kind != KindCrop {
		o.Photo, o.PhotoTilt, o.Glare = true, d.in(0.01, 0.045), d.in(0, 0.35)
		o.GlareX, o.GlareY = d.Float64(), d.Float64()
		o.JPEGQuality = d.from(80, 92)
	}
	if o.JPEGQuality == 0 && d.chance(0.45) {
		o.JPEGQuality = d.from(70, 95)
	}
}

// busierSide is 1 when more things lie to starboard and -1 when more lie to port.
func (d *dice) busierSide() float64 {
	balance := d.in(-0.5, 0.5)
	for _, r := range d.s.Rocks {
		balance += math.Copysign(1, r.X)
	}
	for _, f := range d.s.Fish {
		balance += math.Copysign(1, f.X)
	}
	for _, t := range d.s.Timber {
		balance += math.Copysign(1, t.X)
	}
	for _, b := range d.s.Structures {
		balance += math.Copysign(1, b.X)
	}
	return math.Copysign(1, balance)
}

// crop keeps one side, half the time without its water column.
func (d *dice) crop() {
	s := d.s
	o := &s.Output
	s.Screen = Furniture{TextPx: s.Screen.TextPx, TopBar: s.Screen.TopBar, BottomBar: s.Screen.BottomBar, Light: s.Screen.Light,
		Second:  s.Screen.Second,
		SecondX: s.Screen.SecondX, SecondY: s.Screen.SecondY, SecondW: s.Screen.SecondW, SecondH: s.Screen.SecondH}
	s.Pings = s.Rows
	inner := 0
	if d.chance(0.5) {
		inner = int((s.AltitudeM*1.15 + 0.5) / s.PixelM())
	}
	outer := int(float64(min(s.PortPx, s.StarboardPx)) * d.in(0.85, 1))
	inner = min(inner, outer/2)
	o.CropH = int(float64(s.Rows) * d.in(0.6, 1))
	o.CropY = s.PanelY + d.IntN(s.Rows-o.CropH+1)
	o.CropW = outer - inner
	o.CropX = s.PanelX + s.PortPx + inner
	if d.busierSide() < 0 {
		o.CropX = s.PanelX + s.PortPx - outer
	}
}
