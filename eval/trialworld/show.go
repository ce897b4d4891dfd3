package trialworld

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"

	"golang.org/x/image/draw"

	"shadowgap/detect"
	"shadowgap/eval"
)

// picture is the capture as a reader has it and how the record lies in it.
type picture struct {
	img       image.Image
	w, h      int
	lum       []float32 // 0 to 255, turned so that more echo is brighter
	panel     detect.Box
	x0, y0    float64 // of the record's corner, pixel edges
	kx, ky    float64 // pixels a column and a row of the record
	furniture []eval.FurnitureLabel
	palette   string
	// darkIsStrong is true where the palette darkens with the echo.
	darkIsStrong bool
}

// screen is the canvas while it is drawn.
type screen struct {
	r         *rand.Rand
	rgba      *image.RGBA
	ramp      [256]color.RGBA
	panel     image.Rectangle
	furniture []eval.FurnitureLabel
	ink       color.RGBA
}

// show scales the record to the panel, lays the screen round and over it and stores it.
func (w *world) show(rec *record) (*picture, error) {
	r := w.r
	plane := w.scalePlane(rec)
	s := &screen{r: r}
	ramp, name, inverted := newRamp(r)
	s.ramp = ramp
	s.ink = s.ramp[230]
	if chance(r, 0.4) {
		s.ink = color.RGBA{uint8(r.IntN(256)), uint8(r.IntN(256)), uint8(r.IntN(256)), 255}
	}
	s.layOut(w.panelW, w.panelH)
	levels := 256.0
	if chance(r, 0.2) {
		levels = logUni(r, 12, 128)
	}
	for y := range w.panelH {
		for x := range w.panelW {
			v := float64(plane[y*w.panelW+x])
			v = math.Floor(min(max(v, 0), 0.9999)*levels) / (levels - 1)
			c := s.ramp[min(int(v*255+0.5), 255)]
			at := s.rgba.PixOffset(s.panel.Min.X+x, s.panel.Min.Y+y)
			s.rgba.Pix[at], s.rgba.Pix[at+1], s.rgba.Pix[at+2] = c.R, c.G, c.B
		}
	}
	s.furnish(w.rangeM)
	pic := &picture{darkIsStrong: inverted, palette: name, furniture: s.furniture, panel: detect.BoxOf(s.panel), kx: w.sx, ky: w.sy}
	pic.x0, pic.y0 = float64(s.panel.Min.X), float64(s.panel.Min.Y)
	if err := s.store(pic, inverted); err != nil {
		return nil, err
	}
	return pic, nil
}

// scalePlane brings the record's grey values to the panel's pixels and draws the nadir's line.
func (w *world) scalePlane(rec *record) []float32 {
	r := w.r
	kernels := []kernel{linearKernel(), cubicKernel(), splineKernel(), boxKernel()}
	pick := func(k float64) kernel {
		if k > 1.8 {
			return kernels[[]int{0, 1, 1, 2, 2}[r.IntN(5)]]
		}
		return kernels[[]int{0, 0, 1, 3}[r.IntN(4)]]
	}
	across := pick(w.sx)
	if w.grainy {
		across = []kernel{boxKernel(), linearKernel()}[r.IntN(2)]
	}
	along := across
	if !w.grainy && chance(r, 0.3) {
		along = pick(w.sy)
	}
	w.nadirLine(rec)
	src := rec.echo
	if w.soft && chance(r, 0.4) {
		src = blur(src, rec.rows, rec.cols, uni(r, 0.5, 0.9))
	}
	plane := resample(src, rec.rows, rec.cols, w.panelH, w.panelW, along, across)
	switch {
	case w.soft && chance(r, 0.5):
		plane = blur(plane, w.panelH, w.panelW, uni(r, 0.6, 2))
	case !w.grainy && chance(r, 0.25):
		plane = blur(plane, w.panelH, w.panelW, uni(r, 0.4, 1.4))
	}
	return plane
}

// nadirLine draws the line at zero range, bright or dark, or leaves it out.
func (w *world) nadirLine(rec *record) {
	r := w.r
	rec.nadir = float64(w.cut[0].to)
	if len(w.sides) == 1 {
		rec.nadir = w.column(w.sides[0].side, 0)
	}
	if chance(r, 0.25) || rec.nadir < 0 || rec.nadir > float64(rec.cols) {
		return
	}
	half := logUni(r, 0.6, 5) / w.sx
	value := float32(uni(r, 0.6, 1))
	if chance(r, 0.3) {
		value = 0
	}
	ringing := 0
	if chance(r, 0.4) {
		ringing = 1 + r.IntN(4)
	}
	paint := func(mid float64, v float32) {
		for x := max(int(math.Floor(mid-half)), 0); x < min(int(math.Ceil(mid+half)), rec.cols); x++ {
			for y := range rec.rows {
				rec.echo[y*rec.cols+x] = v
			}
		}
	}
	paint(rec.nadir, value)
	for i := range ringing {
		d := float64(i+1) * half * uni(r, 2, 4)
		if d*w.binM > 0.5*w.altM {
			break
		}
		paint(rec.nadir-d-half, value*0.5)
		paint(rec.nadir+d+half, value*0.5)
	}
}

// newRamp computes a palette: straight lines or curves through a few anchor colours, darker to lighter in luminance.
func newRamp(r *rand.Rand) (ramp [256]color.RGBA, name string, inverted bool) {
	type stop [3]float64
	var stops []stop
	switch k := r.Float64(); {
	case k < 0.4:
		name, stops = "grey", []stop{{0, 0, 0}, {255, 255, 255}}
	case k < 0.65:
		name = "copper"
		stops = []stop{
			{uni(r, 0, 15), uni(r, 0, 10), 0}, {uni(r, 90, 170), uni(r, 40, 90), uni(r, 0, 40)},
			{255, uni(r, 170, 240), uni(r, 0, 170)},
		}
	case k < 0.77:
		name = "flame"
		stops = []stop{
			{0, 0, uni(r, 0, 20)}, {uni(r, 60, 100), uni(r, 5, 20), uni(r, 80, 120)},
			{uni(r, 200, 240), uni(r, 80, 110), uni(r, 20, 60)}, {252, 250, uni(r, 120, 200)},
		}
	case k < 0.89:
		name = "sea"
		stops = []stop{
			{uni(r, 0, 60), uni(r, 0, 10), uni(r, 20, 85)}, {uni(r, 20, 60), uni(r, 80, 130), uni(r, 110, 150)},
			{uni(r, 80, 140), uni(r, 180, 210), uni(r, 80, 110)}, {250, 230, uni(r, 30, 120)},
		}
	default:
		name = "tinted"
		a, b, c := uni(r, 0.4, 1), uni(r, 0.4, 1), uni(r, 0.4, 1)
		stops = []stop{{0, 0, 0}, {150 * a, 150 * b, 150 * c}, {255 * math.Sqrt(a), 255 * math.Sqrt(b), 255 * math.Sqrt(c)}}
	}
	inverted = chance(r, 0.12)
	for i := range ramp {
		t := float64(i) / 255
		if inverted {
			t = 1 - t
		}
		t *= float64(len(stops) - 1)
		k := min(int(t), len(stops)-2)
		f := t - float64(k)
		mix := func(n int) uint8 { return uint8(stops[k][n]*(1-f) + stops[k+1][n]*f + 0.5) }
		ramp[i] = color.RGBA{mix(0), mix(1), mix(2), 255}
	}
	return ramp, name, inverted
}

// store rescales and encodes the canvas, decodes it again and takes the luminance.
func (s *screen) store(pic *picture, inverted bool) error {
	r := s.r
	width, height := s.rgba.Bounds().Dx(), s.rgba.Bounds().Dy()
	if chance(r, 0.25) || width < 500 || width > 1920 {
		f := min(max(logUni(r, 0.6, 2), 500/float64(width)), 1920/float64(width), 1300/float64(height))
		f = max(f, 500/float64(width))
		w2, h2 := int(math.Ceil(float64(width)*f)), max(int(float64(height)*f), 1)
		to := image.NewRGBA(image.Rect(0, 0, w2, h2))
		var scaler draw.Scaler = draw.ApproxBiLinear
		if f < 1 {
			scaler = draw.BiLinear
		}
		scaler.Scale(to, to.Bounds(), s.rgba, s.rgba.Bounds(), draw.Src, nil)
		s.rgba = to
		pic.rescale(float64(w2)/float64(width), float64(h2)/float64(height))
	}
	pic.img = s.rgba
	if chance(r, 0.65) {
		var err error
		if pic.img, err = eval.AsJPEG(s.rgba, 60+r.IntN(36)); err != nil {
			return err
		}
	}
	pic.w, pic.h = s.rgba.Bounds().Dx(), s.rgba.Bounds().Dy()
	pic.readLuminance(inverted)
	return nil
}

func (p *picture) rescale(fx, fy float64) {
	box := func(b detect.Box) detect.Box {
		x0, y0 := int(math.Floor(float64(b.X)*fx+0.01)), int(math.Floor(float64(b.Y)*fy+0.01))
		x1, y1 := int(math.Ceil(float64(b.X+b.W)*fx-0.01)), int(math.Ceil(float64(b.Y+b.H)*fy-0.01))
		return detect.Box{X: x0, Y: y0, W: x1 - x0, H: y1 - y0}
	}
	p.panel = box(p.panel)
	for i := range p.furniture {
		p.furniture[i].Box = box(p.furniture[i].Box)
	}
	p.x0, p.y0, p.kx, p.ky = p.x0*fx, p.y0*fy, p.kx*fx, p.ky*fy
}

// readLuminance takes the luma of the decoded picture (ITU-R BT.601 weights).
func (p *picture) readLuminance(inverted bool) {
	p.lum = make([]float32, p.w*p.h)
	switch m := p.img.(type) {
	case *image.YCbCr:
		for y := range p.h {
			row := m.Y[y*m.YStride:]
			for x := range p.w {
				p.lum[y*p.w+x] = float32(row[x])
			}
		}
	case *image.RGBA:
		for y := range p.h {
			row := m.Pix[y*m.Stride:]
			for x := range p.w {
				p.lum[y*p.w+x] = 0.299*float32(row[4*x]) + 0.587*float32(row[4*x+1]) + 0.114*float32(row[4*x+2])
			}
		}
	}
	if inverted {
		for i := range p.lum {
			p.lum[i] = 255 - p.lum[i]
		}
	}
}
