package placeworld

import (
	"image"
	"image/color"
	"math"
	"slices"

	"shadowgap/detect"
	"shadowgap/eval"

	"github.com/disintegration/imaging"
)

// screen is the finished picture and where the record lies in it: bin column c and ping r of the record are at
// x = left + c*kx and y = top + r*ky of the picture.
type screen struct {
	img         image.Image
	left, top   float64
	kx, ky      float64
	panel       image.Rectangle
	side        detect.Side
	firstColumn int // the record's first column in view
	columns     int
	furniture   []eval.FurnitureLabel
	inverted    bool
}

// display turns the record into a screen's picture.
func (w *world) display() (*screen, error) {
	s := &screen{columns: 2 * w.ng}
	grey := w.tone()
	wd := 2 * w.ng
	if w.chance(0.13) {
		grey, wd = w.oneSide(s, grey)
	}
	pw, ph := w.panelSize(wd)
	grey = resample(grey, wd, w.h, pw, ph, w.chance(0.15))
	if w.chance(0.4) {
		for range w.between(1, 2) {
			blur(grey, pw, float32(w.uni(0.1, 0.6)))
		}
	}
	img := image.NewRGBA(image.Rectangle{})
	ramp := w.ramp(s)
	w.margins(s, pw, ph, &img)
	paint(img, s.panel, grey, ramp)
	s.kx, s.ky = float64(pw)/float64(wd), float64(ph)/float64(w.h)
	s.left, s.top = float64(s.panel.Min.X)-float64(s.firstColumn)*s.kx, float64(s.panel.Min.Y)
	w.fittings(s, img)
	s.img = img
	if w.chance(0.25) {
		w.rescale(s)
	}
	if w.chance(0.7) {
		var err error
		if s.img, err = eval.AsJPEG(s.img, w.between(60, 95)); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// tone maps echo strength to grey between 0 and 1: a power or a logarithm, a gain, a curve, clipped.
func (w *world) tone() []float32 {
	var f func(float64) float64
	power := w.uni(0.3, 0.75)
	if w.chance(0.4) {
		knee := w.logUni(1, 60)
		f = func(x float64) float64 { return math.Log1p(knee * x) }
	} else {
		f = func(x float64) float64 { return math.Pow(x, power) }
	}
	table := make([]float32, 4096)
	const top = 30.0
	for i := range table {
		x := float64(i) / 4095
		table[i] = float32(f(x * x * top))
	}
	sample := make([]float32, 0, 4000)
	step := len(w.echo)/4000 | 1
	for i := 0; i < len(w.echo); i += step {
		y, c := i/(2*w.ng), i%(2*w.ng)
		side, k := 1, c-w.ng
		if k < 0 {
			side, k = 0, -1-k
		}
		if float32(k) > w.firstBin[side][y]+2 {
			sample = append(sample, table[index(w.echo[i])])
		}
	}
	slices.Sort(sample)
	median := float32(1)
	if len(sample) > 0 {
		median = max(sample[len(sample)/2], 1e-3)
	}
	target := w.uni(0.1, 0.6)
	gain := float32(target) / median
	black := float32(w.uni(0, 0.35) * target)
	bend := float32(0)
	if w.chance(0.4) {
		bend = float32(w.uni(-0.5, 1))
	}
	for i, t := range table {
		g := min(max((t*gain-black)*float32(target)/(float32(target)-black), 0), 1)
		table[i] = min(max(g+bend*(g*g*(3-2*g)-g), 0), 1)
	}
	grey := make([]float32, len(w.echo))
	for i, e := range w.echo {
		grey[i] = table[index(e)]
	}
	return grey
}

// index is the place of an echo in the tone table, spaced by amplitude.
func index(e float32) int {
	return min(4095, int(sqrt32(max(e, 0)/30)*4095))
}

// oneSide keeps one side of the swath, from somewhere outside the nadir line.
func (w *world) oneSide(s *screen, grey []float32) ([]float32, int) {
	skip := w.between(int(0.1*w.depthM/w.dg)+1, int(w.depthM/w.dg)+20)
	skip = min(skip, w.ng/2)
	cols := w.ng - skip
	s.side, s.firstColumn = detect.Starboard, w.ng+skip
	if w.chance(0.5) {
		s.side, s.firstColumn = detect.Port, 0
	}
	s.columns = cols
	out := make([]float32, cols*w.h)
	for y := range w.h {
		copy(out[y*cols:(y+1)*cols], grey[y*2*w.ng+s.firstColumn:])
	}
	return out, cols
}

// panelSize is the panel on the screen: the record squeezed or stretched, each axis for itself.
func (w *world) panelSize(cols int) (pw, ph int) {
	k := w.logUni(0.6, 3)
	pw = int(clamp(float64(cols)*k, 360, 1730))
	ph = int(clamp(float64(w.h)*k*w.logUni(0.6, 1.6), 220, 1000))
	return pw, ph
}

// resample scales a plane: means where it shrinks, straight lines (or the nearest) where it grows.
func resample(src []float32, sw, sh, dw, dh int, nearest bool) []float32 {
	cols := make([]float32, dw*sh)
	tapsX := taps(sw, dw, nearest)
	for y := range sh {
		row, out := src[y*sw:(y+1)*sw], cols[y*dw:(y+1)*dw]
		for x, t := range tapsX {
			sum := float32(0)
			for j, f := range t.weight {
				sum += f * row[t.from+j]
			}
			out[x] = sum
		}
	}
	dst := make([]float32, dw*dh)
	for y, t := range taps(sh, dh, nearest) {
		out := dst[y*dw : (y+1)*dw]
		for j, f := range t.weight {
			row := cols[(t.from+j)*dw : (t.from+j+1)*dw]
			for x, v := range row {
				out[x] += f * v
			}
		}
	}
	return dst
}

type tap struct {
	from   int
	weight []float32
}

func taps(n, m int, nearest bool) []tap {
	out := make([]tap, m)
	k := float64(n) / float64(m)
	for i := range out {
		at := (float64(i)+0.5)*k - 0.5
		if nearest {
			out[i] = tap{min(n-1, max(0, int(at+0.5))), []float32{1}}
			continue
		}
		wide := math.Max(1, k)
		lo, hi := max(0, int(math.Ceil(at-wide))), min(n-1, int(math.Floor(at+wide)))
		t := tap{from: lo}
		sum := float32(0)
		for j := lo; j <= hi; j++ {
			f := float32(math.Max(1e-4, 1-math.Abs(float64(j)-at)/wide))
			t.weight = append(t.weight, f)
			sum += f
		}
		for j := range t.weight {
			t.weight[j] /= sum
		}
		out[i] = t
	}
	return out
}

// blur is a three by three smoothing; side is the weight of a neighbour against the middle's 1.
func blur(p []float32, wd int, side float32) {
	norm := 1 / (1 + 2*side)
	for y := 0; y < len(p); y += wd {
		row := p[y : y+wd]
		before := row[0]
		for x := range row {
			after := row[min(x+1, wd-1)]
			v := (row[x] + side*(before+after)) * norm
			before, row[x] = row[x], v
		}
	}
	above := slices.Clone(p[:wd])
	for y := 0; y < len(p); y += wd {
		row := p[y : y+wd]
		below := row
		if y+wd < len(p) {
			below = p[y+wd : y+2*wd]
		}
		for x := range row {
			v := (row[x] + side*(above[x]+below[x])) * norm
			above[x], row[x] = row[x], v
		}
	}
}

func paint(img *image.RGBA, panel image.Rectangle, grey []float32, ramp *[256]color.RGBA) {
	pw := panel.Dx()
	for y := range panel.Dy() {
		o := img.PixOffset(panel.Min.X, panel.Min.Y+y)
		for _, g := range grey[y*pw : (y+1)*pw] {
			c := ramp[int(g*255+0.5)]
			img.Pix[o], img.Pix[o+1], img.Pix[o+2], img.Pix[o+3] = c.R, c.G, c.B, 255
			o += 4
		}
	}
}

// ramp computes a palette of 256 colours, its luminance rising with the echo, or falling where it is inverted.
func (w *world) ramp(s *screen) *[256]color.RGBA {
	stops := [][3]float64{{0, 0, 0}, {255, 255, 255}}
	switch w.IntN(6) {
	case 0, 1:
	case 2: // like copper: red first, then green, blue last
		r, g := w.uni(0.55, 0.9), w.uni(0.5, 0.85)
		middle := [3]float64{127 / r, 127 * g, 127 * w.uni(0.1, 0.5)}
		stops = [][3]float64{{0, 0, 0}, middle, {255, 255 * w.uni(0.75, 1), 255 * w.uni(0.3, 0.9)}}
	case 3: // from black through violet and orange to pale yellow
		stops = [][3]float64{{2, 1, 6}, {70, 15, 100}, {165, 45, 90}, {230, 95, 40}, {250, 175, 40}, {250, 250, 165}}
	case 4: // from deep violet through green to yellow
		stops = [][3]float64{{50, 5, 70}, {60, 75, 135}, {35, 145, 140}, {95, 200, 100}, {250, 230, 40}}
	default: // one hue of chance, darker to paler
		a, b := [3]float64{w.uni(0, 40), w.uni(0, 40), w.uni(0, 60)}, [3]float64{w.uni(60, 200), w.uni(60, 180), w.uni(20, 160)}
		stops = [][3]float64{a, b, {w.uni(210, 255), w.uni(220, 255), w.uni(140, 255)}}
	}
	lo, hi := 0.0, 1.0
	if w.chance(0.2) {
		lo, hi = w.uni(0, 0.15), w.uni(0.8, 1)
	}
	s.inverted = w.chance(0.12)
	var ramp [256]color.RGBA
	for i := range ramp {
		t := float64(i) / 255
		if s.inverted {
			t = 1 - t
		}
		t = (lo + (hi-lo)*t) * float64(len(stops)-1)
		k := min(int(t), len(stops)-2)
		f := t - float64(k)
		mix := func(c int) uint8 { return uint8(clamp(stops[k][c]+f*(stops[k+1][c]-stops[k][c]), 0, 255)) }
		ramp[i] = color.RGBA{mix(0), mix(1), mix(2), 255}
	}
	return &ramp
}

// rescale stores the whole screen at another size.
func (w *world) rescale(s *screen) {
	b := s.img.Bounds()
	k := w.logUni(0.65, 1.5)
	nw := int(clamp(float64(b.Dx())*k, 500, 1920))
	k = float64(nw) / float64(b.Dx())
	nh := int(float64(b.Dy())*k + 0.5)
	filters := []imaging.ResampleFilter{imaging.Linear, imaging.CatmullRom, imaging.Box, imaging.NearestNeighbor}
	s.img = imaging.Resize(s.img, nw, nh, filters[w.IntN(len(filters))])
	ky := float64(nh) / float64(b.Dy())
	s.left, s.kx, s.top, s.ky = s.left*k, s.kx*k, s.top*ky, s.ky*ky
	s.panel = scaleRect(s.panel, k, ky)
	for i, f := range s.furniture {
		s.furniture[i].Box = detect.BoxOf(scaleRect(f.Box.Rect(), k, ky).Intersect(s.img.Bounds()))
	}
}

func scaleRect(r image.Rectangle, kx, ky float64) image.Rectangle {
	f := func(v int, k float64) int { return int(math.Round(float64(v) * k)) }
	return image.Rect(f(r.Min.X, kx), f(r.Min.Y, ky), max(f(r.Max.X, kx), f(r.Min.X, kx)+1), max(f(r.Max.Y, ky), f(r.Min.Y, ky)+1))
}
