package scene

import (
	"math"
	"strconv"
)

func (w *wideDice) display() {
	s := w.s
	s.Display = Display{Level: w.in(0.18, 0.55), RangeDB: w.in(26, 50)}
	if w.chance(0.5) {
		s.Display.Log = true
		s.Display.Level = w.in(0.38, 0.68)
	}
	switch w.weighted(0.34, 0.36, 0.3) {
	case 0:
		s.Display.Palette = "grey"
	case 1:
		names := paletteNames()
		s.Display.Palette = names[w.IntN(len(names))]
	default:
		s.Display.Palette, s.Display.Stops = "drawn", w.stops()
	}
	c := &s.Chain
	if w.chance(0.3) {
		c.Black = w.in(0, 0.18)
	}
	if w.chance(0.35) {
		c.White = w.in(0.6, 1)
	}
	if w.chance(0.5) {
		c.Gamma = w.logIn(0.6, 1.7)
	}
	if w.chance(0.55) {
		c.Full = 1 - w.logIn(0.001, 0.12)
	}
	c.Invert = w.chance(0.07)
	if w.format == formatBare && w.chance(0.04) {
		s.Display.SlantCorrected = true
		s.Flaws.TransmitPx, s.Flaws.TransmitGain = w.from(1, 4), w.in(0.5, 1)
	}
}

// stops draws a smooth palette whose luminance rises all the way: three to five stops of near hues.
func (w *wideDice) stops() []Stop {
	n := w.from(3, 5)
	hue, turn := w.Float64(), w.NormFloat64()*0.18
	full := w.in(0.2, 1)
	lo, hi := w.pick(0, 0, 0.04, 0.15), w.in(0.75, 1)
	out := make([]Stop, n)
	for i := range out {
		u := float64(i) / float64(n-1)
		at := u
		if i > 0 && i < n-1 {
			at += w.in(-0.3, 0.3) / float64(n-1)
		}
		light := lo + (hi-lo)*math.Pow(u, 0.9)
		// Colour is fullest in the middle and gives way to white at the top.
		sat := full * (1 - 0.75*u*u*u)
		r, g, b := tint(hue+turn*u, sat, light)
		out[i] = Stop{At: at, R: r, G: g, B: b}
	}
	return out
}

// tint is the colour of a hue (turns) with a saturation whose luminance is light, as near as 8 bits allow.
func tint(hue, sat, light float64) (r, g, b uint8) {
	channel := func(shift float64) float64 { return 1 + sat*math.Cos(2*math.Pi*(hue-shift)) }
	x, y, z := channel(0), channel(1.0/3), channel(2.0/3)
	k := light / (0.299*x + 0.587*y + 0.114*z)
	over := max(k*x, k*y, k*z)
	mix := 0.0
	if over > 1 {
		// Too bright for its hue: white is mixed in until it fits.
		mix = (over - 1) / (over - light)
	}
	to := func(v float64) uint8 { return uint8(255*min(1, max(0, k*v+(light-k*v)*mix)) + 0.5) }
	return to(x), to(y), to(z)
}

// screen picks a screen and places panes and the panel on it.
func (w *wideDice) screen() {
	s := w.s
	sizes := [][2]int{{1024, 600}, {1280, 720}, {1280, 800}, {1920, 1080}, {800, 480}, {1024, 768}, {640, 480}, {480, 800}, {1366, 768}}
	z := sizes[w.IntN(len(sizes))]
	s.ScreenW, s.ScreenH = z[0], z[1]
	f := &s.Screen
	f.TextPx = max(10, s.ScreenH/48+w.IntN(5))
	f.Light = w.chance(0.25)
	if w.chance(0.7) {
		f.TopBar = f.TextPx + w.from(6, 26)
	}
	if w.chance(0.45) {
		f.BottomBar = f.TextPx + w.from(6, 22)
	}
	f.Mode = []string{"Both sides", "Wide look", "Swath", "Left and right", "Look A", "Bottom view"}[w.IntN(6)]
	x0, y0, x1, y1 := 0, f.TopBar, s.ScreenW, s.ScreenH-f.BottomBar
	for w.chance(0.5) && len(f.Panes) < 2 {
		n := Pane{Kind: []string{"history", "chart", "down", "record"}[w.weighted(0.3, 0.2, 0.25, 0.25)], Own: w.chance(0.5)}
		wide, high := int(float64(x1-x0)*w.in(0.12, 0.42)), int(float64(y1-y0)*w.in(0.15, 0.42))
		switch w.IntN(4) {
		case 0:
			n.X, n.Y, n.W, n.H = x0, y0, wide, y1-y0
			x0 += wide + 3
		case 1:
			n.X, n.Y, n.W, n.H = x1-wide, y0, wide, y1-y0
			x1 -= wide + 3
		case 2:
			n.X, n.Y, n.W, n.H = x0, y0, x1-x0, high
			y0 += high + 3
		default:
			n.X, n.Y, n.W, n.H = x0, y1-high, x1-x0, high
			y1 -= high + 3
		}
		f.Panes = append(f.Panes, n)
	}
	s.PanelX, s.PanelY = x0, y0
	w.w, w.h = x1-x0, y1-y0
}

// overlay puts plates, bars and lines over the panel.
func (w *wideDice) overlay() {
	s := w.s
	f := &s.Screen
	if w.format == formatScreen {
		f.Labels = w.chance(0.45)
		if w.chance(0.45) {
			f.GridLines, f.GridAlpha = w.from(1, 5), w.in(0.2, 0.9)
		}
		f.Cursor = w.chance(0.2)
		f.ScaleBar = w.chance(0.25)
		f.ColourBar = w.chance(0.15)
		f.CursorX, f.CursorY = s.PanelX+w.IntN(w.w), s.PanelY+w.IntN(w.h)
	}
	// A bare swath stays bare; a piece cut from a screen may hold a plate of its range scale.
	share := map[format]float64{formatBare: 0.12, formatOne: 0.3, formatTile: 0.35, formatScreen: 0.3}[w.format]
	if w.chance(share) {
		w.plates()
	}
	if w.format == formatScreen && w.chance(0.25) || w.format == formatOne && w.chance(0.08) {
		w.bar()
	}
}

func (w *wideDice) plates() {
	s := w.s
	p := Plate{
		TextPx: max(9, int(w.logIn(10, 26))), Filled: w.chance(0.75), Light: w.chance(0.12), Upright: w.chance(0.6), Twice: w.chance(0.3),
	}
	if w.chance(0.7) {
		p.TickPx = w.from(4, 30)
	}
	unit := []string{" M", " m", "", "m"}[w.IntN(4)]
	steps := w.from(1, 4)
	row := w.IntN(w.h)
	for i := range steps {
		if w.format == formatTile {
			p.X, p.Y = s.PanelX+w.IntN(w.w), s.PanelY+w.IntN(w.h)
		} else {
			off := float64(i+1) / float64(steps+1)
			p.X, p.Y = s.PanelX+int(off*float64(w.w)), s.PanelY+row
		}
		p.Text = strconv.Itoa(int(s.RangeM*float64(i+1)/float64(steps+1)+0.5)) + unit
		if w.chance(0.12) {
			p.Text = []string{"A1", "mark 3", "2.4", "NW", "run 7", "hold"}[w.IntN(6)]
		}
		s.Screen.Plates = append(s.Screen.Plates, p)
	}
}

func (w *wideDice) bar() {
	s := w.s
	b := Bar{Ramp: w.chance(0.6), W: w.from(6, 22), H: int(float64(w.h) * w.in(0.2, 0.9))}
	if w.chance(0.25) {
		b.W, b.H = int(float64(w.w)*w.in(0.15, 0.6)), w.from(6, 18)
	}
	pad := w.IntN(12)
	b.X, b.Y = s.PanelX+pad, s.PanelY+w.IntN(max(1, w.h-b.H))
	if w.chance(0.5) {
		b.X = s.PanelX + w.w - b.W - pad
	}
	s.Screen.Bars = append(s.Screen.Bars, b)
}

func (w *wideDice) output() {
	s := w.s
	o := &s.Output
	if w.format == formatOne || w.format == formatTile {
		w.cut()
	}
	area := float64(s.ScreenW * s.ScreenH)
	if o.CropW > 0 {
		area = float64(o.CropW * o.CropH)
	}
	kernels := []Kernel{KernelArea, KernelNearest, KernelLinear, KernelCubic}
	switch {
	case w.soft:
		o.Kernel = kernels[2+w.IntN(2)]
		o.ScaleX = w.logIn(1.1, 2.5)
		o.ScaleY = o.ScaleX * w.logIn(0.9, 1.1)
	case w.chance(0.3):
		o.Kernel = kernels[w.weighted(0.35, 0.1, 0.35, 0.2)]
		o.ScaleX = w.logIn(0.5, 1.8)
		o.ScaleY = o.ScaleX * w.one(0.6, 1, w.logIn(0.75, 1.33))
		if w.chance(0.3) {
			o.Smooth = w.in(0.3, 1)
		}
	}
	const most = 2.4e6
	if k := math.Sqrt(most / (area * o.ScaleX * o.ScaleY)); o.ScaleX > 0 && k < 1 {
		o.ScaleX, o.ScaleY = o.ScaleX*k, o.ScaleY*k
	}
	if w.chance(0.6) {
		o.JPEGQuality = w.from(60, 95)
	}
	if w.format == formatScreen && w.chance(0.13) || w.format == formatBare && w.chance(0.025) {
		o.Photo, o.Glare, o.GlareX, o.GlareY = true, w.in(0, 0.35), w.Float64(), w.Float64()
		o.CameraDeg = [3]float64{w.in(-15, 15), w.in(-12, 12), w.NormFloat64() * 1.5}
		o.JPEGQuality = w.from(70, 95)
	}
}

// cut keeps part of one side: all of it, without its nadir, or bottom only.
func (w *wideDice) cut() {
	s := w.s
	water := float64(w.w) * s.AltitudeM / s.RangeM
	inner := 0.0
	switch {
	case w.format == formatTile:
		inner = min(water*w.in(0.95, 1.3)+w.Float64()*40, 0.6*float64(w.w))
	case w.chance(0.3):
		inner = water * w.in(0.05, 0.8)
	case w.chance(0.2):
		inner = min(water*1.2, 0.7*float64(w.w))
	}
	outer := float64(w.w)
	if w.chance(0.5) {
		outer = inner + (outer-inner)*w.in(0.6, 1)
	}
	o := &s.Output
	o.CropH = w.h
	if w.chance(0.4) {
		o.CropH = int(float64(w.h) * w.in(0.7, 1))
	}
	o.CropY = w.IntN(w.h - o.CropH + 1)
	o.CropW = max(16, int(outer-inner))
	o.CropX = int(inner)
	if s.PortPx > 0 {
		o.CropX = max(0, w.w-int(inner)-o.CropW)
	}
	o.CropX = min(o.CropX, w.w-o.CropW)
}
